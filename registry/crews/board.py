"""The crew board of a week: an employer's jobs over seven days, their places, and what needs somebody.

A day is one of the job's own site; a week runs from Monday through Sunday (ISO 8601).
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from registry.crews.models import AssignmentState, Job, Slot
from registry.engine.calendar import DAY, end_of_day, local_date, start_of_day
from registry.engine.intervals import Interval, Timeline
from registry.evidence.running_out import SOON

# A day somewhere begins up to 14 hours before and ends up to 12 hours after it does in UTC.
MARGIN = timedelta(hours=14)
UTC = ZoneInfo("UTC")
WRITTEN = re.compile(r"(\d{4})-W(\d{2})")


@dataclass(frozen=True, slots=True, order=True)
class Week:
    """Seven days from ``monday``; ``str()`` is ISO 8601's ``2026-W48``."""

    monday: date

    @classmethod
    def of(cls, day: date) -> Week:
        """The week that ``day`` is in."""
        return cls(day - day.weekday() * DAY)

    @classmethod
    def read(cls, written: str) -> Week | None:
        """The week written as ``2026-W48``; ``None`` where there is no such week."""
        found = WRITTEN.fullmatch(written)
        if found is None:
            return None
        try:
            week = cls(date.fromisocalendar(int(found[1]), int(found[2]), 1))
            # The weeks before and after are a link away, and must exist as well.
            return week if week.earlier.monday < week.later.sunday else None
        except (ValueError, OverflowError):
            return None

    def __str__(self) -> str:
        year, number, _day = self.monday.isocalendar()
        return f"{year}-W{number:02d}"

    @property
    def days(self) -> list[date]:
        """Monday through Sunday."""
        return [self.monday + number * DAY for number in range(7)]

    @property
    def sunday(self) -> date:
        """The last day."""
        return self.monday + 6 * DAY

    @property
    def earlier(self) -> Week:
        """The week before."""
        return Week(self.monday - 7 * DAY)

    @property
    def later(self) -> Week:
        """The week after."""
        return Week(self.monday + 7 * DAY)

    def bounds(self, zone: ZoneInfo) -> Interval:
        """Its first instant in ``zone``, and the first one after it."""
        return start_of_day(self.monday, zone), end_of_day(self.sunday, zone)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a place's time in one state: ``stands``, ``held`` or ``open``.

    ``left`` and ``width`` are shares of the week, from 0 to 1; ``width`` is 0 outside it.
    """

    state: str
    start: datetime
    end: datetime
    left: float
    width: float


@dataclass(frozen=True, slots=True)
class Stay:
    """Somebody in a place; ``ends_soon`` where the documents hold for less than 30 days from now."""

    state: AssignmentState
    whole: bool
    ends_soon: bool

    @property
    def standing(self) -> str:
        """``stands`` or ``held``."""
        return "held" if self.state.standing == "held" else "stands"


@dataclass(frozen=True, slots=True)
class Place:
    """A place on a crew: who is in it, for which parts of the job nobody is, and how it looks over the week."""

    slot: Slot
    stays: list[Stay]
    gaps: list[Interval]
    stretches: list[Stretch]

    @property
    def state(self) -> str:
        """``stands`` where somebody stands for the whole job, else ``held`` or ``open``."""
        if any(each.standing == "held" for each in self.stays):
            return "held"
        return "open" if self.gaps else "stands"

    @property
    def partly(self) -> bool:
        """Whether somebody is in it, but not for the whole job."""
        return bool(self.stays and self.gaps)


@dataclass(frozen=True, slots=True)
class Line:
    """A job on the board; ``left`` and ``width`` are its share of the week, from 0 to 1."""

    job: Job
    places: list[Place]
    left: float
    width: float
    over: bool

    @property
    def wanting(self) -> list[Place]:
        """The places that need somebody; none once the job is over."""
        return [] if self.over else [each for each in self.places if each.state != "stands"]

    @property
    def filled(self) -> int:
        """How many places somebody stands in for the whole job."""
        return sum(each.state == "stands" for each in self.places)

    @property
    def state(self) -> str:
        """The worst state of its places."""
        states = {each.state for each in self.places}
        return next((each for each in ("held", "open") if each in states), "stands")


@dataclass(frozen=True, slots=True)
class Board:
    """A week's jobs in the order they start, and those of them that need somebody."""

    week: Week
    lines: list[Line]

    @property
    def wanting(self) -> list[Line]:
        """The jobs with an open or held place that are not over."""
        return [each for each in self.lines if each.wanting]

    @property
    def held(self) -> bool:
        """Whether anybody waits on it to be decided again."""
        return any(place.state == "held" for line in self.wanting for place in line.places)


def board_of(jobs: QuerySet[Job], *, week: Week, at: datetime) -> Board:
    """The board of ``jobs`` (with their sites) in ``week``, seen at the instant ``at``. Three statements."""
    first, last = week.bounds(UTC)
    around = jobs.filter(start__lt=last + MARGIN, end__gt=first - MARGIN)
    shown = [each for each in around if _is_in(each, week)]
    slots: dict[int, list[Slot]] = defaultdict(list)
    for slot in Slot.objects.filter(job__in=[each.pk for each in shown]).order_by("id"):
        slots[slot.job_id].append(slot)
    states: dict[int, list[AssignmentState]] = defaultdict(list)
    for state in _states(shown):
        states[state.slot_id].append(state)
    return Board(week, [_line(each, [(slot, states[slot.pk]) for slot in slots[each.pk]], week, at) for each in shown])


def today_for(jobs: QuerySet[Job], *, at: datetime) -> date:
    """The day at ``at`` by the clock on the site of the latest job, where the work is. One statement."""
    zone = jobs.order_by("-start", "-id").values_list("site__time_zone", flat=True).first()
    return local_date(at, ZoneInfo(zone) if zone else UTC)


def week_of_next_job(jobs: QuerySet[Job], *, after: Week) -> Week | None:
    """The week in which the first job after ``after`` starts, by the clock on its site. One statement."""
    _first, last = after.bounds(UTC)
    for job in jobs.filter(start__gt=last - MARGIN).order_by("start", "id")[:20]:
        week = Week.of(local_date(job.start, ZoneInfo(job.site.time_zone)))
        if week > after:
            return week
    return None


def _is_in(job: Job, week: Week) -> bool:
    first, last = week.bounds(ZoneInfo(job.site.time_zone))
    return job.start < last and job.end > first


def _states(jobs: Sequence[Job]) -> QuerySet[AssignmentState]:
    """Who is in a place of the jobs; a decision's statement is long, and not needed here."""
    return (
        AssignmentState.objects.filter(job__in=[each.pk for each in jobs])
        .exclude(standing="ended")
        .select_related("worker", "decision")
        .only(
            "slot_id",
            "job_id",
            "during",
            "standing",
            "worker__given_name",
            "worker__family_name",
            "worker__number",
            "decision__holds_until",
        )
        .order_by("during", "assignment_id")
    )


def _line(job: Job, slots: Iterable[tuple[Slot, list[AssignmentState]]], week: Week, at: datetime) -> Line:
    zone = ZoneInfo(job.site.time_zone)
    left, width = _share(job.start, job.end, week.bounds(zone))
    return Line(
        job,
        [_place(job, slot, states, week.bounds(zone), at) for slot, states in slots],
        left,
        width,
        over=job.end <= at,
    )


def _place(job: Job, slot: Slot, states: Sequence[AssignmentState], week: Interval, at: datetime) -> Place:
    taken = Timeline.of((each.during.lower, each.during.upper) for each in states)
    gaps = list(taken.outside().limited_to(job.start, job.end).intervals)
    stays = []
    stretches = [Stretch("open", *gap, *_share(*gap, week)) for gap in gaps]
    for each in states:
        start, end, until = each.during.lower, each.during.upper, each.decision.holds_until
        stay = Stay(
            each,
            whole=start <= job.start and end >= job.end,
            ends_soon=until is not None and until < at + SOON,
        )
        stays.append(stay)
        stretches.append(Stretch(stay.standing, start, end, *_share(start, end, week)))
    return Place(slot, stays, gaps, sorted(stretches, key=lambda each: each.start))


def _share(start: datetime, end: datetime, week: Interval) -> tuple[float, float]:
    """Where ``[start, end)`` lies in the week and how much of it, as shares of the week's length."""
    first, last = week
    start, end = max(start, first), min(end, last)
    if end <= start:
        return 0.0, 0.0
    return (start - first) / (last - first), (end - start) / (last - first)
