"""What people write: dates back and forth, checked against python-dateutil where it cannot be mistaken."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.parser import parse
from hypothesis import given
from hypothesis import strategies as st

from registry.evidence.importing.values import ValueRefused, instant, read_date, read_duration, read_time

DAYS = st.dates(date(1900, 1, 1), date(2199, 12, 31))
ENGLISH = [date(2000, month, 1).strftime("%B") for month in range(1, 13)]
FRENCH = (
    *("janvier", "février", "mars", "avril", "mai", "juin"),
    *("juillet", "août", "septembre", "octobre", "novembre", "décembre"),
)


@given(DAYS)
def test_written_days_are_read_back(day: date) -> None:
    english, french = ENGLISH[day.month - 1], FRENCH[day.month - 1]
    for written in (
        day.isoformat(),
        f"{day.isoformat()} 00:00:00",
        f"{day:%d.%m.%Y}",
        f"{day.day}.{day.month}.{day:%Y}",
        f"{day.day} {english} {day:%Y}",
        f"{day.day:02}-{english[:3]}-{day:%Y}",
        f"{english} {day.day}, {day:%Y}",
        f"{english[:3]}. {day.day}, {day:%Y}".replace("May.", "May"),
        f"{day.day} {french} {day:%Y}",
        f"{'1er' if day.day == 1 else day.day} {french.upper()} {day:%Y}",
    ):
        assert read_date(written) == day, written


@given(DAYS)
def test_dates_are_read_as_dateutil_reads_them(day: date) -> None:
    english = ENGLISH[day.month - 1]
    for written in (day.isoformat(), f"{day.day} {english} {day:%Y}", f"{english} {day.day}, {day:%Y}"):
        assert read_date(written) == parse(written).date()
    assert read_date(f"{day:%d.%m.%Y}") == parse(f"{day:%d.%m.%Y}", dayfirst=True).date()


@given(DAYS)
def test_slashes_are_never_guessed(day: date) -> None:
    day_first, month_first = f"{day:%d/%m/%Y}", f"{day:%m/%d/%Y}"
    assert read_date(day_first, "day-first") == day
    assert read_date(month_first, "month-first") == day
    if day.day > 12 or day.day == day.month:
        assert read_date(day_first) == read_date(month_first) == day
    else:
        for written in (day_first, month_first):
            with pytest.raises(ValueRefused) as caught:
                read_date(written)
            assert caught.value.rule == "date_is_unambiguous"


@pytest.mark.parametrize(
    ("written", "rule"),
    [
        ("04/03/26", "year_has_four_digits"),
        ("4 March 26", "year_has_four_digits"),
        ("31.02.2026", "date_is_in_the_calendar"),
        ("13/13/2026", "date_is_in_the_calendar"),
        ("0204-01-01", "date_is_in_the_calendar"),
        ("4 Marzo 2026", "date_is_written_as_a_date"),
        ("2026-03-04 07:00", "date_is_written_as_a_date"),
        ("yesterday", "date_is_written_as_a_date"),
        (46085, "date_is_written_as_a_date"),
        (datetime(2026, 3, 4, 7), "date_has_no_time"),
    ],
)
def test_other_dates_are_refused(written: object, rule: str) -> None:
    with pytest.raises(ValueRefused) as caught:
        read_date(written)
    assert caught.value.rule == rule


def test_a_named_order_is_kept_to() -> None:
    with pytest.raises(ValueRefused):
        read_date("03/25/2026", "day-first")


@given(st.times().map(lambda each: each.replace(second=0, microsecond=0)))
def test_written_times_are_read_back(clock: time) -> None:
    for written in (f"{clock:%H:%M}", f"{clock.hour}h{clock:%M}", f"{clock:%I:%M} {'am' if clock.hour < 12 else 'PM'}"):
        assert read_time(written) == clock == parse(written.replace("h", ":")).time()
    assert read_time(clock) == clock


@pytest.mark.parametrize(
    ("written", "clock"),
    [("7 am", time(7)), ("12:00 a.m.", time(0)), ("12 pm", time(12)), ("7h", time(7)), ("07:00:00", time(7))],
)
def test_short_times(written: str, clock: time) -> None:
    assert read_time(written) == clock
    assert read_time(time(6, 59, 59, 999_990)) == time(7)


@pytest.mark.parametrize("written", ["7", "700", "7.", "7 m", "24:00", "13:00 pm", "0 am", "noon", 0.29, "7:5"])
def test_other_times_are_refused(written: object) -> None:
    with pytest.raises(ValueRefused):
        read_time(written)


@pytest.mark.parametrize(
    ("written", "minutes"),
    [
        ("8", 480),
        ("8.5", 510),
        ("8,5", 510),
        ("8:30", 510),
        ("8h30", 510),
        ("7,25 h", 435),
        ("8 hours", 480),
        (8.5, 510),
        (8, 480),
        (time(8, 30), 510),
        (timedelta(hours=25), 1500),
    ],
)
def test_durations(written: object, minutes: int) -> None:
    assert read_duration(written) == timedelta(minutes=minutes)


@pytest.mark.parametrize("written", ["8.33", "8:75", "-8", "eight", "1e3", "8.5.1", True])
def test_other_durations_are_refused(written: object) -> None:
    with pytest.raises(ValueRefused):
        read_duration(written)


ZONES = st.sampled_from(["Europe/Paris", "America/New_York", "Australia/Lord_Howe", "UTC", "Asia/Kolkata"])


@given(st.datetimes(datetime(1975, 1, 1), datetime(2035, 1, 1)), ZONES)
def test_an_instant_is_told_back_by_the_sites_clocks_or_refused(local: datetime, name: str) -> None:
    zone = ZoneInfo(name)
    local = local.replace(microsecond=0)
    # Every instant whose local reading this is, found by trying offsets, not by the fold.
    showing = {
        moment
        for quarter in range(-56, 57)
        if (moment := local.replace(tzinfo=UTC) - timedelta(minutes=15 * quarter)).astimezone(zone).replace(tzinfo=None)
        == local
    }
    try:
        assert showing == {instant(local.date(), local.time(), zone)}
    except ValueRefused as refused:
        missing = refused.rule == "time_exists_at_the_site"
        assert len(showing) == (0 if missing else 2)
