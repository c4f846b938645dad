"""Timelines are sets of instants: half-open, sorted, disjoint."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.engine.intervals import ALWAYS, BEGINNING, FOREVER, NEVER, Timeline, at_least

DAY0 = datetime(2026, 1, 1, tzinfo=UTC)


def at(minute: int) -> datetime:
    return DAY0 + timedelta(minutes=minute)


def timeline(*spans: tuple[int, int]) -> Timeline:
    return Timeline.of((at(start), at(end)) for start, end in spans)


def test_touching_and_overlapping_spans_are_joined_and_empty_ones_dropped() -> None:
    assert timeline((5, 7), (0, 2), (2, 4), (3, 5), (9, 9)) == timeline((0, 7))


def test_the_start_is_inside_and_the_end_is_not() -> None:
    line = timeline((0, 10))
    assert line.holds_at(at(0))
    assert not line.holds_at(at(10))
    assert line.holds_throughout(at(0), at(10))
    assert not line.holds_throughout(at(0), at(11))


@pytest.mark.parametrize(("start", "end", "gap"), [(0, 5, None), (0, 6, 5), (5, 6, 5), (6, 8, None), (7, 12, 9)])
def test_the_first_gap_of_a_window(start: int, end: int, gap: int | None) -> None:
    found = timeline((0, 5), (6, 9)).first_gap(at(start), at(end))
    assert found == (None if gap is None else at(gap))


def test_the_complement_of_always_and_never() -> None:
    assert ALWAYS.outside() == NEVER
    assert NEVER.outside() == ALWAYS
    assert timeline((0, 1)).outside().intervals == ((BEGINNING, at(0)), (at(1), FOREVER))


spans = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), max_size=4)
lines = st.one_of(st.just(ALWAYS), st.just(NEVER), spans.map(lambda each: timeline(*each)))


@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.integers(1, 4), st.lists(lines, max_size=4), lines)
def test_combining_timelines_equals_combining_at_each_instant(
    count: int, several: list[Timeline], other: Timeline
) -> None:
    combined = at_least(count, several)
    for instant in map(at, range(-1, 14)):
        assert combined.holds_at(instant) == (sum(e.holds_at(instant) for e in several) >= count)
        outside = not other.holds_at(instant)
        assert other.outside().holds_at(instant) == outside
        assert combined.minus(other).holds_at(instant) == (combined.holds_at(instant) and outside)
    assert Timeline.of(combined.intervals) == combined
