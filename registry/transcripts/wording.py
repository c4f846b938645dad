"""What printed documents alone say."""

from __future__ import annotations

from django.utils.translation import gettext as _


def page_of_pages() -> str:
    """``Page %(page)s of %(pages)s``, in the language in force."""
    return _("Page %(page)s of %(pages)s")
