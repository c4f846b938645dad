"""Devices on which somebody has signed in, told by a signed cookie ("device cookies", as OWASP describes them).

Wrong passwords from elsewhere are counted for where they come from, and those from
a known device for that device: so nobody keeps the owner of an account from the
device that they use. The cookie lets nobody in; it says only for whom attempts are
counted. It holds account numbers and random marks, no names.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

from registry.people.models import Account

SALT = "registry.known_device"
# Accounts that one device remembers, the latest first: a desk that a shift shares.
MOST_ACCOUNTS = 8


def mark_of_device(request: HttpRequest, account: Account | None) -> str | None:
    """The random mark by which this device is known to the account, or ``None``."""
    return None if account is None else _marks(request).get(account.pk)


def any_mark(request: HttpRequest) -> str | None:
    """A mark of this device, whosever; ``None`` where nobody ever signed in."""
    return next(iter(_marks(request).values()), None)


def remember_device(request: HttpRequest, account: Account) -> None:
    """Have the answer to this request make the device known, under a fresh mark."""
    request.known_device_of = account.pk  # type: ignore[attr-defined]


def remembered(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: set the cookie where somebody has just signed in."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        account_id = getattr(request, "known_device_of", None)
        if account_id is not None:
            _set_cookie(response, {account_id: secrets.token_urlsafe(16)} | _without(_marks(request), account_id))
        return response

    return middleware


def _without(marks: dict[int, str], account_id: int) -> dict[int, str]:
    others = [(each, mark) for each, mark in marks.items() if each != account_id]
    return dict(others[: MOST_ACCOUNTS - 1])


def _marks(request: HttpRequest) -> dict[int, str]:
    """By account number, the latest first. A cookie that is not ours, or too old, is none."""
    cookie = request.COOKIES.get(settings.KNOWN_DEVICE_COOKIE_NAME, "")
    try:
        pairs = signing.loads(cookie, salt=SALT, max_age=settings.KNOWN_DEVICE_COOKIE_AGE)
    except signing.BadSignature:
        return {}
    return dict(pairs)


def _set_cookie(response: HttpResponse, marks: dict[int, str]) -> None:
    response.set_cookie(
        settings.KNOWN_DEVICE_COOKIE_NAME,
        signing.dumps(list(marks.items()), salt=SALT),
        max_age=settings.KNOWN_DEVICE_COOKIE_AGE,
        secure=settings.SECURE,
        httponly=True,
        samesite="Strict",
    )
