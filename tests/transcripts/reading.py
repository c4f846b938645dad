"""What a reader finds in a PDF: text by pdfium, structure and files by qpdf (pikepdf)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from functools import lru_cache
from io import BytesIO
from typing import Any

import pikepdf
import pypdfium2


def text_of(pdf: bytes) -> list[str]:
    """The text of each page, words apart by single spaces."""
    document = pypdfium2.PdfDocument(pdf)
    return [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]


@lru_cache(maxsize=8)
def opened(pdf: bytes) -> pikepdf.Pdf:
    """The document's objects. They live only as long as the document, which is therefore kept for a while."""
    return pikepdf.open(BytesIO(pdf))


def elements(pdf: pikepdf.Pdf) -> Iterator[Any]:
    """Every element of the structure tree, in the order in which it is read."""
    waiting = [pdf.Root.StructTreeRoot.K[0]]
    while waiting:
        element = waiting.pop()
        yield element
        kids: Any = element.get("/K", [])
        below = list(kids) if isinstance(kids, pikepdf.Array) else [kids]
        waiting += [each for each in reversed(below) if isinstance(each, pikepdf.Dictionary) and "/S" in each]


def kinds(pdf: pikepdf.Pdf) -> Counter[str]:
    """How many elements of each kind there are."""
    return Counter(str(each.S) for each in elements(pdf))


def outside_margins(pdf: bytes, margin: float) -> list[str]:
    """Letters that stand nearer to the side of their page than ``margin`` (in points)."""
    found = []
    for page in pypdfium2.PdfDocument(pdf):
        words = page.get_textpage()
        width = page.get_width()
        for index in range(words.count_chars()):
            left, _bottom, right, _top = words.get_charbox(index)
            if right > left and (left < margin or right > width - margin):
                found.append(words.get_text_range(index, 1))
    return found
