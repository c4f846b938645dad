"""The print engine: a template becomes a tagged PDF (PDF/UA-1) on A4 or Letter paper.

Nothing is fetched: a document is made of its template, the print style beside
the templates (``templates/documents/print.css``) and the fonts of this machine.
The same template, context, language, paper, instant and fonts give the same bytes.

Text is set in DejaVu Sans, which every fresh Debian can install, or else in the
machine's own sans-serif. A letter that no installed font has is drawn as an
empty box; its text is still in the file, and in the embedded data.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import pydyf
import weasyprint
from django.conf import settings
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher

from registry.engine.render import CAUTION
from registry.language.plain_text import seen
from registry.transcripts.long_table import LongTable, SetTable
from registry.transcripts.running_footer import Room, add_running_footer
from registry.transcripts.set_text import PIXEL, TextSetter
from registry.transcripts.wording import page_of_pages

STYLE = Path("templates") / "documents" / "print.css"


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet in millimetres, upright."""

    name: str
    width: float
    height: float


# A4: ISO 216. Letter: 8.5 by 11 inches (ANSI/ASME Y14.1).
PAPERS = {each.name: each for each in (Paper("A4", 210, 297), Paper("Letter", 215.9, 279.4))}
MARGIN, FOOTER = 17.0, 24.0
"""Millimetres around the text, and below it, where the running footer is."""


RUNNING = "running"
"""The name of the template's ``meta`` that says what the running footer says of the document."""


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file to embed; ``relationship`` as PDF names them: ``Source``, ``Data``, ``Supplement``."""

    name: str
    media_type: str
    content: bytes
    description: str
    relationship: str = "Data"


class NothingIsFetched(URLFetcher):
    """Lets inline ``data:`` pictures of our own style through and stops the document at anything else."""

    def fetch(self, url: str, headers: Any = None) -> Any:
        """The inline resource; raises ``FatalURLFetchingError`` for any other address."""
        if not url.startswith("data:"):
            raise FatalURLFetchingError(f"A printed document fetches nothing, but asks for {url}")
        return super().fetch(url, headers)


def render(
    *,
    template: str,
    context: Mapping[str, Any],
    language: str,
    created_at: datetime,
    paper: str = "A4",
    attachments: Sequence[Attachment] = (),
    long_table: LongTable | None = None,
) -> bytes:
    """Print ``template`` (below ``templates/documents/``) as a PDF.

    ``language`` is one of the settings' languages, ``paper`` one of ``PAPERS``,
    ``created_at`` the instant written into the file. A ``long_table`` is set
    after everything else, on pages of its own unless it is short. Raises ``ValueError`` for an
    unknown paper or language.
    """
    if paper not in PAPERS:
        raise ValueError(f"{paper!r} is no known paper; there are {', '.join(PAPERS)}.")
    if language not in dict(settings.LANGUAGES):
        raise ValueError(f"{language!r} is none of the registry's languages.")
    fonts = FontConfiguration()
    setter = TextSetter(fonts, language)
    room = _room(PAPERS[paper])
    set_table = None if long_table is None else SetTable(long_table, setter, room)
    short = set_table is not None and set_table.short
    with translation.override(language):
        page = render_to_string(
            f"documents/{template}",
            {
                **context,
                "caution": CAUTION,
                "language": language,
                "created_at": created_at,
                "created": created_at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
                "has_long_table": set_table is not None,
                "room_for_table": f"{set_table.height:.2f}px" if set_table is not None and short else "",
            },
        )
        caution, counted = _(CAUTION), page_of_pages()
    fetcher = NothingIsFetched()
    # What was stored before hidden characters were refused is printed all the same; some no reader of XML takes.
    document = weasyprint.HTML(string=seen(page), url_fetcher=fetcher, media_type="print").render(
        stylesheets=[weasyprint.CSS(string=_style(PAPERS[paper]), url_fetcher=fetcher, font_config=fonts)],
        font_config=fonts,
        pdf_variant="pdf/ua-1",
    )
    if set_table is not None:
        if short:
            set_table.stand_at(_used(document.pages[-1], room) - set_table.height)
        else:
            *front, empty = document.pages
            document = document.copy([*front, *(copy(empty) for _sheet in range(set_table.pages))])
        set_table.paint_on(document.pages)
    running = document.metadata.custom.get(RUNNING, "")
    add_running_footer(document.pages, setter, room, caution=caution, running=running, page_of_pages=counted)

    def finish(_document: Any, pdf: pydyf.PDF) -> None:
        _relate(pdf, attachments)
        _scope_headers(pdf)
        if set_table is not None:
            set_table.tag(pdf)

    made: bytes = document.write_pdf(
        pdf_variant="pdf/ua-1",
        attachments=[
            weasyprint.Attachment(
                file_obj=BytesIO(each.content),
                name=each.name,
                description=each.description,
                created=created_at.astimezone(UTC),
                modified=created_at.astimezone(UTC),
            )
            for each in attachments
        ],
        finisher=finish,
    )
    return made


def _room(paper: Paper) -> Room:
    return Room(MARGIN, MARGIN, paper.width - 2 * MARGIN, paper.height - MARGIN - FOOTER)


@cache
def _style(paper: Paper) -> str:
    page = f"@page {{ size: {paper.width}mm {paper.height}mm; margin: {MARGIN}mm {MARGIN}mm {FOOTER}mm; }}\n"
    return page + (settings.PROJECT / STYLE).read_text(encoding="utf-8")


def _used(page: Any, room: Room) -> float:
    """How many pixels of the page's room are taken by what stands in it."""
    (root,) = (each for each in page._page_box.children if each.element_tag == "html")
    last = root.children[0].children[-1]
    bottom: float = last.position_y + last.margin_height()
    return bottom - room.top * PIXEL


def _relate(pdf: pydyf.PDF, attachments: Sequence[Attachment]) -> None:
    """Say of each embedded file what it is and how it belongs to the document (ISO 32000-2, 14.13)."""
    files = {}
    for each in pdf.objects:
        if isinstance(each, pydyf.Dictionary) and each.get("Type") == "/Filespec":
            files[each["UF"].string] = each
    for attachment in attachments:
        file = files[attachment.name]
        file["AFRelationship"] = f"/{attachment.relationship}"
        content = pdf.objects[int(file["EF"]["F"].split()[0])]
        content.extra["Subtype"] = "/" + attachment.media_type.replace("/", "#2f").replace("+", "#2b")
    if files:
        pdf.catalog["AF"] = pydyf.Array([files[each.name].reference for each in attachments])


def _scope_headers(pdf: pydyf.PDF) -> None:
    """Say of each header cell what it heads; ISO 14289-1, 7.5 asks for it where cells do not name their headers.

    The templates put headers of columns into ``thead``, and headers of rows below it.
    """
    for each in pdf.objects:
        if isinstance(each, pydyf.Dictionary) and each.get("S") == "/TH" and "A" in each:
            row = _parent(pdf, each)
            each["A"]["Scope"] = "/Column" if _parent(pdf, row).get("S") == "/THead" else "/Row"


def _parent(pdf: pydyf.PDF, element: pydyf.Dictionary) -> pydyf.Dictionary:
    return pdf.objects[int(element["P"].split()[0])]
