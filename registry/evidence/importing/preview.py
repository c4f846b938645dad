"""What an import makes of a file's headings and first rows, for a person to look at before it is written."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from registry.evidence.apart.tables import Unreadable
from registry.evidence.importing.columns import Column
from registry.evidence.importing.rows import MappedRow
from registry.people.models import Worker


@dataclass(frozen=True, slots=True)
class Heading:
    """A column and the field it is taken for; blank: none."""

    column: Column
    field: str


@dataclass(frozen=True, slots=True)
class PreviewCell:
    """A cell as written, and as understood where that reads differently; what is wrong with it."""

    written: str
    understood: str
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PreviewRow:
    """A row, cell by cell in the order of the file; ``problems`` belong to no cell."""

    number: int
    cells: tuple[PreviewCell, ...]
    problems: tuple[str, ...]

    @classmethod
    def of(cls, row: MappedRow) -> PreviewRow:
        """The row as it was read and checked."""
        columns = row.columns
        field_at = {position: field for field, position in columns.index.items()}
        cells = []
        for position, column in enumerate(columns.all):
            written = _in_words(row.cell(position))
            understood = _in_words(row.understood.get(field_at.get(position, "")))
            problems = tuple(each.message for each in row.problems if each.column == column.letter)
            cells.append(PreviewCell(written, understood if understood != written else "", problems))
        elsewhere = tuple(each.message for each in row.problems if not each.column)
        return cls(row.number, tuple(cells), elsewhere)


def _in_words(value: object) -> str:
    if value is None or isinstance(value, Unreadable):
        return ""
    if isinstance(value, datetime) and value.tzinfo is not None:
        return value.strftime("%Y-%m-%d %H:%M %Z")
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, timedelta):
        minutes = int(value.total_seconds()) // 60
        return f"{minutes // 60} h {minutes % 60} min"
    if isinstance(value, Worker):
        return f"{value.number} {value}"
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return str(value)
