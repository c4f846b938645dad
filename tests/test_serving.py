"""Requests that do not end by themselves are ended, and others are answered meanwhile."""

from __future__ import annotations

import http.client
import json
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from django.conf import settings

from registry.serving import Limits, UnderWay

# The server as it is, with an application of two views and little patience.
PROGRAM = """
import sys, time
from django.conf import settings
from registry.web.log_lines import formatter
settings.configure(LOGGING={
    "version": 1,
    "formatters": {"lines": {"()": formatter}},
    "handlers": {"lines": {"class": "logging.StreamHandler", "formatter": "lines"}},
    "root": {"handlers": ["lines"], "level": "WARNING"},
})
import django
django.setup()
from registry.serving import Limits, Server

def application(environ, start_response):
    if environ["PATH_INFO"] == "/endless/":
        while True:
            sum(range(1000))
    if environ["PATH_INFO"] == "/asleep/":
        time.sleep(600)
    if environ["PATH_INFO"] == "/failing/":
        raise ValueError("a name of somebody")
    if environ["REQUEST_METHOD"] == "POST":
        environ["wsgi.input"].read(int(environ.get("CONTENT_LENGTH") or -1))
    content = b"x" * (50_000_000 if environ["PATH_INFO"] == "/large/" else 1)
    if environ["PATH_INFO"] == "/seen/":
        content = " ".join((environ["wsgi.url_scheme"], environ["SCRIPT_NAME"], environ["PATH_INFO"])).encode()
    start_response("200 OK", [("Content-Length", str(len(content)))])
    return [content]

Server(
    bind=f"127.0.0.1:{sys.argv[1]}",
    when_ready=lambda: print("ready", flush=True),
    limits=Limits(slow_start=1, rate=10_000_000_000, work=1, end=0.5, neighbours=1),
    application=application,
).run()
"""
MOST_WAITED = 60


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("served") / "log"


@pytest.fixture(scope="module")
def port(log: Path) -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        number: int = probe.getsockname()[1]
    with log.open("w") as errors:
        server = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, str(number)],
            cwd=settings.PROJECT,
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
        )
    try:
        assert server.stdout is not None
        assert server.stdout.readline() == "ready\n"
        yield number
    finally:
        server.terminate()
        server.wait(MOST_WAITED)
        assert server.stdout is not None
        server.stdout.close()


def answer(port: int, path: str = "/") -> int:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=MOST_WAITED)
    try:
        connection.request("GET", path)
        return connection.getresponse().status
    finally:
        connection.close()


def is_closed(connection: socket.socket) -> bool:
    """Waits until the server closes the connection, which must not have been answered."""
    connection.settimeout(MOST_WAITED)
    try:
        return connection.recv(1) == b""
    except ConnectionError:
        return True


@pytest.mark.parametrize("path", ["/endless/", "/asleep/"])
def test_a_view_that_does_not_end_is_ended_with_its_process(port: int, path: str) -> None:
    for _time in range(3):
        with pytest.raises((http.client.HTTPException, ConnectionError)):
            answer(port, path)
    assert answer(port) == 200


@pytest.mark.parametrize(
    "sent",
    [
        b"GET / HTT",
        b"GET / HTTP/1.1\r\nHost: a\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 100\r\n\r\nsome of it",
    ],
    ids=["request line", "headers", "body"],
)
def test_a_client_that_stops_sending_is_hung_up_on(port: int, sent: bytes) -> None:
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(sent)
        assert is_closed(connection)


def test_a_client_that_sends_byte_by_byte_is_hung_up_on(port: int) -> None:
    begun = time.monotonic()
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(b"GET / HTTP/1.1\r\nA: ")
        with suppress(ConnectionError):
            while time.monotonic() - begun < MOST_WAITED:
                connection.sendall(b"a")
                time.sleep(0.1)
    assert time.monotonic() - begun < MOST_WAITED


def test_a_client_that_does_not_take_its_answer_is_hung_up_on(port: int, log: Path) -> None:
    until = time.monotonic() + MOST_WAITED
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(b"GET /large/ HTTP/1.1\r\nHost: a\r\n\r\n")
        while "too long to be taken" not in log.read_text():
            assert time.monotonic() < until
            time.sleep(0.1)
        connection.settimeout(MOST_WAITED)
        taken = 0
        try:
            while piece := connection.recv(1_000_000):
                taken += len(piece)
        except ConnectionError:
            pass
        assert taken < 50_000_000


def test_connections_without_a_request_keep_nobody_waiting(port: int) -> None:
    idle = [socket.create_connection(("127.0.0.1", port)) for _each in range(60)]
    try:
        assert answer(port) == 200
    finally:
        for each in idle:
            each.close()


def test_clients_that_stop_sending_keep_nobody_waiting_for_long(port: int) -> None:
    stuck = [socket.create_connection(("127.0.0.1", port)) for _each in range(40)]
    try:
        for each in stuck:
            each.sendall(b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 9\r\n\r\n")
        assert answer(port) == 200
    finally:
        for each in stuck:
            each.close()


def told(port: int, sent: bytes) -> bytes:
    """All that the server answers to these bytes."""
    with socket.create_connection(("127.0.0.1", port), timeout=MOST_WAITED) as connection:
        connection.sendall(sent)
        return b"".join(iter(lambda: connection.recv(65536), b""))


@pytest.mark.parametrize(
    "sent",
    [
        b"\0\1\2\r\n\r\n",
        b"GET /shared/a-token/\r\n\r\n",
        b"PROXY TCP4 198.51.100.7 198.51.100.8 1 2\r\nGET /shared/a-token/ HTTP/1.1\r\n\r\n",
        b"GET /shared/a-token/ HTTP/1.1\r\nHost: a\r\na-token b: c\r\n\r\n",
        b"GET /shared/a-token/%s HTTP/1.1\r\nHost: a\r\n\r\n" % (b"x" * 9000),
        b"GET /shared/a-token/ HTTP/1.1\r\nHost: a\r\n%s\r\n" % b"".join(b"X%d: a\r\n" % n for n in range(200)),
        b"POST /shared/a-token/ HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\na-token\r\n\r\n",
        b"GET /shared/a-token/ HTTP/1.1\r\nHost: a\r\nExpect: a-token\r\n\r\n",
    ],
    ids=["bytes", "no version", "proxy line", "header", "long line", "headers", "chunk", "expectation"],
)
def test_what_cannot_be_read_is_refused_and_repeated_nowhere(port: int, log: Path, sent: bytes) -> None:
    before = len(log.read_text())
    answer = told(port, sent)
    assert answer.startswith(b"HTTP/1.1 400 Bad Request\r\n")
    for header in (b"Cache-Control: no-store", b"Content-Security-Policy: default-src 'none'", b"nosniff"):
        assert header in answer
    assert b"a-token" not in answer
    (line,) = map(json.loads, log.read_text()[before:].splitlines())
    assert "cannot be read was refused" in line["said"]
    for secret in ("a-token", "198.51", "127.0.0.1"):
        assert secret not in json.dumps(line)


def test_what_fails_beneath_the_application_is_told_without_its_words(port: int, log: Path) -> None:
    assert told(port, b"GET /failing/ HTTP/1.1\r\nHost: a\r\n\r\n").startswith(b"HTTP/1.1 500 ")
    line = json.loads(log.read_text().splitlines()[-1])
    assert (line["level"], line["failed"][-1]["error"]) == ("error", "builtins.ValueError")
    assert "somebody" not in json.dumps(line)


@pytest.mark.parametrize(
    ("doing", "crowded", "after", "over"),
    [
        ("sent", False, 14, False),
        ("sent", False, 16, True),
        ("sent", True, 1, False),
        ("sent", True, 3, True),
        ("worked on", True, 14, False),
        ("taken", True, 14, False),
    ],
)
def test_who_sends_slowly_makes_room_when_every_thread_is_taken(
    doing: str, crowded: bool, after: int, over: bool
) -> None:
    request = UnderWay(None, since=100, allowed=15, doing=doing)
    assert request.is_over(100 + after, Limits(), crowded=crowded) == over


def test_a_large_file_on_a_slow_line_has_its_time_in_a_crowd_too() -> None:
    request = UnderWay(None, since=100, allowed=15 + 1_000_000 / Limits().rate)
    assert not request.is_over(100 + 60, Limits(), crowded=True)


@pytest.mark.parametrize(
    "header",
    [
        "X-Forwarded-Proto: https",
        "X-Forwarded-Ssl: on",
        "X-Forwarded-Protocol: ssl",
        "SCRIPT_NAME: /seen",
        "PATH_INFO: /",
    ],
)
def test_no_header_says_what_was_asked_for(port: int, header: str) -> None:
    answer = told(port, f"GET /seen/ HTTP/1.1\r\nHost: a\r\nConnection: close\r\n{header}\r\n\r\n".encode())
    assert answer.endswith(b"\r\n\r\nhttp  /seen/")
