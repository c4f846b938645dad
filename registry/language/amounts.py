"""How dates, times and amounts are written, by the language in force."""

from __future__ import annotations

from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from django.utils.formats import date_format, number_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

LEAP_YEAR = 2000
FORMATS = {"en": ("j M Y", "j M", "D j M", "M"), "fr": ("j F Y", "j N", "D j N", "N")}
"""By language: a day; the same without its year; without its year and with its weekday; a month in short.

Cut to three letters, June and July would be one in French.
"""


def day(value: date | datetime, zone: ZoneInfo | None = None) -> str:
    """``28 Nov 2026``; of an instant, its day in ``zone``."""
    return _written(_local(value, zone), _formats()[0])


def day_of_year(value: datetime, zone: ZoneInfo) -> str:
    """``28 Nov``, where the year stands above."""
    return _written(_local(value, zone).replace(year=LEAP_YEAR), _formats()[1])


def short_day(value: date) -> str:
    """``28 Nov``, where the year is near by."""
    return _written(value, _formats()[1])


def weekday(value: date | datetime, zone: ZoneInfo | None = None) -> str:
    """``Sat 28 Nov``; of an instant, its day in ``zone``."""
    return _written(_local(value, zone), _formats()[2])


def short_month(value: date) -> str:
    """``Nov``."""
    return _written(value, _formats()[3])


def instant(value: datetime, zone: ZoneInfo) -> str:
    """``28 Nov 2026, 07:00``."""
    return f"{day(value, zone)}, {clock(value, zone)}"


def clock(value: datetime, zone: ZoneInfo) -> str:
    """``07:00``."""
    return value.astimezone(zone).strftime("%H:%M")


def _formats() -> tuple[str, str, str, str]:
    return FORMATS[(get_language() or "en").partition("-")[0]]


def _local(value: date | datetime, zone: ZoneInfo | None) -> date:
    if isinstance(value, datetime):
        return (value if zone is None else value.astimezone(zone)).date()
    return value


def _written(value: date, form: str) -> str:
    return _kept(value, form, get_language() or "en")


@lru_cache(maxsize=4096)
def _kept(value: date, form: str, language: str) -> str:
    """A transcript has thousands of days, most of them more than once."""
    # Of a month's days the French count only the first: 1er novembre, 2 novembre.
    first = language.startswith("fr") and value.day == 1
    return date_format(value, form.replace("j", r"1\e\r") if first else form)


def hours_and_minutes(minutes: int) -> str:
    """``75615`` → ``1,260 h 15 min``; nothing is rounded."""
    hours, rest = divmod(minutes, 60)
    return _("%(hours)s h %(minutes)02d min") % {"hours": amount(hours), "minutes": rest}


def duration(minutes: int) -> str:
    """``90`` → ``1 h 30 min``, ``120`` → ``2 h``."""
    hours, rest = divmod(minutes, 60)
    if not rest:
        return _("%(hours)s h") % {"hours": amount(hours)}
    if not hours:
        return _("%(minutes)s min") % {"minutes": rest}
    return _("%(hours)s h %(minutes)s min") % {"hours": amount(hours), "minutes": rest}


def hours_colon_minutes(minutes: int) -> str:
    """``495`` → ``8:15``, for narrow columns."""
    return f"{minutes // 60}:{minutes % 60:02d}"


def amount(number: int) -> str:
    """``3000`` → ``3,000``."""
    return number_format(number, use_l10n=True, force_grouping=True)
