"""Errors as problem details (RFC 9457), whatever part of the registry raised them, in the language asked for."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from rest_framework.exceptions import APIException
from rest_framework.response import Response
from rest_framework.views import exception_handler

from registry.crews.access import NotAllowed
from registry.database.errors import RecordRefused
from registry.engine.bad_input import BadInput
from registry.ledger.memory import CannotSign

MEDIA_TYPE = "application/problem+json"


def problem(status: int, title: str, detail: str, **more: Any) -> Response:
    """A problem-details response; ``more`` are extension members."""
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail, **more}
    return Response(body, status=status, content_type=MEDIA_TYPE)


def handle(error: Exception, context: dict[str, Any]) -> Response | None:
    """The exception handler for all views."""
    if isinstance(error, RecordRefused):
        return problem(
            400,
            _("The record was refused"),
            str(error),
            problems=[{"field": each.field, "rule": each.rule, "message": each.message} for each in error.problems],
        )
    if isinstance(error, BadInput):
        return problem(
            400,
            _("The question cannot be answered"),
            error.message,
            problems=[{"field": error.path, "rule": "bad_input", "message": error.message}],
        )
    if isinstance(error, NotAllowed):
        return problem(403, _("Not allowed"), str(error))
    if isinstance(error, CannotSign):
        return problem(503, _("No checkpoint can be signed"), str(error))
    response = exception_handler(error, context)
    if response is None:
        return None
    detail = error.detail if isinstance(error, APIException) else str(error)
    if isinstance(detail, dict):
        problems = [
            {"field": field, "rule": "invalid", "message": str(message)}
            for field, messages in detail.items()
            for message in (messages if isinstance(messages, list) else [messages])
        ]
        body = problem(response.status_code, _("Bad request"), _("Some fields are wrong."), problems=problems)
    else:
        body = problem(response.status_code, response.reason_phrase, str(detail))
    for name, value in response.headers.items():
        if name.lower() != "content-type":
            body[name] = value
    return body
