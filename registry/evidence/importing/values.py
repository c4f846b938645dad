"""What people write in cells: dates, times, durations. Ambiguity is refused, never guessed."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from zoneinfo import ZoneInfo

from registry.evidence.importing.columns import folded
from registry.evidence.importing.reading import Unreadable, Value

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


def text(value: Value) -> str:
    """The cell as text without spaces around it; a whole number has no decimals."""
    if isinstance(value, Unreadable):
        raise ValueRefused(value.rule, value.message)
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return " ".join(str(value).split())


# A cell's value is written in many rows. Typed, since 1, 1.0 and True are equal but not written alike.
@lru_cache(maxsize=4096, typed=True)
def read_date(value: Value, order: str | None = None) -> date:
    """A calendar day. ``order`` (``day-first`` or ``month-first``) settles what ``03/04/2026`` means."""
    if isinstance(value, datetime):
        if value.time() != time.min:
            raise ValueRefused("date_has_no_time", f"{value:%Y-%m-%d %H:%M} holds a time; give the date alone.")
        return _plausible(value.date(), str(value.date()))
    if isinstance(value, date):
        return _plausible(value, str(value))
    if isinstance(value, int | float | time | timedelta):
        raise ValueRefused("date_is_written_as_a_date", f"{text(value)} is no date; write it as 2026-03-04.")
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
    raise ValueRefused("date_is_written_as_a_date", f"{written!r} is no date; write it as 2026-03-04.")


def _slashed(first: int, second: int, year: int, written: str, order: str | None) -> date:
    if order == DAY_FIRST:
        return _day(year, second, first, written)
    if order == MONTH_FIRST:
        return _day(year, first, second, written)
    if first <= 12 and second <= 12 and first != second:
        raise ValueRefused(
            "date_is_unambiguous",
            f"{written!r} may be day/month or month/day; write 2026-03-04, or say which comes first.",
        )
    return _day(year, first, second, written) if second > 12 else _day(year, second, first, written)


def _year(digits: str, written: str) -> int:
    if len(digits) != 4:
        raise ValueRefused("year_has_four_digits", f"{written!r} must give the year with four digits.")
    return int(digits)


def _day(year: int, month: int, day: int, written: str) -> date:
    try:
        return _plausible(date(year, month, day), written)
    except ValueError:
        raise ValueRefused("date_is_in_the_calendar", f"{written!r} is not a day of the calendar.") from None


def _plausible(day: date, written: str) -> date:
    if not 1900 <= day.year <= 2200:
        raise ValueRefused("date_is_in_the_calendar", f"{written!r} is not in the years 1900 to 2200.")
    return day


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
        raise ValueRefused("time_is_written_as_a_time", f"{written!r} is no time; write it as 07:00.")
    hour, minute, second = int(found[1]), int(found[2] or 0), int(found[3] or 0)
    if found[4]:
        if not 1 <= hour <= 12:
            raise ValueRefused("time_is_on_the_clock", f"{written!r} is not a time of day.")
        hour = hour % 12 + (12 if found[4] == "p" else 0)
    try:
        return time(hour, minute, second)
    except ValueError:
        raise ValueRefused("time_is_on_the_clock", f"{written!r} is not a time of day.") from None


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
            raise ValueRefused("duration_is_in_hours", f"{written!r} has more than 59 minutes in an hour.")
        return timedelta(hours=int(found[1]), minutes=int(found[2]))
    plain = re.sub(r"\s*(h|hours?|heures?)$", "", plain).replace(",", ".")
    try:
        if not re.fullmatch(r"\d{1,3}(\.\d{1,4})?", plain, re.ASCII):
            raise InvalidOperation
        minutes = Decimal(plain) * 60
    except InvalidOperation:
        raise ValueRefused("duration_is_in_hours", f"{written!r} is no length of time; write 8.5 or 8:30.") from None
    if minutes != minutes.to_integral_value():
        raise ValueRefused(
            "hours_are_in_whole_minutes", f"{written!r} hours are {minutes.normalize():f} minutes; write 8:20."
        )
    return timedelta(minutes=int(minutes))


def instant(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """The instant in UTC at which the clocks of ``zone`` show this; refused if they never do, or do so twice."""
    local = datetime.combine(day, clock)
    first = local.replace(tzinfo=zone)
    second = first.replace(fold=1)
    if first.utcoffset() != second.utcoffset():
        if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local:
            raise ValueRefused(
                "time_exists_at_the_site",
                f"{local:%Y-%m-%d %H:%M} does not exist in {zone.key}: the clocks were put forward.",
            )
        raise ValueRefused(
            "time_is_unambiguous_at_the_site",
            f"{local:%Y-%m-%d %H:%M} came twice in {zone.key}: the clocks were put back.",
        )
    return first.astimezone(UTC)
