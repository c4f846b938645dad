"""Calendar arithmetic on local dates.

``months_before`` follows the convention of SQL's ``date - interval 'n months'``:
the same day of the earlier month, clamped to that month's last day.
"""

from __future__ import annotations

from calendar import monthrange
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from registry.engine.intervals import BEGINNING, FOREVER

DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)
INSTANT = timedelta(microseconds=1)
"""The shortest time there is: an instant before an end is the last one inside."""
EARLIEST_YEAR, LATEST_YEAR = 1900, 2199
"""Of what people enter. At the ends of the calendar an instant has no date in some zones, and no page could show it."""


@lru_cache(maxsize=65536)
def months_before(day: date, months: int) -> date:
    """The date ``months`` calendar months before ``day``, clamped at month end."""
    index = day.year * 12 + day.month - 1 - months
    year, month = divmod(index, 12)
    if year < 1:
        return date.min
    if year > date.max.year:
        return date.max
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


@lru_cache(maxsize=65536)
def first_day_outside(day: date, months: int) -> date:
    """The first date from which ``day`` is no longer within ``months`` months back.

    The smallest ``later`` with ``months_before(later, months) > day``.
    """
    later = months_before(day, -months)
    while later < date.max and months_before(later, months) <= day:
        later += DAY
    return later


@lru_cache(maxsize=65536)
def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """The first instant of ``day`` in ``zone``, in UTC.

    Where a change of the clocks removes midnight, or the whole day, the day
    starts at the first instant after the gap.
    """
    local = datetime.combine(day, time.min, tzinfo=zone)
    try:
        instant, before = local.astimezone(UTC), local.replace(fold=1).astimezone(UTC)
        while (instant - before) // MINUTE > 1:
            middle = before + (instant - before) // MINUTE // 2 * MINUTE
            if local_date(middle, zone) < day:
                before = middle
            else:
                instant = middle
    except OverflowError:
        return BEGINNING if day.year == date.min.year else FOREVER
    return instant


def end_of_day(day: date, zone: ZoneInfo) -> datetime:
    """The first instant after ``day`` in ``zone``, in UTC: windows are half-open."""
    return FOREVER if day == date.max else start_of_day(day + DAY, zone)


@lru_cache(maxsize=65536)
def bounds_of_day(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The first instant of ``day`` in ``zone`` and the first one after it."""
    return start_of_day(day, zone), end_of_day(day, zone)


def local_date(instant: datetime, zone: ZoneInfo) -> date:
    """The calendar day of ``instant`` at a site in ``zone``."""
    return instant.astimezone(zone).date()


def whole_minutes(start: datetime, end: datetime) -> int:
    """Whole minutes from ``start`` to ``end``, rounded down."""
    return (end - start) // MINUTE
