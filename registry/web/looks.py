"""Every page and answer that shows somebody's records leaves its trace before it is sent."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from registry.inspection.trace import LOOKS, leaves_a_trace, record_look, subject_of
from registry.people.models import Account
from registry.web.security import GetResponse

# A POST that is answered with a page or file, not with a redirect, shows something too.
SHOWING = ("GET", "POST")
# A place on a crew comes with the address, the person asked about with the question.
ASKED_ABOUT = ("slot_as_known", "slot-as-known-at")
API_RECORDS = ("job", "slot", "assignment", "decision")


def traced(get_response: GetResponse) -> GetResponse:
    """Record looks at records. Where the trace cannot be recorded nothing is shown."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        if request.method in SHOWING and response.status_code == 200 and request.user.is_authenticated:
            _record(request, request.user)
        return response

    return middleware


def _record(request: HttpRequest, account: Account) -> None:
    match = request.resolver_match
    if match is None or account.kind == "worker":
        return
    name = match.url_name or ""
    what = name if name in LOOKS else "api" if _shows_records(name) else None
    if what is None:
        return
    given = _given(name, match.kwargs) if what == "api" else dict(match.kwargs)
    if name in ASKED_ABOUT:
        given["worker_id"] = forms.IntegerField().clean(request.GET["worker"])
    subject = subject_of(given)
    if leaves_a_trace(account, subject):
        record_look(account=account, what=what, subject=subject, at=timezone.now())


def _shows_records(name: str) -> bool:
    """Whether an address of the programming interface answers with records: ``job-crew``, ``slot-as-known-at``."""
    return name.partition("-")[0] in API_RECORDS or name.startswith("log-inclusion")


def _given(name: str, given: dict[str, Any]) -> dict[str, Any]:
    number = given.get("pk")
    return given if number is None else {f"{name.partition('-')[0]}_id": number}
