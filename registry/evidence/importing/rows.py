"""A row of the file by fields, gathering what is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

from registry.database.errors import Problem
from registry.evidence.apart.tables import Row, Value
from registry.evidence.importing import values
from registry.evidence.importing.columns import Columns, Field, folded
from registry.evidence.importing.report import RowProblem
from registry.evidence.importing.values import ValueRefused, cell_refused
from registry.language.refusals import sentence_of

Taken = TypeVar("Taken")


class MappedRow:
    """Reads fields; each refusal becomes a problem of this row, and the reader gets ``None``."""

    def __init__(self, row: Row, columns: Columns, fields: Mapping[str, Field], date_order: str | None) -> None:
        self.number = row.number
        self.problems: list[RowProblem] = []
        self.understood: dict[str, object] = {}
        self._values = row.values
        self._columns = columns
        self._fields = fields
        self._date_order = date_order

    @property
    def columns(self) -> Columns:
        """The columns of the file."""
        return self._columns

    def cell(self, position: int) -> Value:
        """The cell in a column, whatever it holds."""
        return self._values[position] if position < len(self._values) else None

    def value(self, field: str) -> Value:
        """The cell as read; ``None`` where the file has no such column or cell."""
        index = self._columns.index.get(field)
        if index is None or index >= len(self._values):
            return None
        value = self._values[index]
        return None if isinstance(value, str) and not value.strip() else value

    def has(self, field: str) -> bool:
        """Whether anything is written there."""
        return self.value(field) is not None

    def refuse(self, field: str, rule: str, /, **values: object) -> None:
        """Add a problem of the field: a rule that is broken, its sentence filled with ``values``."""
        self.note(field, rule, sentence_of(rule, **values))

    def refuse_column(self, position: int, rule: str, /, **values: object) -> None:
        """Add a problem of a column that holds no field."""
        column = self._columns.all[position]
        self.problems.append(
            RowProblem(self.number, column.letter, column.header, "", rule, sentence_of(rule, **values))
        )

    def refuse_row(self, rule: str, /, **values: object) -> None:
        """Add a problem of the whole row."""
        self.problems.append(RowProblem(self.number, "", "", "", rule, sentence_of(rule, **values)))

    def note(self, field: str, rule: str, message: str) -> None:
        """Add a problem of the field that has its sentence already."""
        column = self._columns.of(field)
        letter, header = (column.letter, column.header) if column else ("", "")
        self.problems.append(RowProblem(self.number, letter, header, field, rule, message))

    def add(self, problems: Iterable[Problem], instead: Mapping[str, str] | None = None) -> None:
        """Add problems that the services found. ``instead`` names the field to show for one the file lacks."""
        for each in problems:
            field = each.field
            while instead and self._columns.of(field) is None and field in instead:
                field = instead[field]
            self.note(field, each.rule, each.message)

    def take(self, field: str, read: Callable[[], Taken]) -> Taken | None:
        """What ``read`` makes of the field, or ``None`` and a problem."""
        try:
            taken = read()
        except ValueRefused as refused:
            self.note(field, refused.rule, refused.message)
            return None
        self.understood[field] = taken
        return taken

    def required(self, field: str) -> bool:
        """Whether the cell is filled; an empty one is a problem."""
        if self.has(field):
            return True
        self.refuse(field, "cell_is_filled", value=field.replace("_", " ").capitalize())
        return False

    def text(self, field: str) -> str:
        """The cell as text, blank where there is none."""

        def read() -> str:
            written = values.text(self.value(field))
            longest = self._fields[field].longest
            if len(written) > longest:
                raise cell_refused("text_is_not_too_long", **_too_long(written, longest))
            return written

        return self.take(field, read) or ""

    def day(self, field: str) -> date | None:
        """The cell as a calendar day."""
        if not self.has(field):
            return None
        return self.take(field, lambda: values.read_date(self.value(field), self._date_order))

    def clock(self, field: str) -> time | None:
        """The cell as a time of day."""
        return self.take(field, lambda: values.read_time(self.value(field))) if self.has(field) else None

    def duration(self, field: str) -> timedelta | None:
        """The cell as a length of time."""
        return self.take(field, lambda: values.read_duration(self.value(field))) if self.has(field) else None

    def instant(self, field: str, day: date, clock: time, zone: ZoneInfo) -> datetime | None:
        """The instant at which clocks in ``zone`` show the day and time."""
        return self.take(field, lambda: values.instant(day, clock, zone))

    def choice(self, field: str, choices: Mapping[str, str], default: str = "") -> str:
        """The cell as one of ``choices``, by folded spelling."""
        written = self.text(field)
        if not written:
            return default
        chosen = self._chosen(field, written, choices) or default
        self.understood[field] = chosen
        return chosen

    def parts(self, field: str, longest: int = 200) -> Sequence[str]:
        """The cell's parts, set apart by commas, semicolons, slashes or plus signs."""
        plain = self.text(field)
        for separator in ";/+|\n":
            plain = plain.replace(separator, ",")
        found = [part.strip() for part in plain.split(",") if part.strip()]
        for each in found:
            if len(each) > longest:
                self.refuse(field, "text_is_not_too_long", **_too_long(each, longest))
        return found

    def choices(self, field: str, choices: Mapping[str, str]) -> Sequence[str]:
        """The cell's parts, each one of ``choices``, without repetition."""
        chosen = [self._chosen(field, each, choices) for each in self.parts(field)]
        self.understood[field] = list(dict.fromkeys(each for each in chosen if each))
        return list(dict.fromkeys(each for each in chosen if each))

    def _chosen(self, field: str, written: str, choices: Mapping[str, str]) -> str | None:
        found = choices.get(folded(written))
        if found is None:
            known = ", ".join(sorted(set(choices.values())))
            self.refuse(field, f"{field}_is_known", text=repr(written), known=known)
        return found


def _too_long(written: str, longest: int) -> dict[str, object]:
    beginning = written if len(written) <= 30 else f"{written[:30]}…"
    return {"text": repr(beginning), "number": len(written), "longest": longest}
