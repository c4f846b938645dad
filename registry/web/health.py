"""Two addresses for whoever keeps the registry running: whether this process answers, and whether it can do its work.

They are answered before anything is asked of a request: without a session, by whatever
host name a probe uses, over http and https alike. Everybody may ask, so the answer is a word.
Why the registry is not ready is in the log.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.http import HttpRequest, HttpResponse, JsonResponse

from registry.web.event_log import events
from registry.web.log_lines import where_it_failed

LIVE = "/health/live"
READY = "/health/ready"


def answered_first(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: answer the two addresses, for GET and HEAD."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if request.method not in ("GET", "HEAD"):
            return get_response(request)
        if request.path_info == LIVE:
            return _answer("live")
        if request.path_info == READY:
            return _answer("ready") if ready() else _answer("not ready", status=503)
        return get_response(request)

    return middleware


def ready() -> bool:
    """Whether the database answers and has been brought up to date for these sources."""
    try:
        missing = _migrations() - set(MigrationRecorder(connection).applied_migrations())
    except Exception as error:
        # Whatever goes wrong between here and the database, the answer is the same.
        events.error("not_ready", failed=where_it_failed(error))
        return False
    if missing:
        events.error("not_ready", migrations=sorted(".".join(each) for each in missing))
    return not missing


@cache
def _migrations() -> frozenset[tuple[str, str]]:
    """All that come with these sources."""
    return frozenset(MigrationLoader(None).disk_migrations)


def _answer(word: str, *, status: int = 200) -> HttpResponse:
    answer = JsonResponse({"status": word}, status=status)
    answer.headers["Cache-Control"] = "no-store"
    return answer
