"""Files that people hand in: told by their content, refused where they could deceive or act.

What is kept is a picture, a PDF without anything that runs, or a table for the
import. Neither the name nor what the browser says about the type is believed.
"""

from __future__ import annotations

import io
import unicodedata
import zipfile
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePosixPath
from typing import Any

import pikepdf
from django.utils.translation import gettext as _
from PIL import Image

from registry.database.errors import Problem, RecordRefused
from registry.evidence.models import Document
from registry.evidence.services import LARGEST_DOCUMENT, attach_document
from registry.language.plain_text import code_point, hidden_character
from registry.people.models import Account

PDF, PNG, JPEG, HEIC = "application/pdf", "image/png", "image/jpeg", "image/heic"
CSV, XLSX = "text/csv", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
SCANS = frozenset({PDF, PNG, JPEG, HEIC})
TABLES = frozenset({CSV, XLSX})
LARGEST_TABLE = 5 * 1024 * 1024
LONGEST_NAME = 200

EXTENSIONS = {
    PDF: (".pdf",),
    PNG: (".png",),
    JPEG: (".jpg", ".jpeg"),
    HEIC: (".heic", ".heif"),
    CSV: (".csv", ".txt", ".tsv"),
    XLSX: (".xlsx",),
}
# What a double click would run or a browser would open as a page, wherever it stands in the name.
# fmt: off
DECEPTIVE_EXTENSIONS = frozenset({
    "app", "apk", "bat", "bin", "chm", "cmd", "com", "cpl", "desktop", "dll", "docm", "dmg", "exe", "gadget", "hta",
    "htm", "html", "iso", "jar", "js", "jse", "lnk", "mht", "mhtml", "msc", "msi", "msp", "php", "pif", "pl",
    "pptm", "ps1", "py", "rb", "reg", "scr", "sh", "shtml", "svg", "svgz", "swf", "url", "vb", "vbe", "vbs", "wasm",
    "wsf", "wsh", "xht", "xhtml", "xlsm", "xml",
})
# fmt: on
MARKUP = (b"<script", b"<html", b"<!doctype", b"<svg", b"<iframe")
# ISO/IEC 23008-12, annex B: the brands of files whose pictures are HEVC-coded or of any coding.
HEIC_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})
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


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that was found harmless: cleaned name, media type as recognised, content."""

    name: str
    media_type: str
    content: bytes


def inspect_upload(
    *, name: str, content: bytes, accept: Collection[str] = SCANS, field: str = "document", largest: int | None = None
) -> Upload:
    """Recognise a file and refuse what could deceive or act.

    ``accept`` holds media types, ``largest`` is in bytes. Raises
    :class:`RecordRefused` with one problem of ``field``.
    """

    def refused(rule: str, message: str) -> RecordRefused:
        return RecordRefused([Problem(field, rule, message)])

    most = largest or (LARGEST_TABLE if set(accept) <= TABLES else LARGEST_DOCUMENT)
    if not content:
        raise refused("document_has_content", _("The file is empty."))
    if len(content) > most:
        sentence = _("The file is larger than %(most)s MB.") % {"most": most // (1024 * 1024)}
        raise refused("document_is_not_too_large", sentence)
    media_type = recognise(content)
    if media_type is None or media_type not in accept:
        wanted = _("a CSV or XLSX table") if set(accept) <= TABLES else _("a PDF, PNG, JPEG or HEIC file")
        sentence = _("This is not %(wanted)s; the content tells, not the name.") % {"wanted": wanted}
        raise refused("document_is_of_an_accepted_type", sentence)
    try:
        cleaned = clean_name(name, media_type)
        _refuse_part(content, media_type)
        if media_type != CSV:
            _refuse_second_nature(content, media_type)
        if media_type == PDF:
            _refuse_active_pdf(content)
    except _Deceptive as found:
        raise refused(found.rule, found.message) from found
    return Upload(cleaned, media_type, content)


def keep_upload(*, upload: Upload, recorded_at: datetime, recorded_by: Account | None) -> Document:
    """Keep an inspected file."""
    return attach_document(
        name=upload.name,
        media_type=upload.media_type,
        content=upload.content,
        recorded_at=recorded_at,
        recorded_by=recorded_by,
    )


def recognise(content: bytes) -> str | None:
    """The media type that the content shows, or ``None``."""
    if content.startswith(b"%PDF-"):
        return PDF
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return PNG
    if content.startswith(b"\xff\xd8\xff"):
        return JPEG
    if content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS:
        return HEIC
    if content.startswith(b"PK\x03\x04"):
        return XLSX if _is_workbook(content) else None
    return CSV if _is_text(content) else None


def _is_workbook(content: bytes) -> bool:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            names = set(archive.namelist())
    except zipfile.BadZipFile:
        return False
    # A workbook with macros has a part of its own for them.
    return "xl/workbook.xml" in names and not any(each.lower().endswith("vbaproject.bin") for each in names)


def _is_text(content: bytes) -> bool:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return True
    start = content[:4096]
    if b"\0" in start or start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        return False
    # The reader of tables asks for the encoding; here it need only not be a program or a picture.
    return not any(byte < 9 or 13 < byte < 32 for byte in start)


def clean_name(name: str, media_type: str) -> str:
    """The name to keep: composed, without doubled spaces, with the extension of what the file is.

    Raises :class:`RecordRefused` through :func:`inspect_upload` for a name that
    hides what it names.
    """
    written = unicodedata.normalize("NFC", name)
    if hidden := hidden_character(written):
        sentence = _("The file's name holds the hidden character %(character)s; give the file a plain name.")
        raise _Deceptive("document_name_is_plain", sentence % {"character": code_point(hidden)})
    if "/" in written or "\\" in written or written.strip().startswith("."):
        raise _Deceptive("document_name_is_plain", _("The file's name holds a path; give it a plain name."))
    parts = [each.strip().casefold() for each in written.split(".")]
    if any(each in DECEPTIVE_EXTENSIONS for each in parts[1:]):
        raise _Deceptive(
            "document_name_does_not_deceive", _("The file's name is that of a program or a page; give it a plain name.")
        )
    path = PurePosixPath(" ".join(written.split()) or _("document"))
    known = {extension for extensions in EXTENSIONS.values() for extension in extensions}
    suffix = path.suffix.casefold()
    stem = path.stem if suffix in known else path.name
    extension = suffix if suffix in EXTENSIONS[media_type] else EXTENSIONS[media_type][0]
    return stem[: LONGEST_NAME - len(extension)].rstrip(". ") + extension


class _Deceptive(Exception):
    def __init__(self, rule: str, message: str) -> None:
        super().__init__(message)
        self.rule = rule
        self.message = message


def _refuse_second_nature(content: bytes, media_type: str) -> None:
    """Refuse a file that is also something else: a page, an archive, or has more behind its end."""
    two = _("The file is two things at once: there is more in it than the picture or document. Save it anew.")
    rule = "document_is_one_thing"
    if media_type != XLSX:
        if zipfile.is_zipfile(io.BytesIO(content)):
            raise _Deceptive(rule, two)
        # In a PDF such words may be text on a page; there the start and what follows the end are looked at.
        looked_at = (content[:1024] + content[content.rfind(b"%%EOF") :]) if media_type == PDF else content
        lowered = looked_at.lower()
        if any(each in lowered for each in MARKUP):
            raise _Deceptive(rule, two)
    # IEND, its length before and its checksum behind, close a PNG (ISO/IEC 15948, 11.2.5).
    if media_type == PNG and len(content) != content.rfind(b"IEND") + 8:
        raise _Deceptive(rule, two)
    if media_type == PDF and content[content.rfind(b"%%EOF") + 5 :].strip(b"\0\r\n\t "):
        raise _Deceptive(rule, two)


def _refuse_part(content: bytes, media_type: str) -> None:
    """Refuse a file whose end did not arrive."""
    whole = True
    if media_type == PNG:
        whole = b"IEND" in content
    elif media_type == PDF:
        whole = b"%%EOF" in content
    elif media_type == JPEG:
        try:
            with Image.open(io.BytesIO(content), formats=["JPEG"]) as picture:
                # Small and grey is enough to have read all of it.
                picture.draft("L", (1, 1))
                picture.load()
        except (OSError, SyntaxError, Image.DecompressionBombError):
            whole = False
    if not whole:
        raise _Deceptive("document_is_whole", _("The file is incomplete or damaged; save it anew and send it again."))


def _refuse_active_pdf(content: bytes) -> None:
    try:
        with pikepdf.open(io.BytesIO(content)) as pdf:
            if pdf.is_encrypted:
                raise _Deceptive(
                    "document_is_not_encrypted", _("The PDF is encrypted; save it without a password or restrictions.")
                )
            # Every indirect object once; what lies directly within them by descent.
            for each in pdf.objects:
                _refuse_active(each, 0)
            _refuse_active(pdf.trailer, 0)
    except pikepdf.PasswordError as error:
        raise _Deceptive(
            "document_is_not_encrypted", _("The PDF is encrypted; save it without a password or restrictions.")
        ) from error
    except (pikepdf.PdfError, ValueError, RecursionError) as error:
        raise _Deceptive("document_is_whole", _("The PDF is damaged; print or scan it anew.")) from error


def _refuse_active(found: Any, depth: int) -> None:
    active = _Deceptive(
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
