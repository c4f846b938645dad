"""Requests that do not end by themselves are ended, and others are answered meanwhile."""

from __future__ import annotations

import http.client
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from django.conf import settings

# The server as it is, with an application of two views and little patience.
PROGRAM = """
import sys, time
from django.conf import settings
settings.configure()
from registry.serving import Limits, Server

def application(environ, start_response):
    if environ["PATH_INFO"] == "/endless/":
        while True:
            sum(range(1000))
    if environ["PATH_INFO"] == "/asleep/":
        time.sleep(600)
    if environ["REQUEST_METHOD"] == "POST":
        environ["wsgi.input"].read(int(environ["CONTENT_LENGTH"]))
    content = b"x" * (50_000_000 if environ["PATH_INFO"] == "/large/" else 1)
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
