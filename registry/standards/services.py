"""Writing standard versions and employers' figures."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.db import transaction

from registry.database.repeating import repeating
from registry.database.router import OWNER_ALIAS
from registry.engine.bad_input import BadInput
from registry.engine.files.standard_file import parse_standard
from registry.engine.standard import Standard
from registry.standards.files import read_standard_file, sha256_of
from registry.standards.models import EmployerFigure, StandardVersion
from registry.standards.queries import in_force_window

if TYPE_CHECKING:
    from django.contrib.auth.models import AbstractBaseUser

    from registry.people.models import Employer


@dataclass(frozen=True, slots=True)
class Loaded:
    """A stored version, and whether this loading stored it."""

    version: StandardVersion
    is_new: bool


def load_standards(folder: Path, *, recorded_at: datetime) -> list[Loaded]:
    """Load every standard file of a folder, or none if one is refused."""
    return load_standard_files(sorted(folder.glob("*.yaml")), recorded_at=recorded_at)


def load_standard_file(path: Path, *, recorded_at: datetime) -> Loaded:
    """Load one standard file; see :func:`load_standard_files`."""
    (loaded,) = load_standard_files([path], recorded_at=recorded_at)
    return loaded


@repeating
def load_standard_files(paths: Iterable[Path], *, recorded_at: datetime) -> list[Loaded]:
    """Load standard files, earlier versions first, all or none.

    A version that is stored already with equal content is left as it is.
    Raises :class:`BadInput` whose path starts with the file's name.
    """
    read = [_read(path) for path in paths]
    read.sort(key=lambda each: (each[2].id, each[2].version))
    with transaction.atomic(using=OWNER_ALIAS):
        return [_store(path, data, standard, recorded_at=recorded_at) for path, data, standard in read]


@repeating
def set_employer_figure(
    *,
    employer: Employer,
    standard_key: str,
    setting: str,
    minutes: int,
    recorded_at: datetime,
    recorded_by: AbstractBaseUser | None = None,
) -> EmployerFigure:
    """Record an employer's own minutes for a setting.

    Checked against every version that is in force or yet to come: a figure
    that today's version allows must not be refused only when its successor
    starts. Raises :class:`BadInput`.
    """
    today = recorded_at.astimezone(UTC).date()
    current = []
    for version in StandardVersion.objects.filter(key=standard_key).order_by("-in_force_from"):
        _, until = in_force_window(version)
        if until is None or until >= today:
            current.append(version)
    if not current:
        raise BadInput("$.standard", f"no standard {standard_key!r} is in force or to come")
    concerned = [each for each in current if setting in each.content.get("settings", {})]
    for version in concerned or current[:1]:
        parse_standard(version.content, figures={setting: minutes})
    return EmployerFigure.objects.create(
        employer=employer,
        standard_key=standard_key,
        setting=setting,
        minutes=minutes,
        recorded_at=recorded_at,
        recorded_by_id=None if recorded_by is None else recorded_by.pk,
    )


def _read(path: Path) -> tuple[Path, dict[str, Any], Standard]:
    try:
        data = read_standard_file(path)
        return path, data, parse_standard(data)
    except BadInput as error:
        raise _in_file(path, error.path, error.message) from None


def _store(path: Path, data: dict[str, Any], standard: Standard, *, recorded_at: datetime) -> Loaded:
    sha256 = sha256_of(data)
    of_key = StandardVersion.objects.using(OWNER_ALIAS).filter(key=standard.id)
    stored = of_key.filter(version=standard.version).first()
    if stored is not None:
        if stored.sha256 != sha256:
            raise _in_file(
                path,
                "$.version",
                f"version {standard.version} of {standard.id} is stored with other content; "
                "a stored version never changes, so give the change a new version",
            )
        return Loaded(stored, is_new=False)
    newest = of_key.order_by("-version").first()
    if newest is not None:
        _check_succession(path, standard, newest)
    version = StandardVersion(
        key=standard.id,
        version=standard.version,
        jurisdiction=standard.jurisdiction,
        title=standard.title,
        in_force_from=standard.in_force_from,
        in_force_until=standard.in_force_until,
        content=data,
        sha256=sha256,
        recorded_at=recorded_at,
    )
    version.save(using=OWNER_ALIAS, force_insert=True)
    return Loaded(version, is_new=True)


def _check_succession(path: Path, standard: Standard, newest: StandardVersion) -> None:
    """A version follows the newest in number and in time, for the same jurisdiction.

    Otherwise it would be open which of two versions governs a day.
    """
    if standard.version < newest.version:
        raise _in_file(path, "$.version", f"version {newest.version} is stored already")
    if standard.in_force_from <= newest.in_force_from:
        raise _in_file(
            path,
            "$.in_force.from",
            f"must be after {newest.in_force_from}, the start of version {newest.version}",
        )
    if standard.jurisdiction != newest.jurisdiction:
        raise _in_file(
            path,
            "$.jurisdiction",
            f"version {newest.version} is for {newest.jurisdiction}; another jurisdiction needs a standard of its own",
        )


def _in_file(path: Path, where: str, message: str) -> BadInput:
    return BadInput(f"{path.name}: {where}", message)
