"""``manage.py import_records KIND FILE --employer NAME --as REGISTRAR``: bring in records from CSV or XLSX."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils import timezone

from registry.database.errors import RecordRefused
from registry.evidence.importing import KINDS, FileRefused, ImportOptions, ImportReport, import_file
from registry.evidence.importing.values import DATE_ORDERS
from registry.evidence.models import Document
from registry.evidence.uploads import SCANS, inspect_upload, keep_upload
from registry.people.models import Account, Employer
from registry.people.registrars import registrar_named

REFUSED_ROWS, UNUSABLE_FILE = 1, 2


class Command(BaseCommand):
    help = (
        "Bring in records from a CSV or XLSX file, all of it or nothing. Exit status: 0 done, "
        "1 rows refused, 2 unusable file. The columns are taught in fixtures/imports/README.md."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=sorted(KINDS))
        parser.add_argument("file", type=Path, help="a CSV or XLSX file")
        parser.add_argument("--employer", required=True, help="whose records they are, by the registered name")
        parser.add_argument("--as", dest="registrar", metavar="NAME", help="your account: a registrar's")
        parser.add_argument("--dry-run", action="store_true", help="check everything, write nothing")
        parser.add_argument("--partial", action="store_true", help="write the good rows although others are refused")
        parser.add_argument("--dates", choices=DATE_ORDERS, help="what comes first in 03/04/2026")
        parser.add_argument(
            "--column", action="append", default=[], metavar="HEADER=FIELD", help="which field a header means"
        )
        parser.add_argument("--ignore-unknown-columns", action="store_true")
        parser.add_argument("--sheet", help="the sheet of a workbook that has several")
        parser.add_argument("--encoding", help="of a CSV that is not Unicode, for instance cp1252")
        parser.add_argument("--time-zone", help="of times that belong to no site, for instance Europe/Paris")
        parser.add_argument("--scan", type=Path, metavar="FILE", help="the paper that the file is copied from")
        parser.add_argument("--report", type=Path, metavar="FILE", help="write the problems there, as CSV")

    def handle(self, *args: Any, **options: Any) -> None:
        employer = Employer.objects.filter(name=options["employer"]).first()
        if employer is None:
            raise CommandError(f"There is no employer {options['employer']!r}.", returncode=UNUSABLE_FILE)
        try:
            registrar = registrar_named(options["registrar"])
        except RecordRefused as refused:
            raise CommandError(str(refused), returncode=UNUSABLE_FILE) from refused
        now = timezone.now()
        try:
            if options["scan"] is None:
                # In a transaction of its own the import begins again where it was crossed.
                report = _imported(options, employer, now, registrar, None)
            else:
                with transaction.atomic():
                    report = _imported(options, employer, now, registrar, _scan(options["scan"], now, registrar))
                    # The scan is kept with what was copied from it, or not at all.
                    transaction.set_rollback(not report.written)
        except FileRefused as refused:
            raise CommandError(f"{refused.message} [{refused.rule}]", returncode=UNUSABLE_FILE) from refused
        self._tell(report)
        if options["report"]:
            with options["report"].open("w", encoding="utf-8-sig", newline="") as file:
                report.write_csv(file)
        if report.refused:
            sys.exit(REFUSED_ROWS)

    def _tell(self, report: ImportReport) -> None:
        for problem in report.problems:
            self.stderr.write(str(problem))
        if left_out := report.problem_count - len(report.problems):
            self.stderr.write(f"{left_out} more problems are not listed.")
        self.stdout.write(report.summary())


def _scan(path: Path | None, now: datetime, registrar: Account | None) -> Document | None:
    if path is None:
        return None
    try:
        upload = inspect_upload(name=path.name, content=path.read_bytes(), accept=SCANS)
    except (OSError, RecordRefused) as refused:
        raise CommandError(f"--scan {path}: {refused}", returncode=UNUSABLE_FILE) from refused
    return keep_upload(upload=upload, recorded_at=now, recorded_by=registrar)


def _imported(
    options: dict[str, Any], employer: Employer, now: datetime, registrar: Account | None, scan: Document | None
) -> ImportReport:
    return import_file(
        options["kind"],
        options["file"],
        employer=employer,
        recorded_at=now,
        recorded_by=registrar,
        options=_import_options(options, scan),
        dry_run=options["dry_run"],
    )


def _import_options(options: dict[str, Any], scan: Document | None) -> ImportOptions:
    columns = {}
    for written in options["column"]:
        header, equals, field = written.rpartition("=")
        if not equals:
            raise CommandError(f"--column is written HEADER=FIELD, not {written!r}.", returncode=UNUSABLE_FILE)
        columns[header] = field.strip()
    try:
        return ImportOptions(
            columns=columns,
            ignore_unknown_columns=options["ignore_unknown_columns"],
            dates=options["dates"],
            sheet=options["sheet"],
            encoding=options["encoding"],
            time_zone=options["time_zone"],
            partial=options["partial"],
            document=scan,
        )
    except ValueError as error:
        raise CommandError(str(error), returncode=UNUSABLE_FILE) from error
