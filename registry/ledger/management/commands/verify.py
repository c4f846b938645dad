"""``manage.py verify``: recompute the log from the tables and name what is not as it was."""

from __future__ import annotations

import json
import sys
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser, OutputWrapper
from django.db import Error

from registry.database.server import DatabaseUnavailable
from registry.ledger import here
from registry.ledger.notes import NoteRefused, VerifierKey
from registry.ledger.verification import Report
from registry.ledger.words import counted, sentence

FINDINGS, CANNOT = 1, 2
MOST_SHOWN = 50
WIDTH = 32


class Command(BaseCommand):
    help = (
        "Verify every record against the log, and the log against its checkpoints. "
        "Exit status: 0 in order, 1 something was found, 2 verification could not be done."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--resume",
            action="store_true",
            help="start from the last checkpoint verified here; records before it are not looked at again",
        )
        parser.add_argument(
            "--key", action="append", default=[], metavar="KEY", help="a verifier key to trust in this run, repeatable"
        )
        parser.add_argument(
            "--trust",
            action="append",
            default=[],
            metavar="KEY",
            help="a verifier key to trust from now on, repeatable",
        )
        parser.add_argument(
            "--kept",
            action="append",
            default=[],
            type=Path,
            metavar="FILE",
            help="a checkpoint that was kept elsewhere, repeatable",
        )
        parser.add_argument("--json", action="store_true", help="the whole report in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        started = time.monotonic()
        try:
            kept = [each.read_text(encoding="utf-8") for each in options["kept"]]
            trusted = [VerifierKey.parse(each) for each in [*options["key"], *options["trust"]]]
            for each in trusted[len(options["key"]) :]:
                here.trust(each)
            report = here.check(
                resume=options["resume"], trusted=trusted, kept=kept, progress=_Progress(self.stderr).shown
            )
        except (OSError, UnicodeDecodeError, NoteRefused) as error:
            raise CommandError(str(error), returncode=CANNOT) from error
        except (Error, DatabaseUnavailable) as error:
            raise CommandError(f"The database did not answer: {error}", returncode=CANNOT) from error
        seconds = time.monotonic() - started
        if options["json"]:
            self.stdout.write(json.dumps(_as_json(report, seconds), indent=2, ensure_ascii=False))
        else:
            self._tell(report, seconds)
        if not report.in_order:
            sys.exit(FINDINGS)

    def _tell(self, report: Report, seconds: float) -> None:
        for note in report.notes:
            self.stdout.write(f"Note: {note}")
        for each in report.findings[:MOST_SHOWN]:
            self.stdout.write(sentence(each))
        if len(report.findings) > MOST_SHOWN:
            self.stdout.write(
                f"… {len(report.findings) - MOST_SHOWN} more are not shown here; --json lists all. In all:"
            )
            for line in counted(report.findings):
                self.stdout.write(f"  {line}")
        since = f", from leaf {report.started_from} on" if report.started_from else ""
        self.stdout.write(
            f"{report.leaves} leaves{since}, {report.checkpoints} checkpoints, "
            f"{report.pending} entries without a place yet, {seconds:.1f} seconds."
        )
        if report.in_order:
            self.stdout.write("IN ORDER: nothing was found.")
        else:
            self.stdout.write(f"NOT IN ORDER: {len(report.findings)} found.")


class _Progress:
    """A bar that fills on a terminal; a line for each tenth elsewhere."""

    def __init__(self, out: OutputWrapper) -> None:
        self.out = out
        self.tenth = 0

    def shown(self, done: int, whole: int) -> None:
        if self.out.isatty():
            full = WIDTH * done // whole
            self.out.write(
                f"\r[{'#' * full}{'.' * (WIDTH - full)}] {done:,} of {whole:,} leaves",
                style_func=str,
                ending="\n" if done >= whole else "",
            )
            self.out.flush()
        elif 10 * done // whole > self.tenth:
            self.tenth = 10 * done // whole
            self.out.write(f"{done:,} of {whole:,} leaves", style_func=str)


def _as_json(report: Report, seconds: float) -> dict[str, Any]:
    return {
        "format": "registry-log-verification-1",
        "in_order": report.in_order,
        "leaves": report.leaves,
        "started_from": report.started_from,
        "checkpoints": report.checkpoints,
        "pending": report.pending,
        "seconds": round(seconds, 3),
        "notes": report.notes,
        "findings": [{**asdict(each), "name": each.name, "sentence": sentence(each)} for each in report.findings],
    }
