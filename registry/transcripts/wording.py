"""How dates, times and amounts are written in printed documents, by the language in force."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _

DAY, MONTH_DAY, INSTANT = "j M Y", "j M", "j M Y, H:i"


def day(value: date | datetime, zone: ZoneInfo | None = None) -> str:
    """``28 Nov 2026``; of an instant, its day in ``zone``."""
    return date_format(_local(value, zone), DAY)


def day_of_year(value: datetime, zone: ZoneInfo) -> str:
    """``28 Nov``, where the year stands above."""
    return date_format(_local(value, zone), MONTH_DAY)


def instant(value: datetime, zone: ZoneInfo) -> str:
    """``28 Nov 2026, 07:00``."""
    return date_format(_local(value, zone), INSTANT)


def clock(value: datetime, zone: ZoneInfo) -> str:
    """``07:00``."""
    return value.astimezone(zone).strftime("%H:%M")


def _local(value: date | datetime, zone: ZoneInfo | None) -> date | datetime:
    if isinstance(value, datetime) and zone is not None:
        return value.astimezone(zone).replace(tzinfo=None)
    return value


def hours_and_minutes(minutes: int) -> str:
    """``75615`` → ``1,260 h 15 min``; nothing is rounded."""
    hours, rest = divmod(minutes, 60)
    return _("%(hours)s h %(minutes)02d min") % {
        "hours": number_format(hours, use_l10n=True, force_grouping=True),
        "minutes": rest,
    }


def hours_colon_minutes(minutes: int) -> str:
    """``495`` → ``8:15``, for narrow columns."""
    return f"{minutes // 60}:{minutes % 60:02d}"


def amount(number: int) -> str:
    """``3000`` → ``3,000``."""
    return number_format(number, use_l10n=True, force_grouping=True)


def spaced(name: str) -> str:
    """A stored name in words: ``signal_person`` → ``signal person``."""
    return name.replace("_", " ")
