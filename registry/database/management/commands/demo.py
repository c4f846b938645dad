import os
import socket
import subprocess
import sys
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry.database import identity, serving
from registry.database.management.commands import prepare
from registry.serving import Server

HOST = "127.0.0.1"
PORT = 8000
MINUTES_BETWEEN_CHECKPOINTS = 10


class Command(BaseCommand):
    help = "Load the demo scenario and open the running registry on it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=PORT)
        parser.add_argument("--no-browser", action="store_true", help="only print the address")

    def handle(self, *args: Any, port: int, no_browser: bool, **options: Any) -> None:
        _check_that_port_is_free(port)
        # The sign-in page tells the demonstration's passwords while this is set.
        os.environ[identity.DEMONSTRATION] = "1"
        identity.begin_if_new()
        with prepare.alone():
            prepare.bring_up_to_date(demonstration=True, verbosity=0)
            call_command("load_demo", verbosity=options["verbosity"])
        call_command("checkpoint", stdout=StringIO())
        url = f"http://{HOST}:{port}/"

        def when_ready() -> None:
            self.stdout.write(f"The registry is open at {url} (Ctrl-C stops it).")
            self.stdout.flush()
            if not no_browser:
                webbrowser.open(url)

        with _checkpoints():
            serving.begin_demonstration()
            # In this very process, so that the database outlives it and nothing else.
            Server(bind=f"{HOST}:{port}", when_ready=when_ready).run()


@contextmanager
def _checkpoints() -> Iterator[None]:
    """The log is signed again and again meanwhile, by a process that ends with this one, however this one ends."""
    every = str(MINUTES_BETWEEN_CHECKPOINTS)
    command = [sys.executable, "manage.py", "checkpoint", "--every", every, "--with-parent"]
    process = subprocess.Popen(
        command,
        cwd=settings.PROJECT,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        # Ctrl-C is for this process, which stops that one.
        start_new_session=True,
    )
    try:
        yield
    finally:
        process.terminate()
        process.wait()


def _check_that_port_is_free(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as error:
            raise CommandError(f"Port {port} cannot be used ({error.strerror}); choose another with --port.") from error
