"""What happens at the doors, as lines of JSON for whoever watches over the registry.

A line says when, what, which account (its number) and in which request, and by
which client: a keyed digest of its address, which tells that two lines are of one
client and not where it is. No line holds a name, a number of a person, a text
that somebody typed, or the address of a page: addresses may carry the token of
a link. What a library says is left out for the same reason; its line says where
in the sources it was said, and of an error where it went wrong.
"""

from __future__ import annotations

import secrets
import sys
from collections.abc import Callable
from typing import Any

import structlog
from allauth.core.internal import httpkit
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.core.signals import got_request_exception
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import salted_hmac
from structlog.contextvars import bound_contextvars

from registry.web.log_lines import where_it_failed

EVENTS = "registry.events"
# Answers that refuse access: to who is not signed in, to what is not allowed, to what is not theirs to see.
REFUSALS = (401, 403, 404)

events: structlog.stdlib.BoundLogger = structlog.get_logger(EVENTS)


def in_one_request(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: the lines of one request are marked as such, and a refusal of access leaves one."""

    def middleware(request: HttpRequest) -> HttpResponse:
        with bound_contextvars(request=secrets.token_hex(8)):
            response = get_response(request)
            # An address that leads nowhere refuses nobody anything.
            if response.status_code in REFUSALS and request.resolver_match is not None:
                events.warning("access_refused", status=response.status_code, **about(request))
        return response

    return middleware


def about(request: HttpRequest) -> dict[str, Any]:
    """Who asked for what: the account's number, the page's name, the method, and the client."""
    # Asking for the account could fail where the database did.
    account = getattr(request, "_cached_user", None)
    match = request.resolver_match
    return {
        "account": account.pk if account is not None else None,
        "page": match.view_name if match is not None else None,
        "method": request.method if request.method in ("GET", "HEAD", "POST", "OPTIONS") else "other",
        "client": client_of(request),
    }


def client_of(request: HttpRequest) -> str | None:
    """A short digest of the client's address, under the installation's key."""
    address = httpkit.get_client_ip(request)
    return salted_hmac(EVENTS, address, algorithm="sha256").hexdigest()[:12] if address else None


def _failed(*, request: HttpRequest | None = None, **more: Any) -> None:
    error = sys.exc_info()[1]
    asked = about(request) if request is not None else {}
    events.error("failed", **asked, failed=where_it_failed(error) if error else [])


def _signed_in(*, request: HttpRequest, user: Any, **more: Any) -> None:
    ways = [each.get("type") or each["method"] for each in request.session.get("account_authentication_methods", [])]
    events.info("signed_in", **(about(request) | {"account": user.pk}), by=ways)


def _signed_out(*, request: HttpRequest, user: Any, **more: Any) -> None:
    if user is not None:
        events.info("signed_out", **(about(request) | {"account": user.pk}))


got_request_exception.connect(_failed)
user_logged_in.connect(_signed_in)
user_logged_out.connect(_signed_out)
