"""Calendar arithmetic on local dates.

``months_before`` follows the convention of SQL's ``date - interval 'n months'``:
the same day of the earlier month, clamped to that month's last day.
"""

from __future__ import annotations

from calendar import monthrange
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

DAY = timedelta(days=1)


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

    Where a daylight-saving change removes midnight itself, the day starts
    at the first instant that exists.
    """
    local = datetime.combine(day, time.min, tzinfo=zone)
    instant = local.astimezone(UTC)
    if instant.astimezone(zone).date() != day:
        # A gap that swallows midnight can also be answered with the instant before it.
        instant += timedelta(hours=1)
    return instant


def end_of_day(day: date, zone: ZoneInfo) -> datetime:
    """The first instant after ``day`` in ``zone``, in UTC: windows are half-open."""
    return start_of_day(day + DAY, zone)


def local_date(instant: datetime, zone: ZoneInfo) -> date:
    """The calendar day of ``instant`` at a site in ``zone``."""
    return instant.astimezone(zone).date()


def whole_minutes(start: datetime, end: datetime) -> int:
    """Whole minutes from ``start`` to ``end``, rounded down."""
    return int((end - start).total_seconds() // 60)
