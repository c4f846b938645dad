"""What the crew board needs beyond the words of the other pages: moments of a week, and lengths in drawings."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from django import template

from registry.language import amounts

register = template.Library()


@register.filter
def moment(instant: datetime, zone: str) -> str:
    """An instant by a clock in ``zone``, where the year is plain: ``Sat 28 Nov, 07:00``."""
    there = ZoneInfo(zone)
    return f"{amounts.weekday(instant, there)}, {amounts.clock(instant, there)}"


@register.filter
def clock_reading(instant: datetime, zone: str) -> str:
    """An instant as a field for date and time on the site takes it: ``2026-11-28T07:00``."""
    return f"{instant.astimezone(ZoneInfo(zone)):%Y-%m-%dT%H:%M}"


@register.filter
def times(share: float, length: int) -> str:
    """A share of a length for a drawing, with a point whatever the language: ``0.5|times:700`` → ``350.0``."""
    return f"{share * length:.1f}"


@register.filter
def add_up(length: str, more: int) -> str:
    """A length of a drawing with so much added to it."""
    return f"{float(length) + more:.1f}"
