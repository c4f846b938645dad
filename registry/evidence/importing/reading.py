"""The rows of a file, which another process reads: as they come, or kept until the next look."""

from __future__ import annotations

import io
import json
import tempfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import IO, Any, BinaryIO

from django.core.cache import caches
from django.db import connection
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from registry.evidence.apart.lines import line_of, row_of, written
from registry.evidence.apart.running import OF_AN_UPLOADED_TABLE, Limits, RefusedApart, Stopped, answers
from registry.evidence.apart.tables import LARGEST_SHEET, LARGEST_UPLOADED_PART, MOST_ROWS, FileRefused, Row, Table
from registry.language.refusals import sentence_of

KEPT_FOR = 60 * 60
"""Seconds between two looks after which a table is read again."""

Source = Callable[[], AbstractContextManager[Table]]
"""Opens the table, each time from its first row: an import that met a deadlock begins again."""


@contextmanager
def read_apart(
    file: IO[bytes],
    *,
    limits: Limits,
    sheet: str | None = None,
    encoding: str | None = None,
    largest: int = LARGEST_SHEET,
    most_rows: int = MOST_ROWS,
) -> Iterator[Table]:
    """The table in the file. What is wrong with it is :class:`FileRefused`, also while the rows are read."""
    options = {"sheet": sheet, "encoding": encoding, "largest": largest, "most_rows": most_rows}
    with closing(answers("table", file, limits=limits, **options)) as said:
        lines = _lines(said)
        head = next(lines)
        yield Table(row_of(head["header"]), map(row_of, lines), head["even"])


def _lines(said: Iterator[Any]) -> Iterator[Any]:
    try:
        yield from said
    except (RefusedApart, Stopped) as refused:
        raise FileRefused(refused.rule, refused.message) from refused


@contextmanager
def opened(file: Path | BinaryIO) -> Iterator[IO[bytes]]:
    """The file with a descriptor of its own, which another process can be given."""
    if not isinstance(file, Path):
        with tempfile.TemporaryFile() as copy:
            file.seek(0)
            copy.write(file.read())
            copy.flush()
            yield copy
        return
    try:
        stream = file.open("rb")
    except OSError as error:
        reason = error.strerror or _("it cannot be opened")
        raise FileRefused("file_can_be_opened", sentence_of("file_can_be_opened", reason=reason)) from error
    with stream:
        yield stream


@dataclass(frozen=True, slots=True)
class KeptTable:
    """A table as it was read: packed rows, or why it cannot be read with this sheet and encoding."""

    header: list[Any] | None
    even: bool
    refused: tuple[str, str] | None

    def first_row(self) -> Row:
        """The header. Raises :class:`FileRefused`."""
        if self.header is None or self.refused is not None:
            raise FileRefused(*(self.refused or ("", "")))
        return row_of(self.header)


class TableReading:
    """An uploaded table, read once for each way of reading it, and kept between the steps of its import.

    It is kept in the database's cache, which every process shares, for an hour after the last
    reading; lost, it is read again. ``digest`` tells the content, ``content`` fetches it where it must be read.
    """

    def __init__(
        self, content: Callable[[], bytes], digest: str, *, sheet: str | None, encoding: str | None, most_rows: int
    ) -> None:
        self.content = content
        self.options: dict[str, Any] = {
            "sheet": sheet,
            "encoding": encoding,
            "largest": LARGEST_UPLOADED_PART,
            "most_rows": most_rows,
        }
        way = json.dumps([digest, get_language(), *self.options.values()])
        self._key = sha256(way.encode()).hexdigest()
        self._cache = caches["read_tables"]

    def known(self) -> KeptTable | None:
        """The header as it was read, or why it could not be; ``None`` if it is not kept."""
        found: KeptTable | None = self._cache.get(self._key)
        return found

    def read(self) -> KeptTable:
        """The header, after reading the table if it is not kept.

        That it cannot be read in this way is kept too. Raises :class:`FileRefused` only where
        reading was stopped or could not begin.
        """
        return self._read()[0]

    @contextmanager
    def table(self) -> Iterator[Table]:
        """The rows. Raises :class:`FileRefused`."""
        read, packed = self._read()
        lines = io.BytesIO(zlib.decompress(packed))
        yield Table(read.first_row(), (row_of(json.loads(line)) for line in lines), read.even)

    def _read(self) -> tuple[KeptTable, bytes]:
        known, rows = self.known(), self._cache.get(f"{self._key}:rows")
        if known is not None and rows is not None:
            return known, rows
        packed, packer = io.BytesIO(), zlib.compressobj(1)
        try:
            with (
                opened(io.BytesIO(self.content())) as file,
                read_apart(file, limits=OF_AN_UPLOADED_TABLE, **self.options) as table,
            ):
                for row in table.rows:
                    packed.write(packer.compress(written(line_of(row))))
                read = KeptTable(line_of(table.header), table.even, None)
        except FileRefused as refused:
            if isinstance(refused.__cause__, Stopped):
                raise
            read = KeptTable(None, False, (refused.rule, refused.message))
        packed.write(packer.flush())
        self._keep(read, packed.getvalue())
        return read, packed.getvalue()

    def forget(self) -> None:
        """Keep nothing of it any longer."""
        self._cache.delete_many([self._key, f"{self._key}:rows"])

    def _keep(self, read: KeptTable, rows: bytes) -> None:
        with connection.cursor() as cursor:
            # The cache itself throws away what is out of date only when there is too much of it.
            cursor.execute("DELETE FROM database_cache WHERE expires < now()")
        self._cache.set(f"{self._key}:rows", rows, KEPT_FOR)
        self._cache.set(self._key, read, KEPT_FOR)
