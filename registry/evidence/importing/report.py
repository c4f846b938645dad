"""What an import did, and what it refused: row, column, rule, sentence."""

from __future__ import annotations

import csv
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, TextIO

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

if TYPE_CHECKING:
    from registry.evidence.importing.preview import PreviewRow

MOST_PROBLEMS = 1000


@dataclass(frozen=True, slots=True)
class RowProblem:
    """Why a row was refused. ``column`` is its letter, ``header`` what the file calls it; blank: the whole row."""

    row: int
    column: str
    header: str
    field: str
    rule: str
    message: str

    def __str__(self) -> str:
        where = f"row {self.row}"
        if self.column:
            where += f", column {self.column} {self.header!r}"
        return f"{where}: {self.message} [{self.rule}]"


@dataclass(slots=True)
class ImportReport:
    """Counts of rows, and the first problems; ``problem_count`` counts all of them.

    ``written`` says whether anything stays in the register: never after a dry
    run, and after refused rows only if a part was asked for. ``repeated`` are
    those of ``already_there`` that an earlier row of the same file brought.
    """

    kind: str
    file: str
    dry_run: bool
    partial: bool
    rows: int = 0
    new: int = 0
    already_there: int = 0
    repeated: int = 0
    refused: int = 0
    written: bool = False
    problem_count: int = 0
    problems: list[RowProblem] = field(default_factory=list)
    first_rows: list[PreviewRow] = field(default_factory=list)

    def refuse(self, problems: list[RowProblem]) -> None:
        """Count one row as refused for these reasons."""
        self.refused += 1
        self.problem_count += len(problems)
        self.problems += problems[: MOST_PROBLEMS - len(self.problems)]

    def as_json(self) -> dict[str, Any]:
        """The report as plain data."""
        return asdict(self)

    def summary(self) -> str:
        """What happened, in a sentence or two."""
        pattern = (
            ngettext(
                "%(rows)s row: %(new)s new, %(there)s already there (%(repeated)s of them repeated within the file), "
                "%(refused)s refused.",
                "%(rows)s rows: %(new)s new, %(there)s already there (%(repeated)s of them repeated within the file), "
                "%(refused)s refused.",
                self.rows,
            )
            if self.repeated
            else ngettext(
                "%(rows)s row: %(new)s new, %(there)s already there, %(refused)s refused.",
                "%(rows)s rows: %(new)s new, %(there)s already there, %(refused)s refused.",
                self.rows,
            )
        )
        counts = pattern % {
            "rows": self.rows,
            "new": self.new,
            "there": self.already_there,
            "repeated": self.repeated,
            "refused": self.refused,
        }
        if self.dry_run:
            outcome = _("This was a dry run: nothing was written.")
        elif self.written:
            outcome = _("The new rows are in the register.")
        elif self.refused:
            outcome = _("Nothing was written.")
        else:
            outcome = _("There was nothing to write.")
        return f"{counts} {outcome}"

    def write_csv(self, file: TextIO) -> None:
        """The problems as CSV (RFC 4180), with a last line that says how many were left out."""
        table = csv.writer(file)
        table.writerow(["row", "column", "header", "field", "rule", "message"])
        for each in self.problems:
            table.writerow([each.row, each.column, _inert(each.header), each.field, each.rule, _inert(each.message)])
        if left_out := self.problem_count - len(self.problems):
            counted = ngettext(
                "%(number)s more problem is not listed.", "%(number)s more problems are not listed.", left_out
            )
            table.writerow(["", "", "", "", "", counted % {"number": left_out}])


def _inert(written: str) -> str:
    """A spreadsheet program takes text that begins like a formula for one."""
    return f"'{written}" if written.startswith(("=", "+", "-", "@", "\t", "\r")) else written
