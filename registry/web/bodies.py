"""How much a request may send: refused while it is read, before anything else looks at the request.

Behind this the whole body has arrived, is no larger than its kind of request allows, and is as long
as ``Content-Length`` says, also where it came in chunks without one.
"""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Callable, Iterable, Iterator
from http import HTTPStatus
from typing import IO, Any

from django.core.handlers.wsgi import WSGIRequest
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.security import SecurityMiddleware
from django.urls import Resolver404, ResolverMatch, resolve

from registry.evidence.services import LARGEST_DOCUMENT
from registry.evidence.uploads import LARGEST_TABLE
from registry.web.event_log import about, events, in_one_request
from registry.web.failing import page_and_policy
from registry.web.security import headers_of_every_answer, nothing_is_stored

Environ = dict[str, Any]
Application = Callable[[Environ, Callable[..., Any]], Iterable[bytes]]

KILOBYTE = 1024
AROUND_A_FILE = 512 * KILOBYTE
"""The other fields of a form with a file, a drawn signature among them."""
WITH_A_SCAN = LARGEST_DOCUMENT + AROUND_A_FILE
MOST_OF_A_PAGE = {
    "import_upload": LARGEST_TABLE + AROUND_A_FILE,
    "add_record": WITH_A_SCAN,
    "assess": WITH_A_SCAN,
    "check": WITH_A_SCAN,
    "correct_record": WITH_A_SCAN,
    "add_procedure": WITH_A_SCAN,
    "change_procedure": WITH_A_SCAN,
}
"""In bytes, by the page's name: the pages that take a file."""
MOST_OF_A_FORM = 512 * KILOBYTE
MOST_OF_THE_INTERFACE = 256 * KILOBYTE
PIECE = 16 * KILOBYTE
DIGITS = re.compile(r"[0-9]{1,18}", re.ASCII)
IN_MEMORY = 256 * KILOBYTE
MOST_READ_AWAY = 8 * KILOBYTE * KILOBYTE
"""Of a body that is refused: browsers show an answer only once they have sent most of it."""

TOO_LARGE_PAGE, TOO_LARGE_POLICY = page_and_policy("413.html")
TOO_LARGE = "The request sends more than %d bytes. / La requête envoie plus de %d octets."
BROKEN_OFF = (
    "The request is shorter than it says, or says no length that can be read. / "
    "La requête est plus courte qu’elle ne le dit, ou sa longueur est illisible."
)


class Bodies:
    """A WSGI application that reads each request's body within its limit, then asks ``application``.

    The server is told how far it is: ``environ["registry.reading"]`` is called with the bytes that
    came so far, and with ``None`` when there are no more (see :mod:`registry.serving`).
    """

    def __init__(self, application: Application) -> None:
        self.application = application

    def __call__(self, environ: Environ, start_response: Callable[..., Any]) -> Iterable[bytes]:
        most = most_of(environ.get("PATH_INFO") or "/")
        body: IO[bytes] = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - closed with the answer
        try:
            size = _read(environ, body, most)
        except _TooLarge:
            body.close()
            _read_away(environ)
            detail = TOO_LARGE % (most, most)
            return _refuse(environ, start_response, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, detail)
        except _BrokenOff:
            body.close()
            return _refuse(environ, start_response, HTTPStatus.BAD_REQUEST, BROKEN_OFF)
        if not size:
            body.close()
            return self.application(environ, start_response)
        body.seek(0)
        environ["wsgi.input"], environ["CONTENT_LENGTH"] = body, str(size)
        environ.pop("HTTP_TRANSFER_ENCODING", None)
        return _Answer(self.application(environ, start_response), body)


def most_of(path: str) -> int:
    """How many bytes a request to this path may send."""
    if path.startswith("/api/"):
        return MOST_OF_THE_INTERFACE
    page = _page_at(path)
    return MOST_OF_A_FORM if page is None else MOST_OF_A_PAGE.get(page.url_name or "", MOST_OF_A_FORM)


def _page_at(path: str) -> ResolverMatch | None:
    try:
        return resolve(path)
    except Resolver404:
        return None


class _TooLarge(Exception):
    pass


class _BrokenOff(Exception):
    pass


class _Answer:
    """The application's answer, with which the body is closed."""

    def __init__(self, answer: Iterable[bytes], body: IO[bytes]) -> None:
        self.answer, self.body = answer, body

    def __iter__(self) -> Iterator[bytes]:
        return iter(self.answer)

    def close(self) -> None:
        with self.body:
            close = getattr(self.answer, "close", None)
            if close is not None:
                close()


def _read(environ: Environ, body: IO[bytes], most: int) -> int:
    """Read all of the body into ``body``; how many bytes it has."""
    declared = environ.get("CONTENT_LENGTH", "")
    chunked = "HTTP_TRANSFER_ENCODING" in environ
    if chunked and not environ.get("wsgi.input_terminated"):
        # Nobody says where this body ends.
        raise _BrokenOff
    if not declared and not chunked:
        return 0
    if not chunked and not DIGITS.fullmatch(declared):
        raise _BrokenOff
    expected = None if chunked else int(declared)
    if expected is not None and expected > most:
        raise _TooLarge
    stream, told = environ["wsgi.input"], environ.get("registry.reading", _to_nobody)
    size = 0
    told(size)
    while expected is None or size < expected:
        piece = stream.read(PIECE if expected is None else min(PIECE, expected - size))
        if not piece:
            break
        size += len(piece)
        if size > most:
            raise _TooLarge
        told(size)
        body.write(piece)
    if expected is not None and size < expected:
        raise _BrokenOff
    told(None)
    return size


def _read_away(environ: Environ) -> None:
    stream, told = environ["wsgi.input"], environ.get("registry.reading", _to_nobody)
    for count in range(MOST_READ_AWAY // PIECE):
        if not stream.read(PIECE):
            return
        told(count * PIECE)


def _to_nobody(size: int | None) -> None:
    pass


def _refuse(environ: Environ, start_response: Callable[..., Any], status: HTTPStatus, detail: str) -> Iterable[bytes]:
    """The refusal leaves a line in the log and has the headers of every answer, though it never comes to Django."""
    # What is refused is not read, whatever asks for it.
    request = WSGIRequest({**environ, "wsgi.input": io.BytesIO(), "CONTENT_LENGTH": "0"})
    request.resolver_match = _page_at(request.path_info)

    def refuse(request: HttpRequest) -> HttpResponse:
        events.warning("body_refused", status=status.value, **about(request))
        return _refusal(request, status, detail)

    answer = in_one_request(headers_of_every_answer(nothing_is_stored(refuse)))(request)
    # Its other half leads from http to https, which does not make a body smaller.
    answer = SecurityMiddleware(refuse).process_response(request, answer)
    answer.headers["Content-Length"] = str(len(answer.content))
    start_response(f"{status.value} {status.phrase}", list(answer.items()))
    return [answer.content]


def _refusal(request: HttpRequest, status: HTTPStatus, detail: str) -> HttpResponse:
    """A problem (RFC 9457) for programs, a page for people, both in both languages: nobody's is known yet."""
    if status is not HTTPStatus.BAD_REQUEST and not request.path_info.startswith("/api/"):
        return HttpResponse(TOO_LARGE_PAGE, status=status, headers={"Content-Security-Policy": TOO_LARGE_POLICY})
    problem = {"type": "about:blank", "title": status.phrase, "status": status.value, "detail": detail}
    return JsonResponse(
        problem,
        status=status,
        content_type="application/problem+json",
        headers={"Content-Security-Policy": "default-src 'none'"},
        json_dumps_params={"ensure_ascii": False},
    )
