"""What printed documents alone say."""

from __future__ import annotations

from django.utils.translation import gettext as _

from registry.language.amounts import amount, clock, day, day_of_year, hours_and_minutes, hours_colon_minutes, instant
from registry.language.words import in_words, listed

__all__ = [
    "amount",
    "clock",
    "day",
    "day_of_year",
    "hours_and_minutes",
    "hours_colon_minutes",
    "in_words",
    "instant",
    "listed",
    "page_of_pages",
]


def page_of_pages() -> str:
    """``Page %(page)s of %(pages)s``, in the language in force."""
    return _("Page %(page)s of %(pages)s")
