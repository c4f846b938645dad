"""When a session ends by itself: an hour after it was last used, twelve hours after its account signed in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.signals import user_logged_in
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from registry.web.event_log import about, events

SIGNED_IN_AT = "signed_in_at"
USED_AT = "used_at"
# A session is written down again at most once a minute.
NOTED_EVERY = 60


def idle_sessions_end(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: whoever comes back too late is asked to sign in, as somebody who never did."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            now = int(timezone.now().timestamp())
            why = _ended(request, now)
            if why is not None:
                events.info("session_ended", why=why, **about(request))
                logout(request)
            elif now - request.session[USED_AT] >= NOTED_EVERY:
                request.session[USED_AT] = now
        return get_response(request)

    return middleware


def _ended(request: HttpRequest, now: int) -> str | None:
    """Why the session has ended, if it has. The cookie's own age is not asked: each change of a session renews it."""
    if now - request.session.get(SIGNED_IN_AT, 0) >= settings.SESSION_COOKIE_AGE:
        return "old"
    return "idle" if now - request.session.get(USED_AT, 0) >= settings.SESSION_IDLE_SECONDS else None


def _note_sign_in(*, request: HttpRequest, user: Any, **more: Any) -> None:
    request.session[SIGNED_IN_AT] = request.session[USED_AT] = int(timezone.now().timestamp())


user_logged_in.connect(_note_sign_in)
