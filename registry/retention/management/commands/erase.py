from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from registry.database.errors import RecordRefused
from registry.database.router import OWNER_ALIAS
from registry.retention.erasure import Erased, erase_worker, erasure_problems, would_erase
from registry.retention.numbers import worker_numbered


class Command(BaseCommand):
    help = "Erase a worker's personal data for good, once no record of theirs is within its period."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--worker", required=True, metavar="NUMBER", help="such as W-000012")
        parser.add_argument("--ground", required=True, help="the law or the request; public for ever, names nobody")
        parser.add_argument("--dry-run", action="store_true", help="say what would be erased, and erase nothing")
        parser.add_argument("--yes", action="store_true", help="do not ask for the worker's number again")

    def handle(self, *args: Any, worker: str, ground: str, dry_run: bool, yes: bool, **options: Any) -> None:
        known, now = worker_numbered(worker), timezone.now()
        problems = erasure_problems(known, now, using=OWNER_ALIAS)
        if problems:
            raise CommandError("\n".join(["Not erased:", *(each.message for each in problems)]))
        if dry_run:
            self._tell(f"{known.number} would be erased", would_erase(known))
            return
        if not yes and input(f"This cannot be undone. Type {known.number} to erase {known}: ").strip() != known.number:
            raise CommandError("Not erased: that is not the worker's number.")
        try:
            done = erase_worker(worker=known, ground=ground, at=now, recorded_by=None)
        except RecordRefused as refused:
            raise CommandError("\n".join(["Not erased:", *(each.message for each in refused.problems)])) from refused
        self._tell(f"{known.number} is erased", done)
        self.stdout.write("Backups and copies made before still hold the data; they are not reached from here.")

    def _tell(self, what: str, erased: Erased) -> None:
        self.stdout.write(f"{what}: {erased.entries} log entries, {len(erased.documents)} documents.")
        if erased.shared_documents:
            numbers = ", ".join(map(str, erased.shared_documents))
            self.stdout.write(f"Documents that other workers' records need stay: {numbers}.")
        for each in erased.named_still:
            self.stdout.write(f"Names the person still, as somebody else's record: {each}.")
