"""What an hours entry must keep to, for one entry and for a whole import alike."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from registry.database.errors import Problem
from registry.eligibility.calendar import bounds_of_day, local_date
from registry.eligibility.evidence import OPERATIONS, ORIGINS, ROLES
from registry.equipment.models import Crane, CraneModel, Site
from registry.evidence.models import HoursEntry
from registry.evidence.queries import zone
from registry.people.models import Account
from registry.people.records import broken
from registry.people.services import wait_for_turn

LONGEST = timedelta(hours=24)
MINUTE = timedelta(minutes=1)

Span = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewHours:
    """An hours entry yet to be recorded, by database identifiers; instants are aware.

    ``imported_line`` names the line of a foreign file, so that it is brought in once.
    """

    worker_id: int
    model_id: int
    operation: str
    start: datetime
    end: datetime
    employer_id: int
    site_id: int
    capacity: str = "erector"
    configuration: str = ""
    crane_id: int | None = None
    origin: str = "register"
    document_id: int | None = None
    issuer: str = ""
    imported_line: str | None = None

    def entry(self, *, recorded_at: datetime, recorded_by: Account | None) -> HoursEntry:
        """The unsaved record."""
        return HoursEntry(
            worker_id=self.worker_id,
            model_id=self.model_id,
            operation=self.operation,
            start=self.start,
            end=self.end,
            employer_id=self.employer_id,
            site_id=self.site_id,
            capacity=self.capacity,
            configuration=self.configuration,
            crane_id=self.crane_id,
            origin=self.origin,
            document_id=self.document_id,
            issuer=self.issuer.strip(),
            imported_line=self.imported_line,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


class HoursCheck:
    """Checks entries against each other and against what is recorded, in four statements for any number.

    Make and use it inside the transaction that stores the entries: until its end no other check of the same
    workers' hours begins, so that two entries cannot each find room in one day.
    """

    def __init__(self, entries: Sequence[HoursEntry]) -> None:
        wait_for_turn(*(f"hours of worker {each.worker_id}" for each in entries))
        sites = Site.objects.filter(pk__in={each.site_id for each in entries})
        self._zones = {key: zone(name) for key, name in sites.values_list("id", "time_zone")}
        models = CraneModel.objects.filter(pk__in={each.model_id for each in entries})
        self._configurations = dict(models.values_list("id", "configurations"))
        cranes = Crane.objects.filter(pk__in={each.crane_id for each in entries if each.crane_id is not None})
        self._model_of = dict(cranes.values_list("id", "model_id"))
        self._recorded = _recorded_spans(entries)

    def problems(self, entry: HoursEntry) -> list[Problem]:
        """What is wrong with the entry; from now on it takes up its time for the entries after it."""
        problems = self._own_problems(entry)
        if not problems:
            problems = self._day_problems(entry)
        insort(self._recorded[entry.worker_id], (entry.start, entry.end))
        return problems

    def _own_problems(self, entry: HoursEntry) -> list[Problem]:
        start, end = entry.start, entry.end
        whole = not (start.second or start.microsecond or end.second or end.microsecond)
        configurations = self._configurations.get(entry.model_id, [])
        rules = {
            "hours_end_is_after_start": end > start,
            "hours_fit_into_24_hours": end - start <= LONGEST,
            "hours_are_in_whole_minutes": whole,
            "hours_are_not_in_the_future": end <= entry.recorded_at,
            "hours_operation_is_known": entry.operation in OPERATIONS,
            "hours_capacity_is_a_role": entry.capacity in ROLES,
            "hours_origin_is_known": entry.origin in ORIGINS,
            "hours_from_paper_have_a_scan": entry.origin != "paper" or entry.document_id is not None,
            "imported_hours_name_their_issuer": entry.origin != "import" or entry.issuer != "",
        }
        problems = [broken(rule) for rule, holds in rules.items() if not holds]
        if entry.site_id not in self._zones:
            problems.append(Problem("site", "hours_site_is_known", "The site is not one the registry knows."))
        if entry.model_id not in self._configurations:
            problems.append(Problem("model", "hours_model_is_known", "The model is not one the registry knows."))
        elif entry.configuration and entry.configuration not in configurations:
            problems.append(
                Problem("configuration", "hours_configuration_is_the_models", "The model has no such configuration.")
            )
        if entry.crane_id is not None and self._model_of.get(entry.crane_id) != entry.model_id:
            problems.append(Problem("crane", "hours_crane_is_of_the_model", "The crane is of another model."))
        return problems

    def _day_problems(self, entry: HoursEntry) -> list[Problem]:
        here = self._zones[entry.site_id]
        recorded = self._recorded[entry.worker_id]
        for day in _days(entry, here):
            starts, ends = bounds_of_day(day, here)
            taken = _overlap(entry.start, entry.end, starts, ends)
            # No entry is longer than 24 hours, so none that began earlier reaches into the day.
            for index in range(bisect_left(recorded, (starts - LONGEST,)), len(recorded)):
                if recorded[index][0] >= ends:
                    break
                taken += _overlap(*recorded[index], starts, ends)
            if taken > ends - starts:
                sentence = (
                    f"With this entry {_hours(taken)} would be recorded on {day}, "
                    f"which has {_hours(ends - starts)}."
                )
                return [Problem("start", "hours_fit_into_the_day", sentence)]
        return []


def _recorded_spans(entries: Sequence[HoursEntry]) -> defaultdict[int, list[Span]]:
    spans: defaultdict[int, list[Span]] = defaultdict(list)
    if not entries:
        return spans
    replaced = {each.supersedes_id for each in entries if each.supersedes_id is not None}
    # A day at the site reaches at most a day beyond the entry, and what overlaps it starts a day earlier still.
    found = HoursEntry.objects.current().filter(
        worker__in={each.worker_id for each in entries},
        end__gte=min(each.start for each in entries) - 2 * LONGEST,
        start__lte=max(each.end for each in entries) + 2 * LONGEST,
    )
    for worker, start, end in found.exclude(pk__in=replaced).order_by("start").values_list("worker_id", "start", "end"):
        spans[worker].append((start, end))
    return spans


def _days(entry: HoursEntry, here: ZoneInfo) -> Iterator[date]:
    day = local_date(entry.start, here)
    last = local_date(entry.end.astimezone(UTC) - MINUTE, here)
    while day <= last:
        yield day
        day += timedelta(days=1)


def _overlap(start: datetime, end: datetime, starts: datetime, ends: datetime) -> timedelta:
    return max(min(end, ends) - max(start, starts), timedelta())


def _hours(length: timedelta) -> str:
    hours, minutes = divmod(length // MINUTE, 60)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"
