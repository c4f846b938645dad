"""How often something may be asked that somebody could find out by asking often enough."""

from __future__ import annotations

from allauth.core.internal import ratelimit
from django.http import HttpRequest

LIMITS = {
    # Wrong links from one address are as many as failed sign-ins may be; a transcript takes a second to print.
    "wrong_shared_link": "30/15m/ip",
    "shared_transcript": "10/m/ip",
    # Numbers follow upon each other: whoever knows name and date of birth could try them.
    "wrong_number": "10/60m/user",
    # A wrong code on paper is as likely as a wrong link; each answer to an invitation tells whether an address is here.
    "wrong_invitation": "30/15m/ip",
    "invitation": "20/60m/user",
}


def within_limit(request: HttpRequest, action: str, *, dry_run: bool = False) -> bool:
    """Whether one more is allowed, which unless ``dry_run`` is counted."""
    usage = ratelimit.consume(request, app="registry", action=action, config=LIMITS, dry_run=dry_run, limit_get=True)
    return usage is not None
