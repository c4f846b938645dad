"""The minutes of hours entries, day by day: what overlaps counts once, and a day no more than its limit."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from datetime import date, datetime

from registry.engine.calendar import DAY, MINUTE, bounds_of_day, end_of_day, local_date
from registry.engine.evidence import HoursEntry

Increment = tuple[datetime, date, int]
"""(available at, local day of the work, minutes added to that day)."""

Piece = tuple[datetime, datetime, datetime, str, date]
"""The part of an entry that lies on one local day: ``(available at, start, end, entry, day)``."""


def increments(pieces: Iterable[Piece], day_cap: int) -> tuple[list[Increment], list[str]]:
    """What each piece adds to its local day, in order of availability.

    A minute counts once however many entries cover it, and a day never counts
    more than ``day_cap``. Attribution in order of availability makes the sum
    at any instant exactly the union of what is available then, so one more
    entry never lowers it. Also returns the entries of which some minutes did
    not count because of an overlap or the day's cap.
    """
    starts: list[datetime] = []
    ends: list[datetime] = []
    minutes_on: dict[date, int] = {}
    added: list[Increment] = []
    lost: dict[str, None] = {}
    for available_at, start, end, entry, day in sorted(pieces):
        minutes = fresh = (end - start) // MINUTE
        if not ends or start >= ends[-1]:
            starts.append(start)
            ends.append(end)
        else:
            fresh = _cover(starts, ends, start, end)
        before = minutes_on.get(day, 0)
        minutes_on[day] = before + fresh
        room = day_cap - before
        counts = fresh if fresh <= room else max(room, 0)
        if counts:
            added.append((available_at, day, counts))
        if counts < minutes:
            lost[entry] = None
    return added, list(lost)


def days_of(entry: HoursEntry) -> list[tuple[datetime, datetime, date]]:
    """The entry cut at local midnights: ``(start, end, day)``."""
    start, end, zone = entry.start, entry.end, entry.zone
    day = start.date()
    midnight, next_midnight = bounds_of_day(day, zone)
    if not midnight <= start < next_midnight:
        day = local_date(start, zone)
        next_midnight = end_of_day(day, zone)
    if end <= next_midnight:
        return [(start, end, day)]
    found = []
    while start < end:
        if start < next_midnight:
            found.append((start, min(end, next_midnight), day))
            start = next_midnight
        day += DAY
        next_midnight = end_of_day(day, zone)
    return found


def pieces_of(entry: HoursEntry, available_at: datetime) -> list[Piece]:
    """The entry cut at local midnights."""
    return [(available_at, start, end, entry.id, day) for start, end, day in days_of(entry)]


def _cover(starts: list[datetime], ends: list[datetime], start: datetime, end: datetime) -> int:
    """Add ``[start, end)`` to disjoint ordered stretches; returns the minutes none of them had."""
    minutes = (end - start) // MINUTE
    first, last = bisect_right(ends, start), bisect_left(starts, end)
    for taken_start, taken_end in zip(starts[first:last], ends[first:last], strict=True):
        minutes -= (min(taken_end, end) - max(taken_start, start)) // MINUTE
    if first < last:
        start, end = min(start, starts[first]), max(end, ends[last - 1])
    starts[first:last], ends[first:last] = [start], [end]
    return minutes
