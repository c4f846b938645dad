"""What is in a document: refused where it could deceive, act, or unpack to more than anybody needs."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from typing import Any

from registry.evidence.apart.words import say as _

PDF, PNG, JPEG, HEIC = "application/pdf", "image/png", "image/jpeg", "image/heic"
CSV, XLSX = "text/csv", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

MARKUP = (b"<script", b"<html", b"<!doctype", b"<svg", b"<iframe")
# ISO 32000-2: keys that carry scripts, attached files, forms of their own or media (7.6.4, 7.7.2, 7.11.4, 12.6.3, 13).
ACTIVE_KEYS = frozenset({"/JS", "/JavaScript", "/EmbeddedFiles", "/EF", "/AA", "/XFA", "/RichMediaContent", "/Launch"})
ACTIVE_TYPES = frozenset({"/EmbeddedFile", "/FileAttachment", "/RichMedia", "/Movie", "/Screen", "/3D"})
# ISO 32000-2, table 201: actions that run, send, open another file or hide; an unknown action is one of them.
ACTIVE_ACTIONS = frozenset({
    "/Launch", "/JavaScript", "/ImportData", "/SubmitForm", "/ResetForm", "/GoToE", "/GoToR", "/GoToDp", "/Rendition",
    "/RichMediaExecute", "/Sound", "/Movie", "/Hide", "/Trans", "/GoTo3DView", "/SetOCGState",
})  # fmt: skip
HARMLESS_ACTIONS = frozenset({"/GoTo", "/URI", "/Named", "/Thread"})
MOST_DEPTH = 100
MOST_PIXELS = 120_000_000
"""Of a picture: a page of A3 at 600 dots an inch has 70 million, a phone's camera up to 108."""
LARGEST_STREAM, LARGEST_STREAMS = 256 * 1024**2, 1024**3
"""To how many bytes one stream of a PDF may unpack, and all: a coloured A3 page scanned at 600 dots has 210 MB."""
PACKINGS = frozenset({"/FlateDecode", "/Fl", "/LZWDecode", "/LZW", "/RunLengthDecode", "/RL"})
PIECE = 256 * 1024


class Deceptive(Exception):
    """The document is refused; ``rule`` names why, the message is a sentence."""

    def __init__(self, rule: str, message: str) -> None:
        super().__init__(message)
        self.rule = rule
        self.message = message


def check(content: bytes, media_type: str) -> None:
    """Refuse with :class:`Deceptive` what is not what ``media_type`` says, not whole, not one thing, or acts."""
    if media_type == XLSX:
        _refuse_what_is_no_workbook(content)
        return
    _refuse_part(content, media_type)
    _refuse_second_nature(content, media_type)
    if media_type == PDF:
        _refuse_pdf(content)


def _refuse_what_is_no_workbook(content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            names = set(archive.namelist())
    except zipfile.BadZipFile:
        names = set()
    # A workbook with macros has a part of its own for them.
    if "xl/workbook.xml" not in names or any(each.lower().endswith("vbaproject.bin") for each in names):
        raise Deceptive(
            "document_is_of_an_accepted_type",
            _("This is not %(wanted)s; the content tells, not the name.") % {"wanted": _("a CSV or XLSX table")},
        )


def _refuse_second_nature(content: bytes, media_type: str) -> None:
    """Refuse a file that is also something else: a page, an archive, or has more behind its end."""
    two = Deceptive(
        "document_is_one_thing",
        _("The file is two things at once: there is more in it than the picture or document. Save it anew."),
    )
    if zipfile.is_zipfile(io.BytesIO(content)):
        raise two
    # In a PDF such words may be text on a page; there the start and what follows the end are looked at.
    looked_at = (content[:1024] + content[content.rfind(b"%%EOF") :]) if media_type == PDF else content
    lowered = looked_at.lower()
    if any(each in lowered for each in MARKUP):
        raise two
    # IEND, its length before and its checksum behind, close a PNG (ISO/IEC 15948, 11.2.5).
    if media_type == PNG and len(content) != content.rfind(b"IEND") + 8:
        raise two
    if media_type == PDF and content[content.rfind(b"%%EOF") + 5 :].strip(b"\0\r\n\t "):
        raise two


def _refuse_part(content: bytes, media_type: str) -> None:
    """Refuse a file whose end did not arrive, and a picture that is larger than any that is taken."""
    whole = True
    if media_type == PNG:
        # IHDR is the first chunk: width and height, four bytes each (ISO/IEC 15948, 11.2.2).
        whole = b"IEND" in content and content[12:16] == b"IHDR"
        if whole:
            _refuse_large_picture(*struct.unpack(">II", content[16:24]))
    elif media_type == HEIC:
        for width, height in _sizes_of_heic(content):
            _refuse_large_picture(width, height)
    elif media_type == PDF:
        whole = b"%%EOF" in content
    elif media_type == JPEG:
        whole = _is_whole_jpeg(content)
    if not whole:
        raise Deceptive("document_is_whole", _("The file is incomplete or damaged; save it anew and send it again."))


def _is_whole_jpeg(content: bytes) -> bool:
    from PIL import Image

    try:
        with Image.open(io.BytesIO(content), formats=["JPEG"]) as picture:
            _refuse_large_picture(*picture.size)
            # Small and grey is enough to have read all of it.
            picture.draft("L", (1, 1))
            picture.load()
    except Image.DecompressionBombError:
        raise _too_many_pixels() from None
    except (OSError, SyntaxError):
        return False
    return True


def _sizes_of_heic(content: bytes) -> Iterator[tuple[int, int]]:
    """Width and height of each picture and each tile: the boxes ``ispe`` (ISO/IEC 23008-12, 6.5.3)."""
    found = content.find(b"ispe")
    while found >= 0 and len(content) >= found + 16:
        yield struct.unpack(">II", content[found + 8 : found + 16])
        found = content.find(b"ispe", found + 4)


def _refuse_large_picture(width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        raise _too_many_pixels()


def _too_many_pixels() -> Deceptive:
    return Deceptive(
        "picture_is_not_too_large",
        _("The picture has more than %(most)s million pixels. Save it smaller.") % {"most": MOST_PIXELS // 1_000_000},
    )


# PDF


def _refuse_pdf(content: bytes) -> None:
    import pikepdf

    encrypted = Deceptive(
        "document_is_not_encrypted", _("The PDF is encrypted; save it without a password or restrictions.")
    )
    try:
        with pikepdf.open(io.BytesIO(content)) as pdf:
            if pdf.is_encrypted:
                raise encrypted
            unpacked = 0
            # Every indirect object once; what lies directly within them by descent.
            for each in pdf.objects:
                _refuse_active(each, 0)
                if isinstance(each, pikepdf.Stream):
                    unpacked += _unpacked_size(each)
                if unpacked > LARGEST_STREAMS:
                    raise _unpacks_to_too_much()
            _refuse_active(pdf.trailer, 0)
            _refuse_unread(pdf.get_warnings())
    except pikepdf.PasswordError as error:
        raise encrypted from error
    except (pikepdf.PdfError, ValueError, RecursionError) as error:
        raise Deceptive("document_is_whole", _("The PDF is damaged; print or scan it anew.")) from error


def _refuse_unread(warnings: list[Any]) -> None:
    """The library goes on without what it could not read, also for want of memory; others may be able to read it."""
    told = [str(each) for each in warnings]
    if any("bad_alloc" in each for each in told):
        raise MemoryError
    if any(words in each for each in told for words in ("treating object as null", "error decoding")):
        raise ValueError


def _refuse_active(found: Any, depth: int) -> None:
    import pikepdf

    active = Deceptive(
        "document_has_no_active_content",
        _("The PDF holds scripts, attached files or actions; print it to a new PDF and hand in that."),
    )
    if depth > MOST_DEPTH:
        raise active
    if isinstance(found, pikepdf.Array):
        children = list(found.as_list())
    elif isinstance(found, pikepdf.Dictionary | pikepdf.Stream):
        entries = dict(found.stream_dict.items() if isinstance(found, pikepdf.Stream) else found.items())
        names = {key: str(value) for key, value in entries.items() if isinstance(value, pikepdf.Name)}
        if entries.keys() & ACTIVE_KEYS or {names.get("/Type"), names.get("/Subtype")} & ACTIVE_TYPES:
            raise active
        action = names.get("/S")
        # Without a type, /S may also be the kind of a structure element or of a style.
        if action in ACTIVE_ACTIONS or (names.get("/Type") == "/Action" and action not in HARMLESS_ACTIONS):
            raise active
        children = list(entries.values())
    else:
        return
    for child in children:
        if isinstance(child, pikepdf.Object) and not child.is_indirect:
            _refuse_active(child, depth + 1)


def _unpacked_size(stream: Any) -> int:
    """How many bytes the stream's outermost packing holds, counted and thrown away; nothing is kept of them.

    A stream that is packed twice is refused: no program that makes papers writes one, and only
    so do a few bytes become more than a thousand times as many.
    """
    import pikepdf

    named = stream.stream_dict.get("/Filter")
    filters = [str(each) for each in (named.as_list() if isinstance(named, pikepdf.Array) else [named])]
    packings = [each for each in filters if each in PACKINGS]
    if len(packings) > 1:
        raise _unpacks_to_too_much()
    raw = stream.read_raw_bytes()
    if filters[0] not in ("/FlateDecode", "/Fl"):
        return len(raw)
    size, unpacker = 0, zlib.decompressobj()
    try:
        while raw and not unpacker.eof:
            size += len(unpacker.decompress(raw, PIECE))
            raw = unpacker.unconsumed_tail
            if size > LARGEST_STREAM:
                raise _unpacks_to_too_much()
    except zlib.error:
        # Readers show what came before the damage; so much was counted.
        return size
    return size


def _unpacks_to_too_much() -> Deceptive:
    return Deceptive(
        "pdf_unpacks_to_a_papers_size",
        _("The PDF unpacks to far more than a paper takes. Print it to a new PDF, or scan the paper."),
    )
