"""The running footer of every page: the caution, what document this is, and page x of y.

It is drawn by hand as an artifact, so that screen readers do not read it out on
each page (ISO 14289-1, 7.8), and because WeasyPrint's margin boxes take as long
as a page of text.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from registry.transcripts.set_text import PIXEL, TextSetter

SIZE = 6.5 * 96 / 72
BELOW_TEXT, FIRST_LINE, LEADING = 3 * PIXEL, 14.2, 12.4
"""From the text to the rule, from the rule to the first line, and from line to line, in pixels."""


@dataclass(frozen=True, slots=True)
class Room:
    """Where text stands on a page, in millimetres from the top left corner."""

    left: float
    top: float
    width: float
    height: float


def add_running_footer(
    pages: Sequence[Any], setter: TextSetter, room: Room, *, caution: str, running: str, page_of_pages: str
) -> None:
    """Have each page draw its footer when it is painted.

    ``running`` says what document it is; ``page_of_pages`` has ``%(page)s`` and ``%(pages)s`` in it.
    """
    style = setter.style(SIZE, 400)
    width = room.width * PIXEL
    said = [(0.0, each) for each in setter.lines(caution, style, width)]
    for number, page in enumerate(pages, start=1):
        counted = page_of_pages % {"page": number, "pages": len(pages)}
        last = setter.lines(" · ".join(each for each in (running, counted) if each), style, width)
        lines = [*said, *((width - each.width, each) for each in last)]
        page.paint = partial(_paint, page.paint, setter, room, lines)


def _paint(
    paint_page: Callable[..., None], setter: TextSetter, room: Room, lines: list[Any], stream: Any, scale: float = 1
) -> None:
    paint_page(stream, scale)
    with stream.stacked():
        top = (room.top + room.height) * PIXEL + BELOW_TEXT
        stream.transform(a=scale, d=scale, e=room.left * PIXEL * scale, f=top * scale)
        stream.set_color_rgb(0, 0, 0)
        drawn = [
            b"/Artifact <</Type /Pagination /Subtype /Footer>> BDC 0 G 0.67 w 0 0 m %.2f 0 l S" % (room.width * PIXEL)
        ]
        for number, (x, line) in enumerate(lines):
            place = b"BT 1 0 0 -1 %.2f %.2f Tm" % (x, FIRST_LINE + number * LEADING)
            drawn += [place, *setter.drawn(line, stream), b"ET"]
        stream.stream.append(b" ".join((*drawn, b"EMC")))
