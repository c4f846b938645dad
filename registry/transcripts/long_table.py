"""A table of thousands of rows, set by hand.

WeasyPrint lays out about five hundred table rows of seven cells a second, and a
life's work is three thousand. This module breaks the rows into pages and draws
them itself: text is still shaped by WeasyPrint's own text engine (fonts, scripts
from right to left, missing letters), each different text once; the structure
that screen readers use (heading, table, row, header and cell) is written along.

The template ends with one empty page, which is taken as many times as the table
needs (``SetTable.pages``). For a short table it leaves room below the text instead.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import pydyf

from registry.transcripts.running_footer import Room
from registry.transcripts.set_text import PIXEL, Line, Style, TextSetter

SIZE, HEADING_SIZE, LEADING = 8.8, 12.5, 10.8
ROOM_IN_CELL, FIGURES_KEEP = 3.0, 4.0
SHORT = 0.5
"""So much of a page is left below the text for a table that takes no more."""


@dataclass(frozen=True, slots=True)
class Column:
    """``share`` of the width; figures stand at the right."""

    title: str
    share: float
    figures: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """A cell is one or more paragraphs. The last cell of a struck row says why and is not struck itself."""

    cells: tuple[tuple[str, ...], ...]
    struck: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """Rows under a heading of their own."""

    title: str
    heading: str
    rows: Sequence[Row]


@dataclass(frozen=True, slots=True)
class LongTable:
    """The whole table; ``continued`` follows a heading that is said again on a new page."""

    columns: tuple[Column, ...]
    groups: Sequence[Group]
    continued: str


@dataclass(slots=True)
class _Cell:
    x: float
    lines: list[tuple[float, Line]]
    """How far each line stands from the column's left edge."""
    struck: bool


@dataclass(slots=True)
class _Band:
    """A strip across the page: a heading, the column headers or a row."""

    kind: str
    group: int
    y: float
    height: float
    cells: list[_Cell]
    repeated: bool = False
    """Said again on a new page, and so passed over by screen readers."""


class _Element(pydyf.Object):
    """An element of the document's structure, written as it is."""

    def __init__(self, kind: str, parent: bytes, page: bytes = b"", more: bytes = b"") -> None:
        super().__init__()
        self.start = b"<</Type /StructElem /S /" + kind.encode() + b" /P " + parent + page + more
        self.kids: list[bytes] = []

    @property
    def data(self) -> bytes:
        """The element as PDF."""
        return self.start + b" /K [" + b" ".join(self.kids) + b"]>>"


@dataclass(slots=True)
class _Sheet:
    """One page: its bands, and where the first piece of marked content stands in the page's numbering."""

    bands: list[_Band] = field(default_factory=list)
    first_mark: int = 0

    @property
    def used(self) -> float:
        """How far down the page is taken."""
        return self.bands[-1].y + self.bands[-1].height if self.bands else 0.0


class SetTable:
    """A :class:`LongTable` broken into pages, in the room that each page has; inside, all is in pixels."""

    def __init__(self, table: LongTable, setter: TextSetter, room: Room) -> None:
        self._table = table
        self._setter = setter
        self._left, self._top = room.left * PIXEL, room.top * PIXEL
        self._width, self._height = room.width * PIXEL, room.height * PIXEL
        shares = sum(each.share for each in table.columns)
        self._widths = [self._width * each.share / shares for each in table.columns]
        self._regular, self._bold = setter.style(SIZE, 400), setter.style(SIZE, 700)
        self._heading = setter.style(HEADING_SIZE, 700)
        self._sheets: list[_Sheet] = []
        self._header = self._cells([(each.title,) for each in table.columns], self._bold, struck=False)
        self._break_into_pages()

    @property
    def short(self) -> bool:
        """Whether it takes no page of its own: it stands below the text before it."""
        return self.pages == 1 and self.height <= self._height * SHORT

    @property
    def height(self) -> float:
        """What the last page's part of it takes, in pixels."""
        return self._sheets[-1].used

    def stand_at(self, top: float) -> None:
        """Have a short table begin so many pixels below the top of the page's room."""
        for each in self._sheets[-1].bands:
            each.y += top

    @property
    def pages(self) -> int:
        """How many pages the table stands on."""
        return len(self._sheets)

    # Breaking

    def _break_into_pages(self) -> None:
        for number, group in enumerate(self._table.groups):
            head = self._head(number, group.heading)
            rows = [self._row(number, each) for each in group.rows]
            # A heading never stands at the foot of a page without a row.
            self._place([*head, *rows[:1]])
            for place, row in enumerate(rows[1:], start=2):
                # Nor does the last row stand alone on a page.
                kept = rows[-2:] if place == len(rows) - 1 else [row]
                if not self._fits(sum(each.height for each in kept)):
                    again = self._head(number, f"{group.title}, {self._table.continued}", repeated=True)
                    self._sheets.append(_Sheet())
                    self._place(again)
                self._place([row])

    def _head(self, group: int, title: str, *, repeated: bool = False) -> list[_Band]:
        lines = self._setter.lines(title, self._heading, self._width)
        heading = [(0.0, each) for each in lines]
        tall = HEADING_SIZE * 1.3 * len(lines) + 14
        return [
            _Band("heading", group, 0, tall, [_Cell(0, heading, False)], repeated),
            _Band("header", group, 0, _height(self._header), self._header, repeated),
        ]

    def _row(self, group: int, row: Row) -> _Band:
        cells = self._cells(row.cells, self._regular, struck=row.struck)
        return _Band("row", group, 0, _height(cells), cells)

    def _cells(self, texts: Sequence[tuple[str, ...]], style: Style, *, struck: bool) -> list[_Cell]:
        cells, x = [], 0.0
        for number, (paragraphs, column, width) in enumerate(
            zip(texts, self._table.columns, self._widths, strict=True)
        ):
            last = number == len(self._widths) - 1
            room = width - 2 * ROOM_IN_CELL
            wide = room - FIGURES_KEEP if column.figures else room
            lines = [each for text in paragraphs if text for each in self._setter.lines(text, style, wide)]
            placed = [(wide - each.width if column.figures else 0.0, each) for each in lines]
            cells.append(_Cell(x + ROOM_IN_CELL, placed, struck and not last))
            x += width
        return cells

    def _fits(self, height: float) -> bool:
        if not self._sheets:
            return False
        return self._sheets[-1].used + height <= self._height

    def _place(self, bands: list[_Band]) -> None:
        """Put the bands below each other on the last page, or all of them on a new one."""
        if not self._fits(sum(each.height for each in bands)):
            self._sheets.append(_Sheet())
        sheet = self._sheets[-1]
        for each in bands:
            each.y = sheet.used
            sheet.bands.append(each)

    # Drawing

    def paint_on(self, pages: Sequence[Any]) -> None:
        """Have the last pages of the document draw the table when they are painted."""
        for page, sheet in zip(pages[len(pages) - self.pages :], self._sheets, strict=True):
            page.paint = partial(self._paint, sheet, page.paint)

    def _paint(self, sheet: _Sheet, paint_page: Callable[..., None], stream: Any, scale: float = 1) -> None:
        paint_page(stream, scale)
        sheet.first_mark = len(stream._tags)
        with stream.stacked():
            stream.transform(a=scale, d=scale, e=self._left * scale, f=self._top * scale)
            stream.set_color_rgb(0, 0, 0)
            stream.stream.append(b"".join(self._marked(sheet, stream)))
            stream.stream.append(b"".join(self._ruled(sheet)))

    def _marked(self, sheet: _Sheet, stream: Any) -> Iterable[bytes]:
        mark = sheet.first_mark
        in_use = b""
        for band in sheet.bands:
            size = HEADING_SIZE if band.kind == "heading" else SIZE
            leading = size * 1.3 if band.kind == "heading" else LEADING
            first = band.y + (12 if band.kind == "heading" else 2) + size
            for cell in band.cells:
                if band.repeated:
                    yield b"/Artifact BMC\n"
                else:
                    yield b"/Span <</MCID %d>> BDC\n" % mark
                    mark += 1
                for number, (indent, line) in enumerate(cell.lines):
                    font, drawing = self._setter.drawn(line, stream)
                    yield b"BT 1 0 0 -1 %.2f %.2f Tm " % (cell.x + indent, first + number * leading)
                    # A font stays in use until another is named.
                    yield drawing if font == in_use else font + b" " + drawing
                    yield b" ET\n"
                    in_use = font if drawing.count(b" Tf") == 0 else b""
                yield b"EMC\n"

    def _ruled(self, sheet: _Sheet) -> Iterable[bytes]:
        """Lines between rows, and through what no longer stands."""
        yield b"/Artifact BMC 0.5 w 0.6 G\n"
        for band in sheet.bands:
            if band.kind != "heading":
                yield b"0 %.2f m %.2f %.2f l S\n" % (band.y + band.height, self._width, band.y + band.height)
        yield b"0.8 w 0 G\n"
        for band in sheet.bands:
            if band.kind == "header":
                yield b"0 %.2f m %.2f %.2f l S\n" % (band.y + band.height, self._width, band.y + band.height)
            for cell in band.cells:
                if cell.struck:
                    for number, (indent, line) in enumerate(cell.lines):
                        y = band.y + 2 + SIZE * 0.68 + number * LEADING
                        x = cell.x + indent
                        yield b"%.2f %.2f m %.2f %.2f l S\n" % (x, y, x + line.width, y)
        yield b"EMC\n"

    # Structure

    def tag(self, pdf: pydyf.PDF) -> None:
        """Write headings, tables, rows and cells into the document's structure, after everything else."""
        if not self._sheets:
            return
        root = _object(pdf, pdf.catalog["StructTreeRoot"])
        document = _object(pdf, root["K"][0])
        parents = _object(pdf, root["ParentTree"])["Nums"]
        references = pdf.page_references
        first_page = len(references) - self.pages
        tables: dict[int, _Element] = {}
        sections: dict[int, _Element] = {}
        for number, sheet in enumerate(self._sheets):
            page = b" /Pg " + references[first_page + number]
            marked: list[bytes] = parents[2 * (first_page + number) + 1]
            if len(marked) != sheet.first_mark:
                raise RuntimeError("The page's own marked content is not numbered from nought without gaps.")
            mark = sheet.first_mark
            for band in sheet.bands:
                if band.repeated:
                    continue
                if band.kind == "heading":
                    section = sections[band.group] = _added(pdf, _Element("Sect", document.reference))
                    document["K"].append(section.reference)
                    cells = [_child(pdf, section, "H3", page)]
                else:
                    if band.kind == "header":
                        tables[band.group] = _child(pdf, sections[band.group], "Table")
                    row = _child(pdf, tables[band.group], "TR", page)
                    kind, more = ("TH", b" /A <</O /Table /Scope /Column>>") if band.kind == "header" else ("TD", b"")
                    cells = [_child(pdf, row, kind, page, more) for _cell in band.cells]
                for element in cells:
                    element.kids.append(b"%d" % mark)
                    marked.append(element.reference)
                    mark += 1


def _height(cells: Iterable[_Cell]) -> float:
    return max(1, *(len(each.lines) for each in cells)) * LEADING + 4


def _object(pdf: pydyf.PDF, reference: bytes) -> Any:
    return pdf.objects[int(reference.split()[0])]


def _added(pdf: pydyf.PDF, element: _Element) -> _Element:
    pdf.add_object(element)
    return element


def _child(pdf: pydyf.PDF, parent: _Element, kind: str, page: bytes = b"", more: bytes = b"") -> _Element:
    element = _added(pdf, _Element(kind, parent.reference, page, more))
    parent.kids.append(element.reference)
    return element
