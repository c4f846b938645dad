"""Rows of a CSV or XLSX file, one after the other, in bounded memory.

CSV follows RFC 4180: UTF-8 with or without a byte order mark, UTF-16 with one,
or an encoding that is named; comma, semicolon or tab, told by the header line.
XLSX is read cell by cell from the zip. Whatever would have to be guessed is
refused: another encoding, a formula, a merged cell, one of several sheets.
"""

from __future__ import annotations

import codecs
import csv
import re
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, BinaryIO

from registry.evidence.apart.words import say as _

CHUNK = 64 * 1024
DELIMITERS = (",", ";", "\t")
BYTE_ORDER_MARKS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
ZIP, OLE = b"PK\x03\x04", bytes.fromhex("d0cf11e0a1b11ae1")

LARGEST_SHEET = 1024**3
LARGEST_UPLOADED_PART = 64 * 1024**2
"""Of a workbook that somebody hands in on a page and waits for."""
LARGEST_OTHER_PART = 64 * 1024**2
MOST_PARTS = 2000
MOST_TIMES_LARGER = 250
SMALL_PART = 1024**2
MOST_COLUMNS = 256
MOST_ROWS = 1_048_576
LONGEST_LINE = 1024**2
LONGEST_CELL = 32_767
"""Of text in a cell, in characters: MS-OI29500 on ECMA-376, part 1, 18.4.12, from memory."""
# No attribute holds a "<" (XML 1.0, 3.1), so a tag that never closes ends the search at the next one.
TAG = re.compile(
    rb"<(?:\w+:)?(?:"
    rb"row(?=[\s>/])(?:[^<>]*?\sr\s*=\s*[\"'](\d+)[\"'])?"
    rb"|(v|is|f)(?=[\s>/])"
    rb"|mergeCell\s[^<>]*?ref\s*=\s*[\"']([^\"']+)[\"'])"
    rb"|</(?:\w+:)?(sheetData)(?=[\s>])"
    rb"|(<!)"
)
NO_ENCODINGS_OF_FILES = ("idna", "punycode", "raw-unicode-escape", "undefined", "unicode-escape", "utf-7")
"""Python counts them as encodings of text; they read marks that no text can hold, or take forever."""


class FileRefused(Exception):
    """The file cannot be read as a table; the message is a sentence, ``rule`` its name."""

    def __init__(self, rule: str, message: str) -> None:
        super().__init__(message)
        self.rule = rule
        self.message = message


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A cell without a value that could be taken over: a formula, an error, or too long a text."""

    rule: str
    message: str


Value = str | int | float | bool | date | datetime | time | timedelta | Unreadable | None


@dataclass(frozen=True, slots=True)
class Row:
    """A row that is not empty; ``number`` counts as a spreadsheet program does, the first row being 1."""

    number: int
    values: list[Value]


@dataclass(frozen=True, slots=True)
class Table:
    """The header and the rows below it. ``even``: every row must have as many cells as the header."""

    header: Row
    rows: Iterator[Row]
    even: bool


@contextmanager
def open_table(
    file: BinaryIO,
    *,
    sheet: str | None = None,
    encoding: str | None = None,
    largest: int = LARGEST_SHEET,
    most_rows: int = MOST_ROWS,
) -> Iterator[Table]:
    """Open a CSV or XLSX file, told apart by its first bytes. The stream must be seekable.

    No part of a workbook may unpack to more than ``largest`` bytes, and there may be ``most_rows``
    below the header. Raises :class:`FileRefused`, also while the rows are read.
    """
    file.seek(0)
    for table in _table(file, sheet, encoding, largest):
        _refuse_wide(table.header)
        yield Table(table.header, _within_limits(table.rows, most_rows), table.even)


def _within_limits(rows: Iterator[Row], most: int) -> Iterator[Row]:
    for count, row in enumerate(rows, start=1):
        if count > most:
            raise FileRefused(
                "table_is_not_too_long",
                _("The table has more than %(most)s rows. Hand it in in parts.") % {"most": most},
            )
        _refuse_wide(row)
        yield row


def _refuse_wide(row: Row) -> None:
    if len(row.values) > MOST_COLUMNS:
        raise FileRefused(
            "table_is_not_too_wide",
            _("Row %(row)s has %(number)s columns; %(most)s may be.")
            % {"row": row.number, "number": len(row.values), "most": MOST_COLUMNS},
        )


def _table(stream: BinaryIO, sheet: str | None, encoding: str | None, largest: int) -> Iterator[Table]:
    start = stream.read(8)
    stream.seek(0)
    if start == OLE:
        raise _old_or_locked(stream)
    if start.startswith(ZIP):
        yield from _xlsx_table(stream, sheet, largest)
        return
    if sheet is not None:
        raise FileRefused("only_a_workbook_has_sheets", _("A sheet is named, but the file is no XLSX workbook."))
    rows = _csv_rows(stream, encoding)
    header = next(rows, None)
    if header is None:
        raise FileRefused("file_has_a_header", _("The file is empty; its first row must name the columns."))
    yield Table(header, rows, even=True)


# CSV


def _csv_rows(stream: BinaryIO, encoding: str | None) -> Iterator[Row]:
    lines = _lines(_text(stream, encoding))
    first = ""
    skipped = 0
    for first in lines:
        if first.strip():
            break
        skipped += 1
    else:
        return
    reader = csv.reader(_again(first, lines), delimiter=_delimiter(first), strict=True)
    number = skipped
    while True:
        number += 1
        line = skipped + reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise FileRefused(
                "csv_follows_rfc_4180",
                _(
                    "The record that begins on line %(line)s is not well-formed CSV (%(error)s): "
                    "a quotation mark is probably missing."
                )
                % {"line": line, "error": error},
            ) from error
        if any(cell.strip() for cell in cells):
            yield Row(number, list(cells))


def _again(first: str, rest: Iterator[str]) -> Iterator[str]:
    yield first
    yield from rest


def _delimiter(header: str) -> str:
    def cells(delimiter: str) -> int:
        try:
            return len(next(csv.reader([header], delimiter=delimiter)))
        except (csv.Error, StopIteration):
            return 0

    return max(DELIMITERS, key=cells)


def _lines(chunks: Iterator[str]) -> Iterator[str]:
    """Lines with their ends, split at CR LF, LF or CR."""
    rest = ""
    for chunk in chunks:
        rest += chunk
        held = "\r" if rest.endswith("\r") else ""  # the LF may be in the next chunk
        pieces = re.split(r"(?<=\n)|(?<=\r)(?!\n)", rest[: len(rest) - len(held)])
        yield from pieces[:-1]
        rest = pieces[-1] + held
        if len(rest) > LONGEST_LINE:
            raise FileRefused(
                "csv_follows_rfc_4180", _("A line is longer than a million characters: this is no table.")
            )
    if rest:
        yield rest


def _text(stream: BinaryIO, encoding: str | None) -> Iterator[str]:
    start = stream.read(4)
    stream.seek(0)
    mark, found = next(((mark, name) for mark, name in BYTE_ORDER_MARKS if start.startswith(mark)), (b"", "utf-8"))
    try:
        codec = codecs.lookup(encoding) if encoding else codecs.lookup(found)
        decoder = codec.incrementaldecoder("strict") if codec.incrementaldecoder else None
    except (LookupError, ValueError):  # a name with a zero byte is a ValueError
        decoder = None
    if (
        decoder is None
        or not getattr(codec, "_is_text_encoding", True)
        or codec.name.replace("_", "-") in NO_ENCODINGS_OF_FILES
    ):
        raise FileRefused(
            "encoding_is_known", _("There is no text encoding %(encoding)s.") % {"encoding": repr(encoding)}
        )
    if mark and (not encoding or codec.name.replace("_", "-").startswith(found)):
        stream.seek(len(mark))
    position = stream.tell()
    while True:
        chunk = stream.read(CHUNK)
        pending = decoder.getstate()[0]
        try:
            text = decoder.decode(chunk, final=not chunk)
        except UnicodeDecodeError as error:
            byte = position - len(pending) + error.start
            hint = "" if encoding else " " + _("Save it as UTF-8, or say its encoding, for instance cp1252.")
            raise FileRefused(
                "text_is_in_a_known_encoding",
                _("The file is not %(encoding)s: byte %(byte)s (counted from 0) does not fit.")
                % {"encoding": encoding or found.upper(), "byte": byte}
                + hint,
            ) from error
        except UnicodeError as error:  # UTF-16 and UTF-32 ask for a byte order mark
            raise FileRefused(
                "text_is_in_a_known_encoding",
                _("The file is not %(encoding)s: its beginning does not fit.") % {"encoding": encoding},
            ) from error
        if "\0" in text:
            raise FileRefused("file_is_text_or_xlsx", _("The file holds zero bytes: it is neither CSV nor XLSX."))
        position += len(chunk)
        if text:
            yield text
        if not chunk:
            return


# XLSX


def _old_or_locked(stream: BinaryIO) -> FileRefused:
    name = "EncryptedPackage".encode("utf-16-le")
    before = b""
    while chunk := stream.read(CHUNK):
        if name in before + chunk:
            return FileRefused(
                "workbook_is_not_locked", _("The workbook is protected by a password; save it without one.")
            )
        before = chunk[-len(name) :]
    return FileRefused(
        "workbook_is_xlsx", _("This is an old workbook (.xls) or another program's file; save it as XLSX.")
    )


def _xlsx_table(stream: BinaryIO, sheet: str | None, largest: int) -> Iterator[Table]:
    from openpyxl import load_workbook  # it takes longer to load than most CSV files to read

    with _damage_refused():
        with zipfile.ZipFile(stream) as archive:
            _refuse_bombs(archive, largest)
        book: Any = load_workbook(stream, read_only=True, data_only=False, keep_links=False)
    try:
        with _damage_refused():
            worksheet = _worksheet(book, sheet)
            # openpyxl knows which part of the zip holds the sheet, but has no public name for it.
            last = _last_filled_row(book._archive, worksheet._worksheet_path, worksheet.title)
            worksheet.reset_dimensions()
        rows = _xlsx_rows(worksheet, last)
        header = next(rows, None)
        if header is None:
            raise FileRefused(
                "file_has_a_header",
                _("The sheet %(title)s is empty; its first row must name the columns.")
                % {"title": repr(worksheet.title)},
            )
        yield Table(header, rows, even=False)
    finally:
        book.close()


@contextmanager
def _damage_refused() -> Iterator[None]:
    try:
        yield
    except (FileRefused, MemoryError):
        raise
    except Exception as error:  # what openpyxl raises for a damaged part is of any kind
        raise FileRefused(
            "workbook_is_whole", _("The workbook is damaged: it cannot be read to its end. Save it again.")
        ) from error


def _refuse_bombs(archive: zipfile.ZipFile, largest: int) -> None:
    parts = archive.infolist()
    names = {part.filename for part in parts}
    if "xl/workbook.xml" not in names and "[Content_Types].xml" not in names:
        raise FileRefused(
            "workbook_is_xlsx", _("The file is a zip archive but no XLSX workbook; save it as XLSX or CSV.")
        )
    if len(parts) > MOST_PARTS:
        raise FileRefused(
            "workbook_is_not_too_large",
            _("The workbook has %(number)s parts; %(most)s may be.") % {"number": len(parts), "most": MOST_PARTS},
        )
    for part in parts:
        most = largest if part.filename.startswith("xl/worksheets/") else min(largest, LARGEST_OTHER_PART)
        times = part.file_size / max(part.compress_size, 1)
        if part.file_size > most or (part.file_size > SMALL_PART and times > MOST_TIMES_LARGER):
            raise FileRefused(
                "workbook_is_not_too_large",
                _(
                    "%(file)s would unpack to %(bytes)s bytes, %(times)s times its packed size; "
                    "this is more than is read here."
                )
                % {"file": part.filename, "bytes": part.file_size, "times": f"{times:.0f}"},
            )
        if part.filename.endswith((".xml", ".rels")):
            with archive.open(part) as content:
                start = content.read(1024)
            # UTF-16 begins with a byte order mark or has zero bytes.
            if b"<!DOCTYPE" in start or b"\0" in start or start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
                raise _oddly_written(part.filename)


def _oddly_written(part: str) -> FileRefused:
    return FileRefused(
        "workbook_is_xlsx", _("%(file)s is not written as a workbook's parts are; save it again.") % {"file": part}
    )


def _worksheet(book: Any, name: str | None) -> Any:
    sheets = {each.title: each for each in book.worksheets}
    if name is not None:
        if name not in sheets:
            raise FileRefused(
                "sheet_is_in_the_workbook",
                _("There is no sheet %(name)s; the workbook has %(sheets)s.")
                % {"name": repr(name), "sheets": ", ".join(map(repr, sheets)) or _("none")},
            )
        return sheets[name]
    visible = [each for each in sheets.values() if each.sheet_state == "visible"]
    if len(visible) == 1 and len(sheets) == 1:
        return visible[0]
    if not sheets:
        raise FileRefused("workbook_has_a_sheet", _("The workbook has no sheet with cells."))
    hidden = [repr(each.title) for each in sheets.values() if each.sheet_state != "visible"]
    named = ", ".join(repr(each.title) for each in visible) or _("none")
    if hidden:
        named = _("%(visible)s and hidden %(hidden)s") % {"visible": named, "hidden": ", ".join(hidden)}
    raise FileRefused(
        "sheet_is_unambiguous",
        _("The workbook has more than one sheet: %(sheets)s. Say which one to read.") % {"sheets": named},
    )


def _last_filled_row(archive: zipfile.ZipFile, path: str, title: str) -> int | None:
    """The last row with a value (``None``: rows are not numbered), by a look at the tags alone.

    Merged cells are refused on the way: they stand behind all rows. So is a row longer than a line
    may be, since a row is read as a whole, and a comment, which could hide where a row ends.
    """
    row, last = 0, 0
    numbered = True
    before = b""
    read = 0
    row_begins: int | None = None
    rows_ended = False
    with archive.open(path) as content:
        while chunk := content.read(CHUNK):
            tags, bracket, cut = (before + chunk).rpartition(b"<")
            begins = read - len(before)
            for found in TAG.finditer(tags):
                number, value, merged, end_of_rows, oddity = found.groups()
                if oddity:
                    raise _oddly_written(path)
                if merged:
                    raise FileRefused(
                        "cells_are_not_merged",
                        _("In the sheet %(title)s the cells %(cells)s are merged; unmerge them and fill each cell.")
                        % {"title": repr(title), "cells": merged.decode("ascii", "replace")},
                    )
                if value:
                    last = row
                elif not rows_ended:
                    _refuse_long_row(row, row_begins, begins + found.start())
                    row_begins = None if end_of_rows else begins + found.start()
                    rows_ended = bool(end_of_rows)
                    row = int(number or row)
                    numbered = numbered and bool(number or end_of_rows)
            before = bracket + cut if bracket else b""
            read += len(chunk)
            _refuse_long_row(row, read - len(before) if row_begins is None else row_begins, read)
    return max(last, 1) if numbered else None


def _refuse_long_row(row: int, begins: int | None, here: int) -> None:
    if begins is not None and here - begins > LONGEST_LINE:
        raise FileRefused(
            "workbook_is_not_too_large",
            _("Row %(row)s is longer than a million characters: this is no table.") % {"row": max(row, 1)},
        )


def _xlsx_rows(worksheet: Any, last: int | None) -> Iterator[Row]:
    # Empty rows are passed over one by one where there is data behind them; after the last value reading ends.
    with _damage_refused():
        for number, cells in enumerate(worksheet.iter_rows(max_row=last), start=1):
            if number > MOST_ROWS:
                raise FileRefused(
                    "workbook_is_not_too_large",
                    _("A workbook has at most %(most)s rows.") % {"most": MOST_ROWS},
                )
            if not cells:
                continue
            values = [_value(cell, column, number) for column, cell in enumerate(cells, start=1)]
            while values and values[-1] is None:
                values.pop()
            if values:
                yield Row(number, values)


def _value(cell: Any, column: int, row: int) -> Value:
    value = cell.value
    if value is None:
        return None
    if cell.data_type == "f":
        return Unreadable(
            "cell_holds_no_formula",
            _("Cell %(cell)s holds a formula; paste its value instead.") % {"cell": _address(column, row)},
        )
    if cell.data_type == "e":
        return Unreadable(
            "cell_holds_no_error",
            _("Cell %(cell)s holds the error %(error)s.") % {"cell": _address(column, row), "error": value},
        )
    if isinstance(value, str) and len(value) > LONGEST_CELL:
        return Unreadable(
            "cell_is_not_too_long",
            _("Cell %(cell)s holds %(number)s characters; a cell holds at most %(most)s.")
            % {"cell": _address(column, row), "number": len(value), "most": LONGEST_CELL},
        )
    if isinstance(value, str):
        return value if value.strip() else None
    return value


def _address(column: int, row: int) -> str:
    from openpyxl.utils import get_column_letter

    return f"{get_column_letter(column)}{row}"
