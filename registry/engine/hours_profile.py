"""How many minutes count, and when: overlaps once, capped days, expiry and pauses.

A :class:`HoursProfile` is built from the entries that count. It answers what
the total is at an instant and over which instants the total reaches a minimum.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict, deque
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import accumulate, pairwise
from operator import itemgetter
from typing import NamedTuple
from zoneinfo import ZoneInfo

from registry.engine.calendar import (
    DAY,
    INSTANT,
    MINUTE,
    bounds_of_day,
    first_day_outside,
    local_date,
    months_before,
    start_of_day,
)
from registry.engine.evidence import HoursEntry
from registry.engine.intervals import FOREVER, Interval, Timeline
from registry.engine.minutes import Increment, Piece, increments, pieces_of

SHORTEST_MONTH = timedelta(days=28)


class CountedEntry(NamedTuple):
    """An entry that counts from ``available_at`` on, and in full from ``in_full_from`` on.

    ``in_part_for`` says why it counts only as part of a total before that.
    """

    entry: HoursEntry
    available_at: datetime
    in_full_from: datetime | None
    in_part_for: str = ""


class WorstTotal(NamedTuple):
    """The lowest total of a time, and what of it counts only up to a share: on record, and counted. In minutes."""

    minutes: int
    in_part: int
    in_part_counted: int


@dataclass(frozen=True, slots=True)
class HoursRule:
    """The parts of a requirement that shape a total (see :class:`~registry.engine.requirements.hours.Hours`)."""

    zone: ZoneInfo
    within_months: int | None = None
    longest_gap_months: int | None = None
    day_cap: int = 24 * 60
    part_minutes: int = 0


class HoursProfile:
    """The total of counted minutes as a function of time."""

    def __init__(self, every: list[Increment], full: list[Increment], lost: list[str], rule: HoursRule) -> None:
        self.every = every
        self.full = full
        self.lost = lost
        self.rule = rule
        self.only_full = full is every
        self._available: dict[tuple[bool, int], _RunningDays] = {}

    @classmethod
    def of(cls, counted: Iterable[CountedEntry], rule: HoursRule) -> HoursProfile:
        """The profile of the entries that count."""
        pieces, in_full, minutes_in_part = pieces_that_count(counted)
        every, lost = increments(pieces, rule.day_cap)
        if minutes_in_part <= rule.part_minutes:
            # All that counts in part is less than may count in part: the share never binds.
            return cls(every, every, lost, rule)
        return cls(every, increments(in_full, rule.day_cap)[0], lost, rule)

    def total_at(self, instant: datetime) -> int:
        """Minutes that count at ``instant``."""
        cutoff = max(self.cutoffs_at(instant))
        every = self._days_at(instant).total_since(cutoff)
        if self.only_full:
            return every
        full = self._days_at(instant, only_full=True).total_since(cutoff)
        return min(every, full + self.rule.part_minutes)

    def _days_at(self, instant: datetime, *, only_full: bool = False) -> _RunningDays:
        """The days worked as far as they are available at ``instant``."""
        increments = self.full if only_full else self.every
        count = bisect_right(increments, instant, key=_available_at)
        found = self._available.get((only_full, count))
        if found is None:
            gap = None if only_full else self.rule.longest_gap_months
            found = self._available[only_full, count] = _RunningDays(increments[:count], gap)
        return found

    def cutoffs_at(self, instant: datetime) -> tuple[date, date]:
        """The first days that still count at ``instant``: by age, and since the last long pause."""
        day = local_date(instant, self.rule.zone)
        oldest = unbroken = date.min
        if self.rule.within_months is not None:
            oldest = months_before(day, self.rule.within_months)
        if self.rule.longest_gap_months is not None:
            worked = self._days_at(instant)
            if not worked.days or _too_long(worked.days[-1], day, self.rule.longest_gap_months):
                return oldest, date.max
            unbroken = worked.chain_start
        return oldest, unbroken

    def changes_between(self, start: datetime, end: datetime) -> list[datetime]:
        """Instants of ``(start, end)`` at which more hours become available, in order."""
        arriving = {at for at, _, _ in (*_after(self.every, start), *_after(self.full, start)) if at < end}
        return sorted(arriving)

    def lowest(self, start: datetime, end: datetime) -> int:
        """The lowest total within ``[start, end)``."""
        return self.total_at(self._worst_instant(start, end))

    def worst(self, start: datetime, end: datetime) -> WorstTotal:
        """The lowest total within ``[start, end)``, and how much of it counts in part only."""
        instant = self._worst_instant(start, end)
        total = self.total_at(instant)
        if self.only_full:
            return WorstTotal(total, 0, 0)
        cutoff = max(self.cutoffs_at(instant))
        every = self._days_at(instant).total_since(cutoff)
        full = self._days_at(instant, only_full=True).total_since(cutoff)
        return WorstTotal(total, every - full, total - full)

    def _worst_instant(self, start: datetime, end: datetime) -> datetime:
        """When the total is lowest.

        Between two instants at which hours become available the total can only
        fall, so the end of each such span is the place to look.
        """
        edges = [*self.changes_between(start, end), end]
        return min([start, *(edge - INSTANT for edge in edges)], key=self.total_at)

    def lost_at(self, instant: datetime, on_record: Iterable[Increment]) -> int:
        """Minutes of the entries that count at ``instant`` which an overlap or the day's limit takes off them.

        ``on_record`` is what each entry that counts would add to its days by itself.
        """
        if not self.lost:
            return 0
        cutoff = max(self.cutoffs_at(instant))
        whole = sum(minutes for at, day, minutes in on_record if at <= instant and day >= cutoff)
        return max(whole - self._days_at(instant).total_since(cutoff), 0)

    def fresh_minutes_needed(self, minimum: int, start: datetime, end: datetime) -> int | None:
        """The fewest minutes that, worked right before ``start``, make ``[start, end)`` hold.

        Fresh hours count in full and also end a pause. They take as many days
        as the day's limit asks for. ``None`` where the first of them would grow
        too old before ``end``.
        """
        eve = start - INSTANT
        fresh: Increment = (eve, local_date(eve, self.rule.zone), 1)
        every = sorted([*self.every, fresh])
        full = every if self.only_full else sorted([*self.full, fresh])
        with_one = HoursProfile(every, full, [], self.rule)
        needed = max(1, minimum - with_one.lowest(start, end) + 1)
        day = self._first_fresh_day(needed, start)
        only_fresh = [fresh]
        while day < fresh[1]:
            only_fresh.append((eve, day, 1))
            day += SHORTEST_MONTH
        stays = HoursProfile(only_fresh, only_fresh, [], self.rule)
        return needed if stays.timeline(len(only_fresh), start).holds_throughout(start, end) else None

    def _first_fresh_day(self, minutes: int, start: datetime) -> date:
        """The day on which to begin, so that ``minutes`` fit before ``start`` beside what is worked already."""
        day = local_date(start - INSTANT, self.rule.zone)
        if self.rule.within_months is None:
            return day
        taken: dict[date, int] = defaultdict(int)
        for _, worked_on, worked in self.every:
            taken[worked_on] += worked
        oldest = months_before(day, self.rule.within_months)
        while day >= oldest:
            first, last = bounds_of_day(day, self.rule.zone)
            room = min(self.rule.day_cap, (min(last, start) - first) // MINUTE)
            minutes -= max(room - taken[day], 0)
            if minutes <= 0:
                break
            day -= DAY
        return day

    def timeline(self, minimum: int, since: datetime) -> Timeline:
        """When, from ``since`` on, at least ``minimum`` (1 or more) minutes count."""
        every = self._days_at(since).copy()
        full = every if self.only_full else self._days_at(since, only_full=True).copy()
        later_every = deque(_after(self.every, since))
        later_full = deque(_after(self.full, since))
        arrivals = sorted({since, *map(_available_at, later_every), *map(_available_at, later_full)})
        found: list[Interval] = []
        for instant, span_end in zip(arrivals, [*arrivals[1:], FOREVER], strict=True):
            while later_every and later_every[0][0] <= instant:
                _, day, minutes = later_every.popleft()
                every.add(day, minutes)
            while not self.only_full and later_full and later_full[0][0] <= instant:
                _, day, minutes = later_full.popleft()
                full.add(day, minutes)
            until = self._holds_until(every, full, minimum)
            if until is not None and until > instant:
                found.append((instant, min(until, span_end)))
                if until == FOREVER:
                    found.append((instant, FOREVER))
                    break
        return Timeline.of(found)

    def _holds_until(self, every: _RunningDays, full: _RunningDays, minimum: int) -> datetime | None:
        """Until when the days so far reach ``minimum`` if nothing is added; ``None``: never."""
        critical_days = [every.critical_day(minimum, every.chain_start)]
        if not self.only_full and minimum > self.rule.part_minutes:
            needed = minimum - self.rule.part_minutes
            critical_days.append(full.critical_day(needed, every.chain_start))
        until = FOREVER
        for critical in critical_days:
            if critical is None:
                return None
            if self.rule.within_months is not None:
                outside = first_day_outside(critical, self.rule.within_months)
                until = min(until, start_of_day(outside, self.rule.zone))
        if self.rule.longest_gap_months is not None:
            pause = first_day_outside(every.days[-1], self.rule.longest_gap_months)
            until = min(until, start_of_day(pause, self.rule.zone))
        return until


def pieces_that_count(counted: Iterable[CountedEntry]) -> tuple[list[Piece], list[Piece], int]:
    """All pieces of the entries, those from when they count in full, and the minutes that count in part at first."""
    pieces: list[Piece] = []
    in_full: list[Piece] = []
    minutes_in_part = 0
    for entry, available_at, in_full_from, _ in counted:
        if in_full_from != available_at:
            minutes_in_part += (entry.end - entry.start) // MINUTE
        pieces += pieces_of(entry, available_at)
        if in_full_from is not None:
            in_full += pieces_of(entry, in_full_from)
    return pieces, in_full, minutes_in_part


class _RunningDays:
    """Minutes by day with running sums, as hours become available; a day may stand there more than once."""

    def __init__(self, available: Iterable[Increment], longest_gap_months: int | None) -> None:
        by_day = sorted(available, key=itemgetter(1))
        self.days: list[date] = list(map(itemgetter(1), by_day))
        self.sums: list[int] = list(accumulate(map(itemgetter(2), by_day), initial=0))
        self.gap = longest_gap_months
        self.chain_start = date.min if self.gap is None else _unbroken_since(self.days, self.gap)

    def copy(self) -> _RunningDays:
        """The same days, to add to."""
        twin = _RunningDays((), self.gap)
        twin.days, twin.sums = self.days.copy(), self.sums.copy()
        twin.chain_start = self.chain_start
        return twin

    def total_since(self, cutoff: date) -> int:
        """Minutes on ``cutoff`` and later days."""
        return self.sums[-1] - self.sums[bisect_left(self.days, cutoff)]

    def add(self, day: date, minutes: int) -> None:
        """Minutes of one day that became available."""
        if self.days and day == self.days[-1]:
            self.sums[-1] += minutes
            return
        if not self.days or day > self.days[-1]:
            if self.gap is not None and (not self.days or _too_long(self.days[-1], day, self.gap)):
                self.chain_start = day
            self.days.append(day)
            self.sums.append(self.sums[-1] + minutes)
            return
        # Hours signed out of order: rare, so the tail is simply rebuilt.
        place = bisect_left(self.days, day)
        by_day = [after - before for before, after in pairwise(self.sums)]
        if self.days[place] == day:
            by_day[place] += minutes
        else:
            self.days.insert(place, day)
            by_day.insert(place, minutes)
        self.sums = [0, *accumulate(by_day)]
        if self.gap is not None:
            self.chain_start = _unbroken_since(self.days, self.gap)

    def critical_day(self, minimum: int, chain_start: date) -> date | None:
        """The day without which, and without all before it, ``minimum`` is no longer reached."""
        place = bisect_right(self.sums, self.sums[-1] - minimum) - 1
        if place < bisect_left(self.days, chain_start):
            return None
        return self.days[place]


def _unbroken_since(days: list[date], longest_gap_months: int) -> date:
    """The first of the last days that follow one another without too long a pause."""
    start = days[-1] if days else date.min
    for day, before in pairwise(reversed(days)):
        if _too_long(before, day, longest_gap_months):
            break
        start = before
    return start


def _too_long(before: date, day: date, longest_gap_months: int) -> bool:
    """Whether the pause between two days of work is longer than allowed."""
    return day - before > SHORTEST_MONTH and months_before(day, longest_gap_months) > before


def _after(increments: list[Increment], instant: datetime) -> list[Increment]:
    """What becomes available after ``instant``."""
    return increments[bisect_right(increments, instant, key=_available_at) :]


def _available_at(increment: Increment) -> datetime:
    return increment[0]
