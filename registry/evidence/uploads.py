"""Files that people hand in: told by their content, refused where they could deceive, act or cost too much.

What is kept is a picture, a PDF without anything that runs, or a table for the
import. Neither the name nor what the browser says about the type is believed.
Here only the name, the size and the first bytes are looked at; the content is
checked in a process of its own (:mod:`registry.evidence.apart`).
"""

from __future__ import annotations

import tempfile
import unicodedata
from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import PurePosixPath

from django.utils.translation import gettext as _

from registry.database.errors import Problem, RecordRefused, broken
from registry.evidence.apart.contents import CSV, HEIC, JPEG, PDF, PNG, XLSX
from registry.evidence.apart.running import OF_A_DOCUMENT, RefusedApart, Stopped, answers, turn
from registry.evidence.models import Document
from registry.evidence.services import LARGEST_DOCUMENT, attach_document
from registry.language.plain_text import code_point, hidden_character
from registry.people.models import Account

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
# ISO/IEC 23008-12, annex B: the brands of files whose pictures are HEVC-coded or of any coding.
HEIC_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that was found harmless: cleaned name, media type as recognised, content."""

    name: str
    media_type: str
    content: bytes


def inspect_upload(
    *,
    name: str,
    content: bytes,
    owner: str = "",
    accept: Collection[str] = SCANS,
    field: str = "document",
    largest: int | None = None,
) -> Upload:
    """Recognise a file and refuse what could deceive, act or cost too much.

    ``accept`` holds media types, ``largest`` is in bytes; ``owner`` is for whom the
    file is read, who has one read at a time (:func:`owner_of`). Raises
    :class:`RecordRefused` with one problem of ``field``.
    """

    most = largest or (LARGEST_TABLE if set(accept) <= TABLES else LARGEST_DOCUMENT)
    if not content:
        raise RecordRefused([broken("document_has_content", field)])
    if len(content) > most:
        raise RecordRefused([broken("document_is_not_too_large", field, most=most // (1024 * 1024))])
    media_type = recognise(content)
    if media_type is None or media_type not in accept:
        wanted = _("a CSV or XLSX table") if set(accept) <= TABLES else _("a PDF, PNG, JPEG or HEIC file")
        raise RecordRefused([broken("document_is_of_an_accepted_type", field, wanted=wanted)])
    try:
        cleaned = clean_name(name, media_type)
        if media_type != CSV:
            _check_apart(content, media_type, owner)
    except _NameRefused as found:
        raise RecordRefused([replace(found.problem, field=field)]) from found
    except (RefusedApart, Stopped) as found:
        # The process that read the file has said why in words of its own: it knows neither Django nor the table.
        raise RecordRefused([Problem(field, found.rule, found.message)]) from found
    return Upload(cleaned, media_type, content)


def owner_of(account: Account | None) -> str:
    """For whom files are read one at a time: all accounts of an employer, else the one account."""
    if account is None:
        return ""
    return f"employer {account.employer_id}" if account.employer_id else f"account {account.pk}"


def _check_apart(content: bytes, media_type: str, owner: str) -> None:
    with tempfile.TemporaryFile() as file, turn(owner):
        file.write(content)
        for _line in answers("document", file, limits=OF_A_DOCUMENT, media_type=media_type):
            pass


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
    """The media type that the first bytes show, or ``None``. Whether a zip is a workbook shows inside of it."""
    if content.startswith(b"%PDF-"):
        return PDF
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return PNG
    if content.startswith(b"\xff\xd8\xff"):
        return JPEG
    if content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS:
        return HEIC
    if content.startswith(b"PK\x03\x04"):
        return XLSX
    return CSV if _is_text(content) else None


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
        raise _NameRefused(broken("document_name_is_plain", character=code_point(hidden)))
    if "/" in written or "\\" in written or written.strip().startswith("."):
        raise _NameRefused(broken("document_name_holds_no_path"))
    parts = [each.strip().casefold() for each in written.split(".")]
    if any(each in DECEPTIVE_EXTENSIONS for each in parts[1:]):
        raise _NameRefused(broken("document_name_does_not_deceive"))
    path = PurePosixPath(" ".join(written.split()) or _("document"))
    known = {extension for extensions in EXTENSIONS.values() for extension in extensions}
    suffix = path.suffix.casefold()
    stem = path.stem if suffix in known else path.name
    extension = suffix if suffix in EXTENSIONS[media_type] else EXTENSIONS[media_type][0]
    return stem[: LONGEST_NAME - len(extension)].rstrip(". ") + extension


class _NameRefused(Exception):
    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.message)
        self.problem = problem
