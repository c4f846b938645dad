"""Words and shapes of printed documents."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext_lazy

from registry.language import amounts, words
from registry.transcripts.transcript import Kept
from registry.transcripts.transcript_document import fate_in_words

register = template.Library()

STATES = {
    "stands": gettext_lazy("stands"),
    "held": gettext_lazy("held"),
    "open": gettext_lazy("open"),
    "refused": gettext_lazy("REFUSED"),
    "met": gettext_lazy("met"),
    "unmet": gettext_lazy("not met"),
}


@register.simple_tag
def state(name: str) -> SafeString:
    """A state: shape first (drawn by the print style), then the word."""
    return format_html('<span class="state state-{}">{}</span>', name, STATES[name])


@register.filter
def day(value: date | datetime | None, zone: str = "UTC") -> str:
    """A day, or the day of an instant in ``zone``."""
    return "" if value is None else amounts.day(value, ZoneInfo(str(zone)))


@register.filter
def at(value: datetime | str | None, zone: str) -> str:
    """An instant by a clock in ``zone``."""
    if not value:
        return ""
    found = datetime.fromisoformat(value) if isinstance(value, str) else value
    return amounts.instant(found, ZoneInfo(str(zone)))


@register.filter
def worked(minutes: int) -> str:
    """Minutes as hours and minutes."""
    return amounts.hours_and_minutes(minutes)


@register.filter
def amount(number: int) -> str:
    """A number with its thousands set apart."""
    return amounts.amount(number)


@register.filter
def in_words(name: str) -> str:
    """A stored name in words."""
    return words.in_words(str(name))


@register.filter
def listed(names: Iterable[str]) -> str:
    """Stored names in words, with commas."""
    return words.listed(names)


@register.filter
def language(tag: str) -> str:
    """A language by its name, or by its BCP 47 tag where the name is not known."""
    return words.language_name(tag)


@register.filter
def fate(record: Kept) -> str:
    """What became of a record, in words; nothing for one that stands and corrects nothing."""
    return fate_in_words(record)


@register.filter
def drawing(svg: str) -> SafeString:
    """A picture that the registry drew itself, put in as it is."""
    return mark_safe(svg)  # noqa: S308 (drawn by registry.transcripts, which escapes what it is given)
