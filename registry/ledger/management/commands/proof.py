"""``manage.py proof``: prove that a record is in the log, or that the log only grew."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import Error

from registry.database.server import DatabaseUnavailable
from registry.ledger.queries import NotInTheLog, checkpoint_of, consistency_proof, inclusion_proof
from registry.ledger.records import with_opening

CANNOT = 2


class Command(BaseCommand):
    help = (
        "Write a proof in JSON, as the stand-alone verifier reads it. "
        "Exit status: 0 written, 2 there is no such record or checkpoint."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        proofs = parser.add_subparsers(dest="proof", required=True)
        inclusion = proofs.add_parser("inclusion", help="that a record is in the log")
        inclusion.add_argument("kind", metavar="KIND", help="the record's table, for instance evidence_hoursentry")
        inclusion.add_argument("record", metavar="RECORD", type=int, help="the record's number")
        inclusion.add_argument("--size", type=int, help="under the checkpoint of so many leaves (default: the newest)")
        inclusion.add_argument(
            "--opened", action="store_true", help="with the record itself, personal data included: for the entitled"
        )
        consistency = proofs.add_parser("consistency", help="that nothing before a checkpoint has changed by a later")
        consistency.add_argument("earlier", metavar="EARLIER", type=int, help="the earlier checkpoint's size in leaves")
        consistency.add_argument("later", metavar="LATER", type=int, help="the later checkpoint's size in leaves")
        for each in (inclusion, consistency):
            each.add_argument("--out", type=Path, metavar="FILE", help="write it there instead of printing it")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = _inclusion(options) if options["proof"] == "inclusion" else _consistency(options)
            written = json.dumps(made, indent=2, ensure_ascii=False)
            if options["out"] is None:
                self.stdout.write(written)
            else:
                options["out"].write_text(f"{written}\n", encoding="utf-8")
        except (NotInTheLog, OSError) as error:
            raise CommandError(str(error), returncode=CANNOT) from error
        except (Error, DatabaseUnavailable) as error:
            raise CommandError(f"The database did not answer: {error}", returncode=CANNOT) from error


def _inclusion(options: dict[str, Any]) -> dict[str, Any]:
    checkpoint = None if options["size"] is None else checkpoint_of(options["size"])
    proof = inclusion_proof(options["kind"], options["record"], checkpoint=checkpoint)
    return with_opening(proof) if options["opened"] else proof.as_json()


def _consistency(options: dict[str, Any]) -> dict[str, Any]:
    return consistency_proof(checkpoint_of(options["earlier"]), checkpoint_of(options["later"])).as_json()
