import re
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry.database import serving
from registry.serving import Server

ADDRESS = "127.0.0.1:8000"


class Command(BaseCommand):
    help = "Serve the register for real work, to a proxy that speaks https, until interrupted."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--bind", default=ADDRESS, metavar="HOST:PORT", help=f"where to listen ({ADDRESS})")

    def handle(self, *args: Any, bind: str, **options: Any) -> None:
        if not re.fullmatch(r"(?:[\w.-]+|\[[0-9a-fA-F:.]+\]):\d{1,5}", bind):
            raise CommandError(f"--bind is written HOST:PORT, such as {ADDRESS}, not {bind!r}.")
        # In this very process, which says once why it cannot serve; those that answer requests begin from it.
        serving.begin()

        def when_ready() -> None:
            self.stdout.write(f"The register answers at {bind}.")
            self.stdout.flush()

        Server(bind=bind, when_ready=when_ready).run()
