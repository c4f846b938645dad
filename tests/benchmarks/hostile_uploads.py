"""What the register was stopped with: seconds and memory of each attack. Prints figures, is no test.

    python3 manage.py bench hostile_uploads

Aims: no file takes more than the child's limits, wherever it is read; a table of people of one name costs
as much a row as any other; a server that is sent 400 MB stays as it was.
"""

from __future__ import annotations

import io
import os
import resource
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import psutil
from django.conf import settings
from django.db import connection, connections
from django.test.utils import (
    setup_databases,
    setup_test_environment,
    teardown_databases,
    teardown_test_environment,
)

from registry.database.errors import RecordRefused
from registry.evidence.apart.running import OF_AN_UPLOADED_TABLE, RefusedApart, Stopped, answers
from registry.evidence.importing import import_file
from registry.evidence.uploads import inspect_upload
from registry.people.services import register_employer
from tests import hostile

MEGABYTE = 1024**2
BODY = 400 * MEGABYTE
NOW = datetime.now(UTC)
SERVER = """
import os, sys, django
os.environ["DJANGO_SETTINGS_MODULE"] = "registry.settings"
django.setup()
from registry.serving import Server
from registry.web.bodies import Bodies
def application(environ, start_response):
    start_response("200 OK", [("Content-Length", "0")])
    return []
address = f"127.0.0.1:{sys.argv[1]}"
Server(bind=address, when_ready=lambda: print("ready", flush=True), application=Bodies(application)).run()
"""


def main() -> None:
    """Each attack in turn."""
    settings.DEBUG = False
    setup_test_environment()
    created = setup_databases(verbosity=0, interactive=False)
    try:
        with connections["owner"].cursor() as cursor:
            cursor.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
        for rows in (420, 840, 1680):
            people_of_one_name(rows)
    finally:
        connections.close_all()
        teardown_databases(created, verbosity=0)
        teardown_test_environment()
    file("a PDF of many objects", hostile.pdf_of_many_objects(150_000_000), document)
    file("a PDF of a long page", hostile.pdf_of_a_long_stream(2000), document)
    file("a workbook of many cells", hostile.workbook_of_many_cells(12_000, 200), workbook)
    for path in ("/sign-in/", "/records/import/", "/api/jobs/"):
        body(path)


def people_of_one_name(rows: int) -> None:
    """A table of people of one name, brought in by the command."""
    content = hostile.people_of_one_name(rows).encode()
    employer = register_employer(name=f"Yard of {rows}", jurisdiction="US", recorded_at=NOW)
    content = content.replace(b"Ann", f"Ann{rows}".encode())
    began = time.perf_counter()
    asked: list[str] = []

    def counted(execute: Callable[..., Any], statement: str, *given: Any) -> Any:
        asked.append(statement)
        return execute(statement, *given)

    with connection.execute_wrapper(counted):
        import_file("workers", io.BytesIO(content), employer=employer, recorded_at=NOW, recorded_by=None)
    seconds = time.perf_counter() - began
    size, each = len(content) / 1024, len(asked) / rows
    print(f"{rows} people of one name, {size:.0f} KB: {seconds:.1f} s, {each:.1f} statements a row", flush=True)


def file(name: str, content: bytes, read: Callable[[bytes], str]) -> None:
    """Seconds, the child's peak and what it grew here, of a file that is read; in a process of its own."""
    sys.stdout.flush()
    if not os.fork():
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        began = time.perf_counter()
        became = read(content)
        seconds = time.perf_counter() - began
        apart = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        here = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
        said = f"{became} after {seconds:.1f} s; apart {apart:,.0f} MB, here {here:,.0f} MB more"
        print(f"{name}, {len(content) / 1024:,.0f} KB: {said}", flush=True)
        os._exit(0)
    os.wait()


def document(content: bytes) -> str:
    """By which rule the document was refused."""
    try:
        inspect_upload(name="letter.pdf", content=content)
    except RecordRefused as refused:
        return refused.problems[0].rule
    return "kept"


def workbook(content: bytes) -> str:
    """By which rule the table was refused."""
    with tempfile.TemporaryFile() as stream:
        stream.write(content)
        stream.flush()
        try:
            rows = sum(1 for _line in answers("table", stream, limits=OF_AN_UPLOADED_TABLE, most_rows=20_000))
        except (RefusedApart, Stopped) as refused:
            return refused.rule
        return f"{rows} rows read"


def body(path: str) -> None:
    """How much of 400 MB in chunks a server takes, and its memory."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-c", SERVER, str(port)]
    server = subprocess.Popen(command, cwd=settings.PROJECT, stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    server.stdout.readline()
    for _time in range(20):
        # Both workers have answered once, and loaded what they need.
        with socket.create_connection(("127.0.0.1", port), timeout=60) as warm:
            warm.sendall(f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
            warm.recv(64)
    processes = [psutil.Process(server.pid), *psutil.Process(server.pid).children()]
    before = sum(each.memory_info().rss for each in processes)
    taken, piece = 0, b"x" * 65536
    began = time.perf_counter()
    with socket.create_connection(("127.0.0.1", port), timeout=60) as sent:
        sent.sendall(f"POST {path} HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n".encode())
        try:
            while taken < BODY:
                sent.sendall(b"%x\r\n%s\r\n" % (len(piece), piece))
                taken += len(piece)
        except ConnectionError:
            pass
    seconds = time.perf_counter() - began
    after = sum(each.memory_info().rss for each in processes)
    sizes = f"{taken / MEGABYTE:.0f} MB and {seconds:.1f} s, {(after - before) / MEGABYTE:.0f} MB more"
    print(f"400 MB to {path}: hung up after {sizes}", flush=True)
    server.terminate()
    server.wait()
