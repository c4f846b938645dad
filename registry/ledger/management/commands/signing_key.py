"""``manage.py signing_key``: show the key that signs checkpoints, or put another in its place."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import Error
from django.utils import timezone

from registry.database.server import DatabaseUnavailable
from registry.ledger import here, keys
from registry.ledger.memory import CannotSign

CANNOT = 2
BY_HAND = """\
The key comes from LOG_SIGNING_KEY, so this command cannot put another in its place. By hand:
  1. make the next key:  openssl genpkey -algorithm ed25519
  2. set LOG_SIGNING_KEY_BEFORE to the key in use and LOG_SIGNING_KEY to the next, wherever the registry runs
  3. python3 manage.py checkpoint      both keys sign: that checkpoint hands over
  4. take LOG_SIGNING_KEY_BEFORE away, and publish what `python3 manage.py signing_key show` prints"""


class Command(BaseCommand):
    help = "The key that signs checkpoints. Exit status: 0 done, 2 it could not be."

    def add_arguments(self, parser: CommandParser) -> None:
        actions = parser.add_subparsers(dest="action", required=True)
        actions.add_parser("show", help="print the verifier key: public, to be published")
        actions.add_parser("rotate", help="make another key, let both sign a checkpoint, put the old key out of use")

    def handle(self, *args: Any, action: str, **options: Any) -> None:
        try:
            if action == "show":
                self._show()
            else:
                self._rotate()
        except CannotSign as error:
            raise CommandError(str(error), returncode=CANNOT) from error
        except (Error, DatabaseUnavailable) as error:
            raise CommandError(f"The database did not answer: {error}", returncode=CANNOT) from error

    def _show(self) -> None:
        current, *before = keys.signers()
        self.stdout.write(str(current.verifier_key))
        for each in before:
            self.stdout.write(f"{each.verifier_key} (signs beside it, until the rotation is finished)")

    def _rotate(self) -> None:
        if keys.from_environment():
            raise CommandError(BY_HAND, returncode=CANNOT)
        signer, checkpoint, retired = here.rotate_key(at=timezone.now())
        self.stdout.write(f"Both keys have signed the checkpoint of {checkpoint.size} leaves. Keep it:\n")
        self.stdout.write(checkpoint.note)
        self.stdout.write("The verifier key to publish from now on:\n")
        self.stdout.write(str(signer.verifier_key))
        if retired is not None:
            self.stdout.write(f"\nThe key before is out of use: archive or destroy {retired}.")
