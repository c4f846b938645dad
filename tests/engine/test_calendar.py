"""Calendar days and months at a site: 29 February, month ends, changes of the clocks."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from registry.engine.calendar import (
    end_of_day,
    first_day_outside,
    local_date,
    months_before,
    start_of_day,
    whole_minutes,
)
from registry.engine.intervals import BEGINNING, FOREVER


@pytest.mark.parametrize(
    ("day", "months", "before"),
    [
        ("2026-03-31", 1, "2026-02-28"),
        ("2024-03-31", 1, "2024-02-29"),
        ("2024-02-29", 12, "2023-02-28"),
        ("2024-02-29", 48, "2020-02-29"),
        ("2026-01-15", 1, "2025-12-15"),
        ("2026-12-31", 6, "2026-06-30"),
        ("2026-05-04", 24, "2024-05-04"),
    ],
)
def test_months_before_keeps_the_day_or_takes_the_last_of_the_month(day: str, months: int, before: str) -> None:
    assert months_before(date.fromisoformat(day), months) == date.fromisoformat(before)


@pytest.mark.parametrize(
    ("day", "months", "outside"),
    [
        ("2024-02-29", 24, "2026-03-01"),
        ("2024-02-28", 24, "2026-03-01"),  # 28 February 2026 looks back to 28 February 2024
        ("2024-02-27", 24, "2026-02-28"),
        ("2026-01-31", 1, "2026-03-01"),
        ("2026-05-04", 12, "2027-05-05"),
        ("2024-02-28", 48, "2028-02-29"),
    ],
)
def test_first_day_outside_is_the_day_after_the_last_one_that_looks_back_so_far(
    day: str, months: int, outside: str
) -> None:
    first = first_day_outside(date.fromisoformat(day), months)
    assert months_before(first, months) > date.fromisoformat(day)
    assert months_before(first - timedelta(days=1), months) <= date.fromisoformat(day)
    assert first == date.fromisoformat(outside)


def test_months_before_stops_at_the_first_and_the_last_day_there_is() -> None:
    assert months_before(date(1, 3, 1), 5) == date.min
    assert months_before(date(9999, 11, 1), -5) == date.max


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("America/Chicago", "2026-03-08", 23),
        ("America/Chicago", "2026-11-01", 25),
        ("Europe/Berlin", "2026-03-29", 23),
        ("Europe/Berlin", "2026-10-25", 25),
        ("Australia/Lord_Howe", "2026-04-05", 24.5),
        ("Australia/Lord_Howe", "2026-10-04", 23.5),
        ("America/Sao_Paulo", "2018-11-04", 23),  # the clocks skip midnight
        ("Africa/Cairo", "2024-04-26", 23),
        ("America/Havana", "2024-11-03", 25),  # midnight comes twice
        ("Asia/Tokyo", "2026-03-08", 24),
        ("UTC", "2026-03-08", 24),
    ],
)
def test_a_day_is_as_long_as_its_clocks_make_it(zone: str, day: str, hours: float) -> None:
    site, that_day = ZoneInfo(zone), date.fromisoformat(day)
    start, end = start_of_day(that_day, site), end_of_day(that_day, site)
    assert end - start == timedelta(hours=hours)
    assert local_date(start, site) == that_day
    assert local_date(start - timedelta(minutes=1), site) < that_day
    assert local_date(end - timedelta(minutes=1), site) == that_day
    assert local_date(end, site) > that_day


def test_a_day_that_a_place_never_had_is_empty() -> None:
    """Samoa went from 29 to 31 December 2011."""
    apia, missing = ZoneInfo("Pacific/Apia"), date(2011, 12, 30)
    assert start_of_day(missing, apia) == end_of_day(missing, apia)
    assert start_of_day(missing, apia) == datetime(2011, 12, 30, 10, tzinfo=UTC)


def test_the_gap_of_a_clock_may_begin_before_midnight() -> None:
    """Toronto skipped from 23:30 to 00:30 on 30 March 1919."""
    start = start_of_day(date(1919, 3, 31), ZoneInfo("America/Toronto"))
    assert start.astimezone(ZoneInfo("America/Toronto")).strftime("%d %H:%M") == "31 00:30"


@pytest.mark.parametrize("zone", ["Asia/Tokyo", "America/Chicago", "UTC"])
def test_the_first_and_the_last_day_there_is_have_bounds(zone: str) -> None:
    site = ZoneInfo(zone)
    assert start_of_day(date.min, site) >= BEGINNING
    assert end_of_day(date.max, site) == FOREVER


def test_whole_minutes_are_rounded_down() -> None:
    start = datetime(2026, 6, 1, tzinfo=UTC)
    assert whole_minutes(start, start + timedelta(seconds=119)) == 1
