"""One pass over a file: read, check, write, and keep or take back the whole."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import islice
from math import inf
from pathlib import Path
from typing import BinaryIO

from django.db import OperationalError, connection, transaction
from django.db.models import Q, QuerySet
from openpyxl.utils import get_column_letter

from registry.database.errors import RecordRefused, sqlstate_of
from registry.database.readers import as_the_register
from registry.database.repeating import CROSSED, LOCK_NOT_AVAILABLE, QUERY_CANCELED, repeated
from registry.engine.calendar import DAY
from registry.evidence.apart.running import OF_THE_COMMAND
from registry.evidence.apart.tables import FileRefused, Row, Table, Unreadable
from registry.evidence.importing.columns import Column, Columns, folded, map_columns, spellings_of
from registry.evidence.importing.kind import Context, ImportOptions, Kind
from registry.evidence.importing.kinds import KINDS
from registry.evidence.importing.lookup import Lookup
from registry.evidence.importing.preview import Heading, PreviewRow
from registry.evidence.importing.reading import Source, opened, read_apart
from registry.evidence.importing.report import ImportReport
from registry.evidence.importing.rows import MappedRow
from registry.language.refusals import sentence_of
from registry.people.models import Account, Employer, Employment, Worker
from registry.people.registrars import is_registrar
from registry.people.telling import as_one_act

BATCH = 1000


def import_file(
    kind: str,
    file: Path | BinaryIO,
    *,
    employer: Employer,
    recorded_at: datetime,
    recorded_by: Account | None,
    options: ImportOptions | None = None,
    dry_run: bool = False,
    name: str = "",
    preview: int = 0,
) -> ImportReport:
    """Bring in a file of any size, as :func:`import_table` does, with rows as they come out of the reading process."""
    options = options or ImportOptions()
    if not name:
        name = file.name if isinstance(file, Path) else str(getattr(file, "name", ""))
    with opened(file) as stream:
        return import_table(
            kind,
            lambda: read_apart(
                stream, limits=OF_THE_COMMAND, sheet=options.sheet, encoding=options.encoding, largest=options.largest
            ),
            employer=employer,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
            options=options,
            dry_run=dry_run,
            name=name,
            preview=preview,
        )


# Also a dry run within a page that only reads weighs everything that the import itself would.
@as_the_register()
def import_table(
    kind: str,
    source: Source,
    *,
    employer: Employer,
    recorded_at: datetime,
    recorded_by: Account | None,
    options: ImportOptions,
    dry_run: bool,
    name: str,
    preview: int = 0,
) -> ImportReport:
    """Bring in the records of one kind (see :data:`KINDS`) from a table, for an employer.

    Everything happens in one transaction. It is rolled back for a dry run, and
    when a row is refused unless ``options.partial`` is set. A file that cannot
    be used at all raises :class:`FileRefused`; refused rows are in the report.
    The report shows the first ``preview`` rows as they were understood.

    Imports of one employer follow upon each other. Those of two employers may meet over people
    whom both employ: where they would block each other for good, one begins again.
    """

    def attempt() -> ImportReport:
        report = ImportReport(kind=kind, file=name, dry_run=dry_run, partial=options.partial)
        context = Context(
            employer=employer,
            options=options,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
            report=report,
            lookup=Lookup(_people_of(employer, recorded_at, recorded_by)),
        )
        with source() as table:
            _bring_in(KINDS[kind], table, context, preview)
        return report

    try:
        # A long import that was ended by a short act is worth beginning again; one that waited long enough is not.
        return repeated(attempt, passing=CROSSED, patience=inf)
    except RecordRefused as crossed:
        raise _waited_too_long() from crossed
    except OperationalError as error:
        if sqlstate_of(error) in (*CROSSED, LOCK_NOT_AVAILABLE, QUERY_CANCELED):
            raise _waited_too_long() from error
        raise


def _waited_too_long() -> FileRefused:
    rule = "records_are_not_waited_for"
    return FileRefused(rule, sentence_of(rule))


def _bring_in(kind: type[Kind], table: Table, context: Context, preview: int) -> None:
    options, report = context.options, context.report
    columns = map_columns(
        table.header,
        kind.fields_read(options),
        mapping=options.columns,
        letters=options.letters,
        ignore_unknown=options.ignore_unknown_columns,
        one_of=kind.one_of,
    )
    with transaction.atomic():
        _wait_for_other_imports(context.employer)
        with as_one_act():
            _write_all(kind(context), table, columns, options, report, preview)
        kept = not report.dry_run and (options.partial or not report.refused)
        transaction.set_rollback(not kept)
    report.written = kept and report.new > 0


def _people_of(employer: Employer, at: datetime, account: Account | None) -> QuerySet[Worker]:
    """Whom a file can name: those on the employer's books, and by the command those who were.

    Of anybody else nothing is told, whoever asks: neither that they exist nor when they were born.
    """
    employed = Employment.objects.current().filter(employer=employer)
    if account is not None and not is_registrar(account):
        # A site's day may have begun before that of UTC, or still last.
        employed = employed.filter(Q(end__isnull=True) | Q(end__gte=at.date() - DAY), start__lte=at.date() + DAY)
    return Worker.objects.filter(pk__in=employed.values("worker"))


def headings_of(kind: str, header: Row, *, options: ImportOptions) -> list[Heading]:
    """The headings of a table and the field that each one is taken for, a field once."""
    known = spellings_of(KINDS[kind].fields_read(options))
    found: list[Heading] = []
    for position, value in enumerate(header.values):
        written = str(value).strip() if value is not None and not isinstance(value, Unreadable) else ""
        field = known.get(folded(written), "")
        if any(each.field == field for each in found):
            field = ""
        found.append(Heading(Column(get_column_letter(position + 1), written), field))
    return found


def _write_all(
    kind: Kind, table: Table, columns: Columns, options: ImportOptions, report: ImportReport, preview: int
) -> None:
    fields = {each.name: each for each in kind.fields}
    rows = iter(table.rows)
    while batch := list(islice(rows, BATCH)):
        report.rows += len(batch)
        sound = []
        shown: list[MappedRow] = []
        for row in batch:
            mapped = MappedRow(row, columns, fields, options.dates)
            _check_shape(mapped, row, table, columns, options)
            if len(report.first_rows) + len(shown) < preview:
                shown.append(mapped)
            if mapped.problems:
                report.refuse(mapped.problems)
            else:
                sound.append(mapped)
        kind.write(sound)
        report.first_rows += [PreviewRow.of(each) for each in shown]


def _check_shape(mapped: MappedRow, row: Row, table: Table, columns: Columns, options: ImportOptions) -> None:
    width = len(table.header.values)
    if len(row.values) > width or (table.even and len(row.values) < width):
        mapped.refuse_row("row_is_as_wide_as_the_header", number=len(row.values), expected=width)
    elif not options.ignore_unknown_columns:
        for position in _filled_without_header(row, columns):
            mapped.refuse_column(position, "filled_cell_has_a_header")


def _filled_without_header(row: Row, columns: Columns) -> Iterator[int]:
    for position, value in enumerate(row.values):
        if not columns.all[position].header and value is not None and str(value).strip():
            yield position


def _wait_for_other_imports(employer: Employer) -> None:
    # Of the same file twice at once, the second shall find what the first brought in.
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended('import for employer ' || %s, 0))", [employer.pk])
