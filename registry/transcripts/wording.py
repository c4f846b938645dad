"""How dates, times and amounts are written in printed documents, by the language in force."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from django.utils.formats import date_format, number_format
from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _

LEAP_YEAR = 2000
FORMATS = {"en": ("j M Y", "j M"), "fr": ("j F Y", "j b")}
"""A day, and a day whose year stands above, by language: months are small letters in French."""


def page_of_pages() -> str:
    """``Page %(page)s of %(pages)s``, in the language in force."""
    return _("Page %(page)s of %(pages)s")


def day(value: date | datetime, zone: ZoneInfo | None = None) -> str:
    """``28 Nov 2026``; of an instant, its day in ``zone``."""
    return _written(_local(value, zone), _formats()[0])


def day_of_year(value: datetime, zone: ZoneInfo) -> str:
    """``28 Nov``, where the year stands above."""
    return _written(_local(value, zone).replace(year=LEAP_YEAR), _formats()[1])


def instant(value: datetime, zone: ZoneInfo) -> str:
    """``28 Nov 2026, 07:00``."""
    return f"{day(value, zone)}, {clock(value, zone)}"


def clock(value: datetime, zone: ZoneInfo) -> str:
    """``07:00``."""
    return value.astimezone(zone).strftime("%H:%M")


def _formats() -> tuple[str, str]:
    return FORMATS[(get_language() or "en").partition("-")[0]]


def _local(value: date | datetime, zone: ZoneInfo | None) -> date:
    if isinstance(value, datetime):
        return (value if zone is None else value.astimezone(zone)).date()
    return value


def _written(value: date, form: str) -> str:
    return _kept(value, form, get_language() or "en")


@lru_cache(maxsize=4096)
def _kept(value: date, form: str, _language: str) -> str:
    """A transcript has thousands of days, most of them more than once."""
    return date_format(value, form)


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


def in_words(name: str) -> str:
    """A name the registry stores, as people say it: ``not_yet_competent`` → ``not yet competent``."""
    return _said(name, get_language() or "en")


@lru_cache(maxsize=4096)
def _said(name: str, _language: str) -> str:
    return str(WORDS[name]) if name in WORDS else name.replace("_", " ")


def listed(names: Iterable[str]) -> str:
    """Stored names in words, with commas."""
    return ", ".join(in_words(each) for each in names)


WORDS = {
    "erection": gettext_lazy("erection"),
    "climbing": gettext_lazy("climbing"),
    "repositioning": gettext_lazy("repositioning"),
    "dismantling": gettext_lazy("dismantling"),
    "erector": gettext_lazy("erector"),
    "trainee": gettext_lazy("trainee"),
    "erection_supervisor": gettext_lazy("erection supervisor"),
    "overseeing_engineer": gettext_lazy("overseeing engineer"),
    "rigger": gettext_lazy("rigger"),
    "signal_person": gettext_lazy("signal person"),
    "crane_operator": gettext_lazy("crane operator"),
    "assist_crane_operator": gettext_lazy("assist-crane operator"),
    "assessor": gettext_lazy("assessor"),
    "pass": gettext_lazy("pass"),
    "not_yet_competent": gettext_lazy("not yet competent"),
    "in_force": gettext_lazy("in force"),
    "not_yet": gettext_lazy("not yet in force"),
    "expired": gettext_lazy("expired"),
    "suspended": gettext_lazy("suspended"),
    "revoked": gettext_lazy("revoked"),
    "reinstated": gettext_lazy("reinstated"),
    "maker": gettext_lazy("maker"),
    "employer": gettext_lazy("employer"),
    "third_party": gettext_lazy("third party"),
    "duty": gettext_lazy("duty"),
    "founding": gettext_lazy("FOUNDING APPOINTMENT"),
    "maker_instructor": gettext_lazy("maker's instructor"),
    "witnessed": gettext_lazy("witnessed"),
    "countersigned_late": gettext_lazy("countersigned late"),
    "transcribed": gettext_lazy("transcribed from paper"),
    "imported": gettext_lazy("imported"),
    "claimed": gettext_lazy("claimed: nobody signed"),
}
