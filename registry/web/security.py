"""What holds for every answer: where content may come from, that it is not kept, and that a second factor is needed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from allauth.mfa.signals import authenticator_added, authenticator_used
from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed, JsonResponse
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

# No page asks a browser for any of these; passkeys are asked for by our own pages alone.
DEVICES = ", ".join(
    (
        *(
            f"{each}=()"
            for each in (
                "accelerometer",
                "browsing-topics",
                "camera",
                "display-capture",
                "geolocation",
                "gyroscope",
                "magnetometer",
                "microphone",
                "midi",
                "payment",
                "screen-wake-lock",
                "usb",
                "xr-spatial-tracking",
            )
        ),
        "publickey-credentials-create=(self)",
        "publickey-credentials-get=(self)",
    )
)
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")

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


def headers_of_every_answer(get_response: GetResponse) -> GetResponse:
    """Scripts and styles come from our own files and never stand in a page; no other site uses or embeds what is ours.

    Outermost, so that no refusal goes out without them: Django's own middleware sets some of them too, but not where
    it refuses a request itself, or another one before it does.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", DEVICES)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Cross-Origin-Opener-Policy", settings.SECURE_CROSS_ORIGIN_OPENER_POLICY)
        response.headers.setdefault("Referrer-Policy", settings.SECURE_REFERRER_POLICY)
        response.headers.setdefault("X-Content-Type-Options", "nosniff")
        response.headers.setdefault("X-Frame-Options", settings.X_FRAME_OPTIONS)
        return response

    return middleware


def interface_by_https_alone(get_response: GetResponse) -> GetResponse:
    """A program that asks over plain http is refused and not led on, or nobody would notice what it sends in clear."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if settings.SECURE_SSL_REDIRECT and request.path_info.startswith("/api/") and not request.is_secure():
            return _problem(_("Only over https"), _("This interface is reached over https alone."))
        return get_response(request)

    return middleware


def known_methods_only(get_response: GetResponse) -> GetResponse:
    """TRACE, which would show a request's own cookies to a script, and all that nobody uses here."""

    def middleware(request: HttpRequest) -> HttpResponse:
        return get_response(request) if request.method in METHODS else HttpResponseNotAllowed(METHODS)

    return middleware


def nothing_is_stored(get_response: GetResponse) -> GetResponse:
    """No browser or proxy keeps an answer: pages, the interface's answers and downloads show people's records.

    What an answer says of itself holds only if it is said to everybody alike, which for somebody signed in is not
    so; of whoever asks for a static file nobody asks who that is.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        said = response.headers.get("Cache-Control", "")
        if "no-store" not in said and (not said or (getattr(request, "user", None) and request.user.is_authenticated)):
            response.headers["Cache-Control"] = "no-store, private"
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


def _problem(title: str, detail: str) -> HttpResponse:
    """What a program is refused by (RFC 9457)."""
    body = {"type": "about:blank", "title": title, "status": 403, "detail": detail}
    return JsonResponse(body, status=403, content_type="application/problem+json")


def _instead(request: HttpRequest, view: Any, page: str, why: str) -> HttpResponse:
    """Another page for people, a problem (RFC 9457) for programs."""
    if issubclass(getattr(view, "cls", object), APIView):
        return _problem(_("Second factor needed"), why)
    if request.headers.get("HX-Request"):
        return HttpResponse(status=204, headers={"HX-Redirect": resolve_url(page)})
    return redirect(page)
