"""When something holds: sorted, disjoint, half-open intervals of time.

A :class:`Timeline` says of every instant whether a requirement is met. Leaves
are piecewise constant, so a timeline is exact: nothing is sampled.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

BEGINNING = datetime.min.replace(tzinfo=UTC)
FOREVER = datetime.max.replace(tzinfo=UTC)

Interval = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Timeline:
    """The instants at which something holds, as ``((start, end), ...)``."""

    intervals: tuple[Interval, ...] = ()

    @classmethod
    def of(cls, intervals: Iterable[Interval]) -> Timeline:
        """Merge any intervals into a timeline; empty ones are dropped."""
        merged: list[Interval] = []
        for start, end in sorted(each for each in intervals if each[0] < each[1]):
            if merged and start <= merged[-1][1]:
                merged[-1] = (merged[-1][0], max(merged[-1][1], end))
            else:
                merged.append((start, end))
        return cls(tuple(merged))

    def holds_at(self, instant: datetime) -> bool:
        """Whether ``instant`` is inside."""
        return self.interval_at(instant) is not None

    def interval_at(self, instant: datetime) -> Interval | None:
        """The interval that contains ``instant``, if any."""
        index = bisect_right(self.intervals, instant, key=_start) - 1
        if index >= 0 and instant < self.intervals[index][1]:
            return self.intervals[index]
        return None

    def holds_throughout(self, start: datetime, end: datetime) -> bool:
        """Whether the whole of ``[start, end)`` is inside."""
        found = self.interval_at(start)
        return found is not None and end <= found[1]

    def first_gap(self, start: datetime, end: datetime) -> datetime | None:
        """The first instant of ``[start, end)`` at which it does not hold."""
        found = self.interval_at(start)
        if found is None:
            return start
        return found[1] if found[1] < end else None

    def outside(self) -> Timeline:
        """The complement."""
        if not self.intervals:
            return ALWAYS
        edges = [BEGINNING]
        for start, end in self.intervals:
            edges += [start, end]
        edges.append(FOREVER)
        return Timeline.of(zip(edges[::2], edges[1::2], strict=True))

    def minus(self, other: Timeline) -> Timeline:
        """The instants inside this one and outside ``other``."""
        return at_least(2, [self, other.outside()])

    def limited_to(self, start: datetime, end: datetime) -> Timeline:
        """The part inside ``[start, end)``."""
        return Timeline.of((max(start, a), min(end, b)) for a, b in self.intervals)


ALWAYS = Timeline(((BEGINNING, FOREVER),))
NEVER = Timeline()


def at_least(count: int, timelines: Iterable[Timeline]) -> Timeline:
    """The instants at which at least ``count`` (1 or more) of ``timelines`` hold."""
    changing = []
    for timeline in timelines:
        if timeline == ALWAYS:
            count -= 1
        elif timeline.intervals:
            changing.append(timeline)
    if count < 1:
        return ALWAYS
    if count > len(changing):
        return NEVER
    if len(changing) == 1:
        return changing[0]
    edges: list[tuple[datetime, int]] = []
    for timeline in changing:
        for start, end in timeline.intervals:
            edges += [(start, 1), (end, -1)]
    found: list[Interval] = []
    depth, since = 0, BEGINNING
    # Ends sort before starts at the same instant; Timeline.of joins what then touches.
    for instant, step in sorted(edges):
        if depth < count <= depth + step:
            since = instant
        elif depth + step < count <= depth:
            found.append((since, instant))
        depth += step
    return Timeline.of(found)


def _start(interval: Interval) -> datetime:
    return interval[0]
