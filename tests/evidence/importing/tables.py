"""Writing the tables that the tests bring in."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from typing import Any

import openpyxl


def as_csv(rows: Sequence[dict[str, Any]], *, delimiter: str = ",", encoding: str = "utf-8") -> bytes:
    """The rows written by the standard csv module, the independent writer for RFC 4180."""
    written = io.StringIO()
    headers = list(dict.fromkeys(header for row in rows for header in row))
    table = csv.DictWriter(written, headers, delimiter=delimiter)
    table.writeheader()
    table.writerows(rows)
    return written.getvalue().encode(encoding)


def as_xlsx(rows: Sequence[dict[str, Any]], change: Callable[[Any], None] = lambda book: None) -> bytes:
    """The rows in a workbook, changed before it is saved."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    headers = list(dict.fromkeys(header for row in rows for header in row))
    sheet.append(headers)
    for row in rows:
        sheet.append([row.get(header) for header in headers])
    change(book)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()
