"""What holds for every page: where content may come from, and that a second factor is not passed by."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from allauth.mfa.signals import authenticator_added, authenticator_used
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, resolve_url
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.views import APIView

from registry.crews import access
from registry.people.models import Account

GetResponse = Callable[[HttpRequest], HttpResponse]

POLICY = "; ".join(
    (
        "default-src 'self'",
        # The authenticator app's QR code and drawn signatures are pictures inside the page.
        "img-src 'self' data: blob:",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)

# The session's note that its account's second factor was used, or set up, in it.
SECOND_FACTOR_OF = "second_factor_of"
# The session's note of the page that asked for a second factor, and the pages that may.
WAY_BACK = "way_back"
WAYS_BACK = frozenset({"to_countersign", "assessments"})
# What somebody who still has to set up a second factor can reach.
SET_UP_PAGES = frozenset(
    {
        "accept_invitation",
        "follow_invitation",
        "type_code",
        "account",
        "account_reauthenticate",
        "mfa_activate_totp",
        "mfa_add_webauthn",
        "mfa_list_webauthn",
        "mfa_view_recovery_codes",
        "set_language",
        "sign_in",
        "sign_out",
    }
)


def content_security_policy(get_response: GetResponse) -> GetResponse:
    """Scripts and styles come from our own files and never stand in a page."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        return response

    return middleware


class SecondFactorMiddleware:
    """Whoever must have a second factor reaches nothing but its set-up until it is there.

    A session that was opened before the second factor existed ends: it was
    opened by the password alone. Costs one statement for each request of
    somebody signed in, so that every change counts from the next request on.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        if not request.user.is_authenticated:
            return None
        account = request.user
        standing = access.second_factor_of(account, at=timezone.now())
        if standing.set_up:
            if request.session.get(SECOND_FACTOR_OF) == account.pk:
                return None
            logout(request)
            return _instead(request, view, "sign_in", _("Sign in again, with your second factor."))
        name = getattr(request.resolver_match, "url_name", None)
        if standing.compulsory and name not in SET_UP_PAGES:
            note_way_back(request, name)
            return _instead(request, view, "account", _("Set up a second factor first."))
        return None


def note_way_back(request: HttpRequest, page: str | None) -> None:
    """Remember which page asked for a second factor, so that its set-up leads back there."""
    if page in WAYS_BACK:
        request.session[WAY_BACK] = page


def came_back(request: HttpRequest) -> None:
    """The page that asked for a second factor is open again."""
    request.session.pop(WAY_BACK, None)


def note_second_factor(*, request: HttpRequest, user: Account, **more: Any) -> None:
    """This session's account has used, or just set up, its second factor."""
    request.session[SECOND_FACTOR_OF] = user.pk


authenticator_added.connect(note_second_factor)
authenticator_used.connect(note_second_factor)


def _instead(request: HttpRequest, view: Any, page: str, why: str) -> HttpResponse:
    """Another page for people, a problem (RFC 9457) for programs."""
    if issubclass(getattr(view, "cls", object), APIView):
        body = {"type": "about:blank", "title": _("Second factor needed"), "status": 403, "detail": why}
        return JsonResponse(body, status=403, content_type="application/problem+json")
    if request.headers.get("HX-Request"):
        return HttpResponse(status=204, headers={"HX-Redirect": resolve_url(page)})
    return redirect(page)
