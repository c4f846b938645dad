"""Instants, names and states as people read them."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.language import amounts, words

register = template.Library()

STATES = {
    "stands": gettext_lazy("stands"),
    "held": gettext_lazy("held"),
    "open": gettext_lazy("open"),
    "refused": gettext_lazy("refused"),
    "permitted": gettext_lazy("permitted"),
    "met": gettext_lazy("met"),
    "unmet": gettext_lazy("not met"),
}


@register.filter
def at(instant: datetime | str | None, zone: str | ZoneInfo) -> str:
    """An instant by a clock in ``zone``: ``28 Nov 2026, 07:00``."""
    if not instant:
        return ""
    found = datetime.fromisoformat(instant) if isinstance(instant, str) else instant
    return amounts.instant(found, ZoneInfo(str(zone)))


@register.filter
def on_day(instant: datetime | None, zone: str | ZoneInfo) -> str:
    """The day of an instant in ``zone``."""
    return "" if instant is None else amounts.day(instant, ZoneInfo(str(zone)))


@register.filter
def day(value: date | None) -> str:
    """A day: ``28 Nov 2026``."""
    return "" if value is None else amounts.day(value)


@register.filter
def short_day(value: date) -> str:
    """A day where its year is near by: ``28 Nov``."""
    return amounts.short_day(value)


@register.filter
def short_month(value: date) -> str:
    """A day's month, for narrow places: ``Nov``."""
    return amounts.short_month(value)


@register.filter
def in_words(name: str) -> str:
    """A stored name in words: ``signal_person`` → ``signal person``."""
    return words.in_words(str(name))


@register.simple_tag
def zone(name: str) -> SafeString:
    """A time zone's name, broken after a slash where it must be."""
    return format_html_join(SafeString("/<wbr>"), "{}", ((part,) for part in str(name).split("/")))


@register.simple_tag
def shape(state: str) -> SafeString:
    """The shape of a state, to stand beside its word; screen readers pass it over."""
    return format_html('<svg class="shape" aria-hidden="true" focusable="false"><use href="#shape-{}"/></svg>', state)


@register.simple_tag
def state(name: str) -> SafeString:
    """A state: shape first, then the word."""
    return format_html('<span class="state state-{}">{} {}</span>', name, shape(name), STATES.get(name, _("unknown")))
