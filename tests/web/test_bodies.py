"""A body is refused while it is read, whatever it says of its length."""

from __future__ import annotations

import io
import json
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

import pytest
from django.conf import settings
from django.urls import get_resolver

from registry.web.bodies import (
    MOST_OF_A_FORM,
    MOST_OF_A_PAGE,
    MOST_OF_THE_INTERFACE,
    MOST_READ_AWAY,
    PIECE,
    WITH_A_SCAN,
    Bodies,
    most_of,
)

ENDLESS = 400 * 1024**2


class Sent:
    """A body of so many bytes that says how many were asked of it, and is never in memory."""

    def __init__(self, size: int) -> None:
        self.size, self.read_so_far = size, 0

    def read(self, size: int) -> bytes:
        piece = b"x" * min(size, self.size - self.read_so_far)
        self.read_so_far += len(piece)
        return piece


def ask(path: str, sent: Any, **environ: str) -> tuple[str, dict[str, str], bytes, bytes]:
    """Status, headers and body of the answer, and what the application itself was given."""
    given: list[Any] = [b"", "", {}]

    def application(asked: dict[str, Any], start_response: Callable[..., Any]) -> list[bytes]:
        given[0] = asked["wsgi.input"].read(int(asked.get("CONTENT_LENGTH") or 0))
        start_response("200 OK", [])
        return [b"done"]

    def start_response(status: str, headers: list[tuple[str, str]]) -> None:
        given[1:] = [status, dict(headers)]

    asked = {"PATH_INFO": path, "REQUEST_METHOD": "POST", "wsgi.input": sent, "wsgi.input_terminated": True, **environ}
    answer = Bodies(application)(asked, start_response)
    content = b"".join(answer)
    if hasattr(answer, "close"):
        answer.close()
    return given[1], given[2], content, given[0]


CHUNKED = {"HTTP_TRANSFER_ENCODING": "chunked"}


@pytest.mark.parametrize("path", ["/records/import/", "/records/hours/", "/sign-in/", "/nowhere/", "/api/jobs/"])
@pytest.mark.parametrize("environ", [CHUNKED, {"CONTENT_LENGTH": str(ENDLESS)}], ids=["chunked", "declared"])
def test_a_body_beyond_its_limit_is_refused_and_not_read_to_its_end(path: str, environ: dict[str, str]) -> None:
    sent = Sent(ENDLESS)
    status, headers, content, given = ask(path, sent, **environ)
    assert (status, given) == ("413 Request Entity Too Large", b"")
    assert sent.read_so_far <= most_of(path) + PIECE + MOST_READ_AWAY
    if path.startswith("/api/"):
        problem = json.loads(content)
        assert headers["Content-Type"] == "application/problem+json"
        assert (problem["status"], "bytes" in problem["detail"], "octets" in problem["detail"]) == (413, True, True)
    else:
        assert "This is too much at once" in content.decode()
        assert "Envoi trop volumineux" in content.decode()
        assert headers["Content-Security-Policy"].startswith("default-src 'none'; style-src 'sha256-")


@pytest.mark.parametrize("environ", [CHUNKED, {"CONTENT_LENGTH": "9"}], ids=["chunked", "declared"])
def test_a_body_within_its_limit_arrives_with_its_length(environ: dict[str, str]) -> None:
    assert ask("/api/jobs/", io.BytesIO(b'{"a": 12}'), **environ)[3] == b'{"a": 12}'


def test_more_than_was_declared_is_not_read() -> None:
    sent = Sent(ENDLESS)
    assert ask("/records/hours/", sent, CONTENT_LENGTH="10")[3] == b"x" * 10
    assert sent.read_so_far == 10


@pytest.mark.parametrize("declared", ["11", "-1", "1e3", "ten", "٣"])
def test_a_length_that_is_not_the_bodys_is_refused(declared: str) -> None:
    status, _headers, content, given = ask("/records/hours/", io.BytesIO(b"x" * 10), CONTENT_LENGTH=declared)
    assert (status, given) == ("400 Bad Request", b"")
    assert "shorter than it says" in json.loads(content)["detail"]


def test_without_a_length_nothing_is_read_where_the_server_does_not_say_where_it_ends() -> None:
    sent = Sent(ENDLESS)
    assert ask("/sign-in/", sent, **{"wsgi.input_terminated": "", **CHUNKED})[0] == "400 Bad Request"
    assert ask("/sign-in/", sent)[0] == "200 OK"
    assert sent.read_so_far == 0


def test_only_pages_that_take_files_take_much() -> None:
    names = {each for each in get_resolver().reverse_dict if isinstance(each, str)}
    assert MOST_OF_A_PAGE.keys() <= names
    assert most_of("/records/people/7/add/certificate/") == WITH_A_SCAN
    assert most_of("/records/hours/") == MOST_OF_A_FORM
    assert most_of("/api/slots/7/assign/") == MOST_OF_THE_INTERFACE


def test_every_page_with_a_file_takes_one() -> None:
    """The forms with a file say so in their templates."""
    templates = [
        path.name
        for path in (settings.PROJECT / "templates").rglob("*.html")
        if "multipart/form-data" in path.read_text()
    ]
    # add, third_party: add_record; form: a procedure of a notice.
    assert sorted(templates) == sorted(
        ["add.html", "assess.html", "check.html", "correct.html", "form.html", "import.html", "third_party.html"]
    )


# The registry's own server, and what stands before its application; no request here comes so far as that.
PROGRAM = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "registry.settings"
import django
django.setup()
from registry.serving import Server
from registry.web.bodies import Bodies

def application(environ, start_response):
    start_response("200 OK", [("Content-Length", "0")])
    return []

Server(
    bind=f"127.0.0.1:{sys.argv[1]}",
    when_ready=lambda: print("ready", flush=True),
    application=Bodies(application),
).run()
"""


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        number: int = probe.getsockname()[1]
    command = [sys.executable, "-c", PROGRAM, str(number)]
    server = subprocess.Popen(
        command, cwd=settings.PROJECT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        assert server.stdout is not None
        assert server.stdout.readline() == "ready\n"
        yield number
    finally:
        server.terminate()
        server.wait(60)
        assert server.stdout is not None
        server.stdout.close()


@pytest.mark.parametrize("path", ["/sign-in/", "/records/import/", "/api/jobs/"])
@pytest.mark.parametrize("chunked", [True, False], ids=["chunked", "declared"])
def test_the_server_refuses_400_mb_before_they_are_sent(port: int, path: str, chunked: bool) -> None:
    length = "Transfer-Encoding: chunked" if chunked else f"Content-Length: {ENDLESS}"
    piece = b"x" * 65536
    taken, answer = 0, b""
    with socket.create_connection(("127.0.0.1", port), timeout=60) as connection:
        connection.sendall(f"POST {path} HTTP/1.1\r\nHost: localhost\r\n{length}\r\n\r\n".encode())
        with suppress(ConnectionError):
            while taken < ENDLESS:
                connection.sendall(b"%x\r\n%s\r\n" % (len(piece), piece) if chunked else piece)
                taken += len(piece)
        # A system may throw the answer away with the connection that it came on.
        with suppress(ConnectionError):
            answer = connection.recv(64)
    assert taken < ENDLESS / 4
    assert answer.startswith(b"HTTP/1.1 413") or not answer


@pytest.mark.parametrize(
    "head",
    [
        f"Content-Length: {ENDLESS}\r\nContent-Length: 1",
        "Content-Length: 1\r\nTransfer-Encoding: chunked",
        "Content-Length: abc",
    ],
)
def test_the_server_refuses_two_lengths(port: int, head: str) -> None:
    with socket.create_connection(("127.0.0.1", port), timeout=60) as connection:
        connection.sendall(f"POST /sign-in/ HTTP/1.1\r\nHost: localhost\r\n{head}\r\n\r\n".encode())
        assert connection.recv(64).startswith(b"HTTP/1.1 400")
