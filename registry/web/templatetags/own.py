"""Languages and drawings on the pages about one person."""

from __future__ import annotations

from django import template

from registry.language import amounts
from registry.transcripts.templatetags import document

register = template.Library()

register.filter("drawing", document.drawing)
register.filter("language_name", document.language)
register.filter("duration", amounts.duration)
