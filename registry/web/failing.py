"""The pages that are shown when everything else fails: they ask no database, no template engine and no other file."""

from __future__ import annotations

import hashlib
from base64 import b64encode

from django.conf import settings
from django.http import HttpRequest, HttpResponse


def page_and_policy(name: str) -> tuple[str, str]:
    """A page that stands by itself, in both languages at once, and the content security policy for it."""
    page = (settings.PROJECT / "templates" / name).read_text(encoding="utf-8")
    style = page.partition("<style>")[2].partition("</style>")[0]
    # The one style that stands in a page is let through by its digest.
    policy = (
        "default-src 'none'",
        f"style-src 'sha256-{b64encode(hashlib.sha256(style.encode()).digest()).decode()}'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
    return page, "; ".join(policy)


PAGE, POLICY = page_and_policy("500.html")


def something_failed(request: HttpRequest) -> HttpResponse:
    """In both languages at once, since nothing is asked that could fail too."""
    return HttpResponse(PAGE, status=500, headers={"Content-Security-Policy": POLICY})
