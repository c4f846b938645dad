"""How often something may be asked that somebody could find out by asking often enough."""

from __future__ import annotations

from allauth.core.internal import ratelimit
from django import forms
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from registry.web.event_log import about, events

LIMITS = {
    # Wrong links from one address are as many as failed sign-ins may be; a transcript takes a second to print.
    "wrong_shared_link": "30/15m/ip",
    "shared_transcript": "10/m/ip",
    # Whoever asks about people who are not theirs could try names, numbers, days and codes one after the other:
    # each question counts before it is looked at, right or wrong, for the account and for its employer.
    "ask_person": "10/60m/user,30/1d/key",
    "type_code": "10/60m/user,30/1d/key",
    "register_person": "30/60m/user,200/1d/key",
    "name_assessor": "20/60m/user,60/1d/key",
    # A wrong code on paper is as likely as a wrong link; each answer to an invitation tells whether an address is here.
    "wrong_invitation": "30/15m/ip",
    "invitation": "20/60m/user,60/1d/key",
    # A table costs more than any page, and one of people asks about each of them: counted before it is looked
    # at, for the account and for its employer.
    "table": "120/60m/user,240/60m/key",
    "import_people": "5/60m/user,15/1d/key",
}

ASKED_TOO_OFTEN = _("Too many questions of this kind: try again in an hour, or tomorrow.")


def within_limit(request: HttpRequest, action: str, *, dry_run: bool = False) -> bool:
    """Whether one more is allowed, which unless ``dry_run`` is counted; ``key`` stands for the account's employer."""
    employer = getattr(request.user, "employer_id", None)
    usage = ratelimit.consume(
        request,
        app="registry",
        action=action,
        config=LIMITS,
        key=f"employer:{employer}",
        dry_run=dry_run,
        limit_get=True,
    )
    if usage is None:
        events.warning("limit_reached", limit=action, **about(request))
    return usage is not None


def asked_too_often(request: HttpRequest, form: forms.Form, action: str) -> bool:
    """Count one more question that was sent, before it is looked at; says beside the form that it is one too many."""
    if not form.is_bound or within_limit(request, action):
        return False
    form.add_error(None, ASKED_TOO_OFTEN)
    return True
