"""What people write in cells: dates, times, durations. Ambiguity is refused, never guessed."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from zoneinfo import ZoneInfo

from registry.engine.calendar import EARLIEST_YEAR, LATEST_YEAR
from registry.evidence.apart.tables import Unreadable, Value
from registry.evidence.importing.columns import folded
from registry.language.plain_text import code_point, hidden_character, line
from registry.language.refusals import sentence_of

DAY_FIRST, MONTH_FIRST = "day-first", "month-first"
DATE_ORDERS = (DAY_FIRST, MONTH_FIRST)

MONTHS = {
    spelling: number
    for number, spellings in enumerate(
        (
            "january jan janvier janv",
            "february feb fevrier fevr fev",
            "march mar mars",
            "april apr avril avr",
            "may mai",
            "june jun juin",
            "july jul juillet juil",
            "august aug aout",
            "september sep sept septembre",
            "october oct octobre",
            "november nov novembre",
            "december dec decembre",
        ),
        start=1,
    )
    for spelling in spellings.split()
}
YEAR_FIRST = re.compile(r"(\d{4})([-/])(\d{1,2})\2(\d{1,2})")
DOTTED = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d+)")
SLASHED = re.compile(r"(\d{1,2})([-/])(\d{1,2})\2(\d+)")
DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th|er)? ([a-z]+) (\d+)")
MONTH_DAY = re.compile(r"([a-z]+) (\d{1,2})(?:st|nd|rd|th)? (\d+)")
MIDNIGHT = re.compile(r"[T ]00:00(:00(\.0+)?)?$")
CLOCK = re.compile(r"(\d{1,2})(?:[:h](\d{2})(?::(\d{2}))?|h)?(?:\s*([ap])\.?m\.?)?", re.ASCII)
HOURS_MINUTES = re.compile(r"(\d{1,3})\s*[:h]\s*(\d{2})(?::00)?", re.ASCII)


class ValueRefused(Exception):
    """A cell's value cannot be taken; ``rule`` names why, the message is a sentence."""

    def __init__(self, rule: str, message: str) -> None:
        super().__init__(message)
        self.rule = rule
        self.message = message


def cell_refused(rule: str, /, **values: object) -> ValueRefused:
    """The rule as broken by a cell, in its one sentence filled with ``values``."""
    return ValueRefused(rule, sentence_of(rule, **values))


def text(value: Value) -> str:
    """The cell as text without spaces around it; a whole number has no decimals."""
    if isinstance(value, Unreadable):
        raise ValueRefused(value.rule, value.message)
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    written = line(str(value))
    if hidden := hidden_character(written):
        raise cell_refused("cell_has_no_hidden_characters", character=code_point(hidden))
    return written


# A cell's value is written in many rows. Typed, since 1, 1.0 and True are equal but not written alike.
@lru_cache(maxsize=4096, typed=True)
def read_date(value: Value, order: str | None = None) -> date:
    """A calendar day. ``order`` (``day-first`` or ``month-first``) settles what ``03/04/2026`` means."""
    if isinstance(value, datetime):
        if value.time() != time.min:
            raise cell_refused("date_has_no_time", value=f"{value:%Y-%m-%d %H:%M}")
        return _plausible(value.date(), str(value.date()))
    if isinstance(value, date):
        return _plausible(value, str(value))
    if isinstance(value, int | float | time | timedelta):
        raise cell_refused("date_is_written_as_a_date", text=text(value))
    written = text(value)
    plain = MIDNIGHT.sub("", written)
    if found := YEAR_FIRST.fullmatch(plain):
        return _day(int(found[1]), int(found[3]), int(found[4]), written)
    if found := DOTTED.fullmatch(plain):
        return _day(_year(found[3], written), int(found[2]), int(found[1]), written)
    if found := SLASHED.fullmatch(plain):
        return _slashed(int(found[1]), int(found[3]), _year(found[4], written), written, order)
    words = folded(plain)
    if (found := DAY_MONTH.fullmatch(words)) and found[2] in MONTHS:
        return _day(_year(found[3], written), MONTHS[found[2]], int(found[1]), written)
    if (found := MONTH_DAY.fullmatch(words)) and found[1] in MONTHS:
        return _day(_year(found[3], written), MONTHS[found[1]], int(found[2]), written)
    raise cell_refused("date_is_written_as_a_date", text=repr(written))


def _slashed(first: int, second: int, year: int, written: str, order: str | None) -> date:
    if order == DAY_FIRST:
        return _day(year, second, first, written)
    if order == MONTH_FIRST:
        return _day(year, first, second, written)
    if first <= 12 and second <= 12 and first != second:
        raise cell_refused("date_is_unambiguous", text=repr(written))
    return _day(year, first, second, written) if second > 12 else _day(year, second, first, written)


def _year(digits: str, written: str) -> int:
    if len(digits) != 4:
        raise cell_refused("year_has_four_digits", text=repr(written))
    return int(digits)


def _day(year: int, month: int, day: int, written: str) -> date:
    try:
        return _plausible(date(year, month, day), written)
    except ValueError:
        raise _not_in_the_calendar(written) from None


def _plausible(day: date, written: str) -> date:
    if not EARLIEST_YEAR <= day.year <= LATEST_YEAR:
        raise _not_in_the_calendar(written)
    return day


def _not_in_the_calendar(written: str) -> ValueRefused:
    return cell_refused("date_is_in_the_calendar", text=repr(written), first=EARLIEST_YEAR, last=LATEST_YEAR)


@lru_cache(maxsize=4096, typed=True)
def read_time(value: Value) -> time:
    """A time of day: ``07:00``, ``7:00 am``, ``7h30``, or a cell that holds a time."""
    if isinstance(value, datetime):
        value = value.time()
    if isinstance(value, time):
        return _to_the_second(value)
    written = text(value)
    found = CLOCK.fullmatch(written.casefold())
    if found is None or written.isdecimal():
        raise cell_refused("time_is_written_as_a_time", text=repr(written))
    hour, minute, second = int(found[1]), int(found[2] or 0), int(found[3] or 0)
    if found[4]:
        if not 1 <= hour <= 12:
            raise cell_refused("time_is_on_the_clock", text=repr(written))
        hour = hour % 12 + (12 if found[4] == "p" else 0)
    try:
        return time(hour, minute, second)
    except ValueError:
        raise cell_refused("time_is_on_the_clock", text=repr(written)) from None


def _to_the_second(value: time) -> time:
    # A spreadsheet keeps a time as a fraction of a day, which seldom is a whole second.
    rounded = datetime.combine(date(2000, 1, 1), value) + timedelta(microseconds=500_000)
    return rounded.time().replace(microsecond=0)


@lru_cache(maxsize=4096, typed=True)
def read_duration(value: Value) -> timedelta:
    """Hours of work: ``8``, ``8.5``, ``8,5``, ``8:30``, ``8h30``, or a cell that holds a length of time."""
    if isinstance(value, timedelta):
        return timedelta(minutes=round(value / timedelta(minutes=1)))
    if isinstance(value, time):
        value = _to_the_second(value)
        return timedelta(hours=value.hour, minutes=value.minute)
    written = text(value)
    plain = written.casefold()
    if found := HOURS_MINUTES.fullmatch(plain):
        if int(found[2]) > 59:
            raise cell_refused("duration_is_in_hours", text=repr(written))
        return timedelta(hours=int(found[1]), minutes=int(found[2]))
    plain = re.sub(r"\s*(h|hours?|heures?)$", "", plain).replace(",", ".")
    try:
        if not re.fullmatch(r"\d{1,3}(\.\d{1,4})?", plain, re.ASCII):
            raise InvalidOperation
        minutes = Decimal(plain) * 60
    except InvalidOperation:
        raise cell_refused("duration_is_in_hours", text=repr(written)) from None
    if minutes != minutes.to_integral_value():
        raise cell_refused("hours_are_in_whole_minutes")
    return timedelta(minutes=int(minutes))


def instant(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """The instant in UTC at which the clocks of ``zone`` show this; refused if they never do, or do so twice."""
    local = datetime.combine(day, clock)
    first = local.replace(tzinfo=zone)
    second = first.replace(fold=1)
    if first.utcoffset() != second.utcoffset():
        shown = {"instant": f"{local:%Y-%m-%d %H:%M}", "zone": zone.key}
        if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local:
            raise cell_refused("time_exists_at_the_site", **shown)
        raise cell_refused("time_is_unambiguous_at_the_site", **shown)
    return first.astimezone(UTC)
