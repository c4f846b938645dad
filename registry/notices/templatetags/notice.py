"""What a notice's content says, as its page and its paper write it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from django import template

from registry.language import amounts
from registry.notices.words import PARTS, PARTY_ROLES, WAYS
from registry.transcripts.transcript import number_of

register = template.Library()


@register.filter
def day_in(instant: str | datetime | None, zone: str) -> str:
    """The day of an instant, which may be in ISO 8601, by the calendar in ``zone``."""
    if not instant:
        return ""
    found = datetime.fromisoformat(instant) if isinstance(instant, str) else instant
    return amounts.day(found, ZoneInfo(str(zone)))


@register.filter
def register_number(record: str) -> str:
    """``decision:12`` → ``12``."""
    return number_of(record)


@register.filter
def party_role(name: str) -> str:
    """A party's part in the job, in words."""
    return str(PARTY_ROLES[name])


@register.filter
def way(name: str) -> str:
    """A way of sending, in words."""
    return str(WAYS[name])


@register.filter
def parts_in_words(parts: Iterable[str]) -> str:
    """Parts of a notice, in words: ``start, configuration of the crane``."""
    return ", ".join(str(PARTS[each]) for each in parts)
