"""How many minutes count, and when: overlaps once, capped days, expiry and pauses.

A :class:`HoursProfile` is built from the entries that count. It answers what
the total is at an instant and over which instants the total reaches a minimum.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import accumulate, pairwise
from zoneinfo import ZoneInfo

from registry.eligibility.calendar import (
    end_of_day,
    first_day_outside,
    local_date,
    months_before,
    start_of_day,
    whole_minutes,
)
from registry.eligibility.evidence import HoursEntry
from registry.eligibility.intervals import FOREVER, Interval, Timeline

INSTANT = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class CountedEntry:
    """An entry that counts from ``available_at`` on, in full or only in part."""

    entry: HoursEntry
    available_at: datetime
    in_full: bool


@dataclass(frozen=True, slots=True)
class HoursRule:
    """The parts of a requirement that shape a total (see ``standard.Hours``)."""

    zone: ZoneInfo
    within_months: int | None = None
    longest_gap_months: int | None = None
    day_cap: int = 24 * 60
    part_minutes: int = 0


Increment = tuple[datetime, date, int]
"""(available at, local day of the work, minutes added to that day)."""


def increments(entries: Iterable[CountedEntry], day_cap: int) -> tuple[list[Increment], dict[str, int]]:
    """What each entry adds to its local days, in order of availability.

    A minute counts once however many entries cover it, and a day never counts
    more than ``day_cap``. Attribution in order of availability makes the sum
    at any instant exactly the union of what is available then, so one more
    entry never lowers it. Also returns, by entry id, the minutes that did not
    count because of an overlap or the day's cap.
    """
    covered: dict[date, list[Interval]] = defaultdict(list)
    minutes_on: dict[date, int] = defaultdict(int)
    added: list[Increment] = []
    lost: dict[str, int] = {}
    for counted in sorted(entries, key=_availability):
        entry = counted.entry
        gained = 0
        for day, start, end in _pieces(entry):
            before = minutes_on[day]
            if covered[day]:
                fresh = _uncovered(covered[day], start, end)
            else:
                fresh = whole_minutes(start, end)
            insort(covered[day], (start, end))
            minutes_on[day] = before + fresh
            counts = min(day_cap, before + fresh) - min(day_cap, before)
            if counts:
                added.append((counted.available_at, day, counts))
                gained += counts
        missing = whole_minutes(entry.start, entry.end) - gained
        if missing:
            lost[entry.id] = missing
    return added, lost


class HoursProfile:
    """The total of counted minutes as a function of time."""

    def __init__(self, entries: Iterable[CountedEntry], rule: HoursRule) -> None:
        entries = list(entries)
        self.rule = rule
        self.every, self.lost = increments(entries, rule.day_cap)
        full = [each for each in entries if each.in_full]
        self.only_full = len(full) == len(entries)
        self.full = self.every if self.only_full else increments(full, rule.day_cap)[0]

    def total_at(self, instant: datetime) -> int:
        """Minutes that count at ``instant``."""
        cutoff = max(self.cutoffs_at(instant))
        every = sum(m for at, worked, m in self.every if at <= instant and worked >= cutoff)
        if self.only_full:
            return every
        full = sum(m for at, worked, m in self.full if at <= instant and worked >= cutoff)
        return min(every, full + self.rule.part_minutes)

    def cutoffs_at(self, instant: datetime) -> tuple[date, date]:
        """The first days that still count at ``instant``: by age, and since the last long pause."""
        day = local_date(instant, self.rule.zone)
        oldest = unbroken = date.min
        if self.rule.within_months is not None:
            oldest = months_before(day, self.rule.within_months)
        if self.rule.longest_gap_months is not None:
            days = sorted({each[1] for each in self.every if each[0] <= instant})
            if not days or months_before(day, self.rule.longest_gap_months) > days[-1]:
                return oldest, date.max
            unbroken = _unbroken_since(days, self.rule.longest_gap_months)
        return oldest, unbroken

    def changes_between(self, start: datetime, end: datetime) -> list[datetime]:
        """Instants of ``(start, end)`` at which more hours become available, in order."""
        return sorted({at for at, _, _ in self.every if start < at < end})

    def lowest(self, start: datetime, end: datetime) -> int:
        """The lowest total within ``[start, end)``.

        Between two instants at which hours become available the total can only
        fall, so the end of each such span is the place to look.
        """
        edges = [*self.changes_between(start, end), end]
        return min(self.total_at(start), *(self.total_at(edge - INSTANT) for edge in edges))

    def fresh_minutes_needed(self, minimum: int, start: datetime, end: datetime) -> int | None:
        """The fewest minutes that, worked right before ``start``, make ``[start, end)`` hold.

        Fresh hours count in full and also end a pause. ``None`` where even
        they would grow too old before ``end``.
        """
        eve = start - INSTANT
        fresh: Increment = (eve, local_date(eve, self.rule.zone), 1)
        with_one = HoursProfile((), self.rule)
        with_one.every = sorted([*self.every, fresh])
        with_one.full = with_one.every if self.only_full else sorted([*self.full, fresh])
        with_one.only_full = self.only_full
        stays = HoursProfile((), self.rule)
        stays.every = stays.full = [fresh]
        if not stays.timeline(1, start).holds_throughout(start, end):
            return None
        return max(1, minimum - with_one.lowest(start, end) + 1)

    def timeline(self, minimum: int, since: datetime) -> Timeline:
        """When, from ``since`` on, at least ``minimum`` (1 or more) minutes count."""
        gap = self.rule.longest_gap_months
        every, full = _RunningDays(gap), _RunningDays(None)
        pending_every, pending_full = iter(self.every), iter(self.full)
        next_every, next_full = next(pending_every, None), next(pending_full, None)
        arrivals = sorted({since, *(at for at, _, _ in self.every if at > since)})
        found: list[Interval] = []
        for instant, span_end in zip(arrivals, [*arrivals[1:], FOREVER], strict=True):
            while next_every is not None and next_every[0] <= instant:
                every.add(next_every[1], next_every[2])
                next_every = next(pending_every, None)
            while not self.only_full and next_full is not None and next_full[0] <= instant:
                full.add(next_full[1], next_full[2])
                next_full = next(pending_full, None)
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


class _RunningDays:
    """Minutes by day with running sums, as hours become available."""

    def __init__(self, longest_gap_months: int | None) -> None:
        self.days: list[date] = []
        self.sums: list[int] = [0]
        self.gap = longest_gap_months
        self.chain_start = date.min

    def add(self, day: date, minutes: int) -> None:
        if self.days and day == self.days[-1]:
            self.sums[-1] += minutes
            return
        if not self.days or day > self.days[-1]:
            if self.gap is not None and self.days and months_before(day, self.gap) > self.days[-1]:
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
        if months_before(day, longest_gap_months) > before:
            break
        start = before
    return start


def _availability(counted: CountedEntry) -> tuple[datetime, datetime, datetime, str]:
    entry = counted.entry
    return counted.available_at, entry.start, entry.end, entry.id


def _pieces(entry: HoursEntry) -> list[tuple[date, datetime, datetime]]:
    """The entry cut at local midnights: ``(day, start, end)``."""
    first, last = local_date(entry.start, entry.zone), local_date(entry.end - INSTANT, entry.zone)
    if first == last:
        return [(first, entry.start, entry.end)]
    midnight = end_of_day(first, entry.zone)
    rest = replace(entry, start=midnight)
    return [(first, entry.start, midnight), *_pieces(rest)]


def _uncovered(covered: list[Interval], start: datetime, end: datetime) -> int:
    """Minutes of ``[start, end)`` outside the sorted intervals ``covered``."""
    fresh, reached = 0, start
    for taken_start, taken_end in covered:
        if taken_start > reached:
            fresh += max(whole_minutes(reached, min(taken_start, end)), 0)
        reached = max(reached, taken_end)
        if reached >= end:
            return fresh
    return fresh + whole_minutes(reached, end)
