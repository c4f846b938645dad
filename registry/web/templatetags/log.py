"""Links from a record to its place in the log."""

from __future__ import annotations

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from registry.ledger.kinds import title_of

register = template.Library()


@register.simple_tag
def log_link(kind: str, record: int) -> SafeString:
    """A link to the log entry of the record ``record`` of the table ``kind``; costs no statement."""
    return format_html(
        '<a class="number" href="{}">{}<span class="unseen"> {}</span></a>',
        reverse("log_record", kwargs={"kind": kind, "record": record}),
        _("log"),
        _("entry of %(kind)s %(number)s") % {"kind": title_of(kind), "number": record},
    )
