"""Which standard version is in force when, and what it says for an employer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any

from django.db.models import QuerySet

from registry.engine.files.standard_file import parse_standard
from registry.engine.standard import Standard
from registry.standards.models import EmployerFigure, StandardVersion


def standard_in_force(*, key: str, day: date, known_at: datetime | None = None) -> StandardVersion | None:
    """The version in force on ``day``; the SQL function ``standard_in_force`` says the same.

    It is the newest that has started by then. One that has run out is followed
    by nothing: the version before it ended when it started.
    """
    newest = _known(known_at).filter(key=key, in_force_from__lte=day).order_by("-in_force_from").first()
    if newest is None or (newest.in_force_until is not None and newest.in_force_until < day):
        return None
    return newest


def standards_for(jurisdiction: str, day: date, known_at: datetime | None = None) -> list[StandardVersion]:
    """The version in force on ``day`` of each standard of the jurisdiction, by key."""
    newest = (
        _known(known_at)
        .filter(jurisdiction=jurisdiction, in_force_from__lte=day)
        .order_by("key", "-in_force_from")
        .distinct("key")
    )
    return [each for each in newest if each.in_force_until is None or each.in_force_until >= day]


def all_in_force(day: date) -> list[Standard]:
    """Every standard of every jurisdiction that is in force on ``day``, as the engine takes it, without figures."""
    newest = StandardVersion.objects.filter(in_force_from__lte=day).order_by("key", "-in_force_from").distinct("key")
    versions = [each for each in newest if each.in_force_until is None or each.in_force_until >= day]
    return [_parsed(_Content(each.sha256, each.content), (), each.in_force_until) for each in versions]


def in_force_window(version: StandardVersion, known_at: datetime | None = None) -> tuple[date, date | None]:
    """First and last day in force (``None``: open), whichever of file and successor ends it."""
    successor = (
        _known(known_at)
        .filter(key=version.key, in_force_from__gt=version.in_force_from)
        .order_by("in_force_from")
        .values_list("in_force_from", flat=True)
        .first()
    )
    ends = [] if version.in_force_until is None else [version.in_force_until]
    if successor is not None:
        ends.append(successor - timedelta(days=1))
    return version.in_force_from, min(ends, default=None)


def figures_of(employer_id: Any, key: str, known_at: datetime | None = None) -> dict[str, int]:
    """The employer's own minutes by setting, as known at ``known_at`` (``None``: the latest)."""
    recorded = EmployerFigure.objects.filter(employer_id=employer_id, standard_key=key)
    if known_at is not None:
        recorded = recorded.filter(recorded_at__lte=known_at)
    latest = recorded.order_by("setting", "-recorded_at", "-id").distinct("setting")
    return {each.setting: each.minutes for each in latest}


def parsed(version: StandardVersion, figures: Mapping[str, int], known_at: datetime | None = None) -> Standard:
    """The version as the engine takes it, with the employer's figures and the true last day.

    Figures outlive versions: one for a setting this version lacks says nothing
    here, and one below a floor that has risen since gives way to the floor.
    """
    floors = {key: each["at_least_minutes"] for key, each in version.content.get("settings", {}).items()}
    applicable = tuple((key, max(minutes, floors[key])) for key, minutes in sorted(figures.items()) if key in floors)
    _, until = in_force_window(version, known_at)
    return _parsed(_Content(version.sha256, version.content), applicable, until)


@dataclass(frozen=True, slots=True)
class _Content:
    """A standard's content, told apart by its fingerprint alone."""

    sha256: str
    data: dict[str, Any] = field(compare=False)


@lru_cache(maxsize=256)
def _parsed(content: _Content, figures: tuple[tuple[str, int], ...], until: date | None) -> Standard:
    return replace(parse_standard(content.data, figures=dict(figures)), in_force_until=until)


def _known(instant: datetime | None) -> QuerySet[StandardVersion]:
    if instant is None:
        return StandardVersion.objects.all()
    return StandardVersion.objects.filter(recorded_at__lte=instant)
