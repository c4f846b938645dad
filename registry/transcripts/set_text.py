"""Lines of text set by hand, with WeasyPrint's own text engine.

Fonts, scripts from right to left and missing letters are dealt with as in the
rest of the document. Each different text is shaped once, however often it comes.
This leans on parts of WeasyPrint that its manual does not describe; the lock
file holds its version, and the tests of printing look at the outcome.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from weasyprint.css.properties import INITIAL_VALUES
from weasyprint.draw.text import draw_first_line
from weasyprint.matrix import Matrix
from weasyprint.text.line_break import split_first_line

from registry.language.plain_text import seen

PIXEL = 96 / 25.4
"""CSS pixels in a millimetre."""
FONTS = ("DejaVu Sans", "sans-serif")


@dataclass(slots=True)
class Line:
    """One line of shaped text. It is drawn by its own layout or by those of its ``parts``, one after the other."""

    layout: Any
    style: Style
    width: float
    parts: tuple[Line, ...] = ()
    font: bytes = b""
    drawing: bytes = b""


class Style(dict[str, Any]):
    """The computed style that the text engine asks for."""

    font_config: Any


class _TextBox:
    """What the text engine draws."""

    def __init__(self, layout: Any, style: Style) -> None:
        self.pango_layout = layout
        self.style = style

    @property
    def text(self) -> str:
        return str(self.pango_layout.text)


class TextSetter:
    """Breaks texts into lines and draws them; ``fonts`` is the document's font configuration."""

    def __init__(self, fonts: Any, language: str) -> None:
        self._fonts = fonts
        self._language = language
        self._broken: dict[tuple[str, int, float], list[Line]] = {}

    def style(self, size: float, weight: int) -> Style:
        """Black text of ``size`` pixels; ``weight`` 400 or 700. Keep it: lines are known by its identity."""
        style = Style(INITIAL_VALUES)
        style.font_config = self._fonts
        style["font_family"] = list(FONTS)
        style["font_size"] = size
        style["font_weight"] = weight
        style["lang"] = self._language
        style["overflow_wrap"] = "anywhere"
        return style

    def lines(self, text: str, style: Style, width: float) -> list[Line]:
        """``text`` in lines no wider than ``width`` pixels; words that are wider are broken."""
        text = seen(text)
        key = (text, id(style), width)
        if key not in self._broken:
            self._broken[key] = self._figures(text, style, width) or list(_broken(text, style, width))
        return self._broken[key]

    def _figures(self, text: str, style: Style, width: float) -> list[Line]:
        """A number put together from its digits: the numbers of records are all different, their digits are not."""
        if not (text.isascii() and text.isdigit() and len(text) > 1):
            return []
        digits = tuple(self.lines(each, style, width)[0] for each in text)
        wide = sum(each.width for each in digits)
        return [Line(None, style, wide, digits)] if wide <= width else []

    def drawn(self, line: Line, stream: Any) -> tuple[bytes, bytes]:
        """The line's first font, and its drawing without its place, as operators of the page ``stream``."""
        if line.parts and not line.drawing:
            drawn = [self.drawn(each, stream) for each in line.parts]
            line.font, line.drawing = drawn[0][0], b" ".join(drawing for _font, drawing in drawn)
        if not line.drawing:
            line.layout.reactivate(line.style)
            scratch = stream.clone()
            draw_first_line(scratch, _TextBox(line.layout, line.style), "clip", "none", Matrix(d=-1))
            line.layout.deactivate()
            _place, line.font, *drawing = scratch.stream
            line.drawing = b" ".join(drawing)
        return line.font, line.drawing


def _broken(text: str, style: Style, width: float) -> Iterable[Line]:
    rest = " ".join(text.split())
    while rest:
        layout, _length, resume, wide, _height, _baseline = split_first_line(rest, style, None, width, 0)
        yield Line(layout, style, wide)
        if resume is None:
            return
        rest = rest.encode()[resume:].decode().lstrip()
