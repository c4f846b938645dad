from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from registry.retention.data_request import data_request_zip
from registry.retention.numbers import worker_numbered


class Command(BaseCommand):
    help = "Write everything held about a worker into a ZIP file, for a data request."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--worker", required=True, metavar="NUMBER", help="such as W-000012")
        parser.add_argument("--out", required=True, type=Path, metavar="FILE.zip")

    def handle(self, *args: Any, worker: str, out: Path, **options: Any) -> None:
        content = data_request_zip(worker_numbered(worker), at=timezone.now())
        out.write_bytes(content)
        # Whoever else uses this machine has no business in it.
        out.chmod(0o600)
        self.stdout.write(f"{out}: {len(content)} bytes. It holds personal data: hand it to the person alone.")
