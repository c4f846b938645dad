"""Which standard version is in force when, and what it says for an employer."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cache, lru_cache
from itertools import groupby
from typing import Any, TypeVar

from django.db.models import QuerySet

from registry.database.together import Given, Together
from registry.engine.files.standard_file import parse_standard
from registry.engine.standard import Standard
from registry.standards.models import EmployerFigure, StandardVersion


@dataclass(frozen=True, slots=True)
class StandardHistory:
    """Everything on record about one standard: its versions, and the figures of one employer, oldest first.

    Read once (:func:`history_of`) and asked of any day and any instant: ``known_at`` leaves out what was
    recorded later (``None``: the latest).
    """

    key: str
    versions: tuple[StandardVersion, ...]
    own_figures: tuple[EmployerFigure, ...] = ()

    def in_force(self, day: date, known_at: datetime | None = None) -> StandardVersion | None:
        """The version in force on ``day``; the SQL function ``standard_in_force`` says the same.

        It is the newest that has started by then. One that has run out is followed
        by nothing: the version before it ended when it started.
        """
        started = [each for each in _recorded(self.versions, known_at) if each.in_force_from <= day]
        newest = max(started, key=lambda each: each.in_force_from, default=None)
        if newest is None or (newest.in_force_until is not None and newest.in_force_until < day):
            return None
        return newest

    def figures(self, known_at: datetime | None = None) -> dict[str, int]:
        """The employer's own minutes by setting."""
        return {each.setting: each.minutes for each in _recorded(self.own_figures, known_at)}

    def last_day(self, version: StandardVersion, known_at: datetime | None = None) -> date | None:
        """The last day in force (``None``: open), whichever of file and successor ends it."""
        return _last_day(version, (each.in_force_from for each in _recorded(self.versions, known_at)))

    def parsed(
        self, version: StandardVersion, figures: Mapping[str, int], known_at: datetime | None = None
    ) -> Standard:
        """The version as the engine takes it, with these figures and the true last day."""
        return _with_figures(version, figures, self.last_day(version, known_at))


def history_of(key: str, employer_id: int | None = None) -> StandardHistory:
    """The history of the standard with the employer's figures, in one statement."""
    versions, figures = _history().read(key=key, employer=employer_id)
    return StandardHistory(
        key,
        tuple(StandardVersion.from_db("default", VERSION, row) for row in versions),
        tuple(EmployerFigure.from_db("default", FIGURE, row) for row in figures),
    )


VERSION = tuple(field.attname for field in StandardVersion._meta.concrete_fields)
FIGURE = tuple(field.attname for field in EmployerFigure._meta.concrete_fields)


@cache
def _history() -> Together:
    key = Given("key")
    return Together(
        StandardVersion.objects.filter(key=key).order_by("in_force_from").values_list(*VERSION),
        EmployerFigure.objects.filter(employer_id=Given("employer"), standard_key=key)
        .order_by("recorded_at", "id")
        .values_list(*FIGURE),
    )


def histories_in(jurisdictions: QuerySet[Any, Any]) -> list[StandardHistory]:
    """The histories of every standard of the jurisdictions, by key and without figures, in one statement."""
    keys = StandardVersion.objects.filter(jurisdiction__in=jurisdictions).values("key")
    versions = StandardVersion.objects.filter(key__in=keys).order_by("key", "in_force_from")
    return [StandardHistory(key, tuple(found)) for key, found in groupby(versions, key=lambda each: each.key)]


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
    later = _known(known_at).filter(key=version.key, in_force_from__gt=version.in_force_from)
    successor = later.order_by("in_force_from").values_list("in_force_from", flat=True).first()
    return version.in_force_from, _last_day(version, [] if successor is None else [successor])


def parsed(version: StandardVersion, figures: Mapping[str, int], known_at: datetime | None = None) -> Standard:
    """The version as the engine takes it, with the employer's figures and the true last day."""
    _, until = in_force_window(version, known_at)
    return _with_figures(version, figures, until)


def _last_day(version: StandardVersion, starts: Iterable[date]) -> date | None:
    """The last day of a version, given the first days of the others."""
    ends = [each - timedelta(days=1) for each in starts if each > version.in_force_from]
    if version.in_force_until is not None:
        ends.append(version.in_force_until)
    return min(ends, default=None)


def _with_figures(version: StandardVersion, figures: Mapping[str, int], until: date | None) -> Standard:
    """The version as the engine takes it.

    Figures outlive versions: one for a setting this version lacks says nothing
    here, and one below a floor that has risen since gives way to the floor.
    """
    floors = {key: each["at_least_minutes"] for key, each in version.content.get("settings", {}).items()}
    applicable = tuple((key, max(minutes, floors[key])) for key, minutes in sorted(figures.items()) if key in floors)
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


Recorded = TypeVar("Recorded", StandardVersion, EmployerFigure)


def _recorded(found: Iterable[Recorded], known_at: datetime | None) -> list[Recorded]:
    return [each for each in found if known_at is None or each.recorded_at <= known_at]
