"""The web server and its limits: the one way in which the registry is served, by ``serve`` and ``demo``.

Every request ends. Three things see to it:

- A request that is still being sent, or whose answer is still being taken, after the time that a slow line
  needs, has its connection closed. Threads wait for connections without data no longer than an instant.
- A request that is still worked on after ``work`` seconds has its connection closed and the event logged. Where
  that does not end it, the process ends a few seconds later, whatever its threads do, and another one takes its
  place; the other requests in it have those seconds to finish.
- A process whose threads do not let even that watch run is ended by gunicorn (``timeout``).

Why not gunicorn's own means alone: ``timeout`` of its threaded workers watches the process and not a request,
so one endless view would hold its thread for ever. Workers that answer one request each would be ended with
it, but a browser that opens a connection ahead of need, or a client that sends slowly, holds a whole process.
In front of more than a few hundred people, put a proxy that takes requests in whole (``proxy_buffering``).
"""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from django.core.servers.basehttp import get_internal_wsgi_application
from gunicorn import glogging, util
from gunicorn.app.base import BaseApplication
from gunicorn.http.errors import InvalidResponseHeader, InvalidResponseHeaderName, ParseException
from gunicorn.workers import gthread

logger = logging.getLogger(__name__)

WORKERS = 2
THREADS = 8
UNRESPONSIVE = 30
"""Seconds without a sign of life after which gunicorn ends a process."""
FIRST_DATA = 0.05
BETWEEN_LOOKS = 0.2


@dataclass(frozen=True, slots=True)
class Limits:
    """In seconds: ``slow_start`` and then a second for each ``rate`` bytes to send or take; ``work`` to answer;

    ``crowded`` instead of ``slow_start`` to send, while every thread of the process is taken; ``end`` until a request
    whose connection was closed must be over, and ``neighbours`` for the others in its process to finish.
    """

    slow_start: float = 15
    crowded: float = 2
    rate: int = 16 * 1024
    work: float = 60
    end: float = 3
    neighbours: float = 10


class Server(BaseApplication):
    """The registry's server, run in the calling process until it is interrupted."""

    def __init__(
        self,
        *,
        bind: str,
        when_ready: Callable[[], None] = lambda: None,
        limits: Limits | None = None,
        application: Callable[..., Iterable[bytes]] | None = None,
    ) -> None:
        self.bind = bind
        self.when_ready = when_ready
        self.limits = limits or Limits()
        self.application = application
        super().__init__()

    def load_config(self) -> None:
        self.cfg.set("bind", self.bind)
        self.cfg.set("workers", WORKERS)
        self.cfg.set("threads", THREADS)
        self.cfg.set("worker_class", f"{__name__}.WatchedWorker")
        self.cfg.set("timeout", UNRESPONSIVE)
        self.cfg.set("loglevel", "warning")
        self.cfg.set("logger_class", f"{__name__}.AmongTheOthers")
        # No header changes an address or says that http was https: Django asks one of the proxy's, if there is a proxy.
        self.cfg.set("forwarded_allow_ips", "")
        self.cfg.set("forwarder_headers", "")
        self.cfg.set("secure_scheme_headers", {})
        self.cfg.set("when_ready", lambda server: self.when_ready())

    def load(self) -> Any:
        return Told(self.application or get_internal_wsgi_application(), self.limits)


@dataclass(slots=True)
class UnderWay:
    """A request that a thread is at: when what it does now began, and how long that may take."""

    connection: Any
    since: float
    allowed: float
    doing: str = "sent"
    closed_at: float | None = None

    def begin(self, doing: str, allowed: float) -> None:
        """From now on this is done, and may take so long."""
        self.doing, self.allowed, self.since = doing, allowed, time.monotonic()

    def is_over(self, at: float, limits: Limits, *, crowded: bool) -> bool:
        """Whether its time is up; whoever sends slowly has less of it while others wait for a thread."""
        less = max(limits.slow_start - limits.crowded, 0) if crowded and self.doing == "sent" else 0
        return at - self.since > self.allowed - less


_under_way: dict[int, UnderWay] = {}
"""By the number of the thread; each process has its own."""


class Told:
    """The application, whose steps are noted for the watch."""

    def __init__(self, application: Callable[..., Iterable[bytes]], limits: Limits) -> None:
        self.application = application
        self.limits = limits

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        request, limits = _under_way[threading.get_ident()], self.limits

        def reading(size: int | None) -> None:
            if size is None:
                request.begin("worked on", limits.work)
            else:
                # Counted from the first byte of the request, which may not be spun out piece by piece.
                request.doing, request.allowed = "sent", limits.slow_start + size / limits.rate

        def started(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> Any:
            size = next((int(value) for name, value in headers if name.lower() == "content-length"), 0)
            request.begin("taken", limits.work + limits.slow_start + size / limits.rate)
            return start_response(status, headers, exc_info)

        environ["registry.reading"] = reading
        if not environ.get("CONTENT_LENGTH") and "HTTP_TRANSFER_ENCODING" not in environ:
            reading(None)
        return self.application(environ, started)


class AmongTheOthers(glogging.Logger):
    """Gunicorn's log, written as what other libraries say is: its own lines hold addresses, some with a token."""

    def _set_handler(self, log: logging.Logger, *args: Any, **options: Any) -> None:
        log.propagate = True


# Before there is a request to answer, for people and programs alike.
PLAIN_ANSWER = (
    b"HTTP/1.1 %d %s\r\nConnection: close\r\nContent-Type: text/plain; charset=utf-8\r\nCache-Control: no-store\r\n"
    b"Content-Security-Policy: default-src 'none'; frame-ancestors 'none'\r\nX-Content-Type-Options: nosniff\r\n"
    b"Content-Length: %d\r\n\r\n%s"
)
NOT_READ = "This request cannot be read. / Cette requête est illisible.\n"
FAILED = "Something failed. / Une erreur s’est produite.\n"


class WatchedWorker(gthread.ThreadWorker):
    """Gunicorn's worker with threads, in which a watch looks at every request under way."""

    def init_process(self) -> None:
        # A fork begins with the parent's requests, of which there are none.
        _under_way.clear()
        threading.Thread(target=self.watch, daemon=True).start()
        super().init_process()

    def handle(self, conn: Any) -> Any:
        """One request of a connection, in a thread of its own; a connection without data goes back to wait."""
        if not conn.initialized and not conn.data_ready and not conn.wait_for_data(FIRST_DATA):
            return gthread._DEFER
        me = threading.get_ident()
        _under_way[me] = UnderWay(conn, time.monotonic(), self.app.limits.slow_start)
        try:
            return super().handle(conn)
        finally:
            del _under_way[me]

    def handle_error(self, req: Any, client: Any, addr: Any, exc: Any) -> None:
        """What comes to no application, being no HTTP or more than is taken of it, or fails beneath it.

        Neither the answer nor the log repeats it: its address may carry a token.
        """
        if isinstance(exc, ParseException) and not isinstance(exc, InvalidResponseHeader | InvalidResponseHeaderName):
            logger.warning("A request that cannot be read was refused: %s.", type(exc).__name__)
            status, reason, content = 400, b"Bad Request", NOT_READ.encode()
        else:
            logger.error("A request failed outside the application.", exc_info=exc)
            status, reason, content = 500, b"Internal Server Error", FAILED.encode()
        with suppress(OSError):
            util.write_nonblock(client, PLAIN_ANSWER % (status, reason, len(content), content))

    def watch(self) -> None:
        """Close the connections of requests whose time is up; end this process if that does not end them."""
        limits = self.app.limits
        while True:
            time.sleep(BETWEEN_LOOKS)
            now = time.monotonic()
            under_way = list(_under_way.values())
            crowded = len(under_way) >= THREADS
            for each in under_way:
                if each.closed_at is None and each.is_over(now, limits, crowded=crowded):
                    each.closed_at = now
                    logger.error("A request took too long to be %s; its connection is closed.", each.doing)
                    with suppress(OSError):
                        each.connection.sock.shutdown(socket.SHUT_RDWR)
            if any(each.closed_at is not None and now - each.closed_at > limits.end for each in _under_way.values()):
                self.end(now + limits.neighbours)

    def end(self, at: float) -> None:
        """Take no more requests, wait for the others, and end whatever still runs."""
        logger.error("A request does not end; its process is ended and another one started.")
        self.alive = False
        while time.monotonic() < at and any(each.closed_at is None for each in list(_under_way.values())):
            time.sleep(BETWEEN_LOOKS)
        os._exit(1)
