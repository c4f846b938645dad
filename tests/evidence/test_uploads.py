"""Files that are handed in: what is recognised, what is refused, what they are called afterwards."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable

import pikepdf
import pytest
from openpyxl import Workbook
from PIL import Image

from registry.database.errors import RecordRefused
from registry.evidence.uploads import CSV, HEIC, JPEG, PDF, PNG, SCANS, TABLES, XLSX, inspect_upload


def picture(kind: str) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(file, kind)
    return file.getvalue()


def pdf(change: Callable[[pikepdf.Pdf], None] | None = None, **save: object) -> bytes:
    made = pikepdf.new()
    made.add_blank_page()
    if change is not None:
        change(made)
    file = io.BytesIO()
    made.save(file, **save)  # type: ignore[arg-type]
    return file.getvalue()


def workbook(*parts: str) -> bytes:
    book = Workbook()
    book.create_sheet("People").append(["Worker"])
    file = io.BytesIO()
    book.save(file)
    with zipfile.ZipFile(file, "a") as archive:
        for each in parts:
            archive.writestr(each, b"x")
    return file.getvalue()


# ISO/IEC 23008-12 (HEIF): a file type box whose major brand is heic.
HEIC_START = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + b"\x00" * 64


def rule(name: str, content: bytes, accept: frozenset[str] = SCANS) -> str:
    with pytest.raises(RecordRefused) as refused:
        inspect_upload(name=name, content=content, accept=accept)
    (problem,) = refused.value.problems
    assert problem.field == "document"
    assert problem.message
    return problem.rule


@pytest.mark.parametrize(
    ("content", "media_type"),
    [(pdf(), PDF), (picture("PNG"), PNG), (picture("JPEG"), JPEG), (HEIC_START, HEIC)],
)
def test_scans_are_told_by_their_content_whatever_they_are_called(content: bytes, media_type: str) -> None:
    upload = inspect_upload(name="paper", content=content)
    assert upload.media_type == media_type
    assert upload.content == content


@pytest.mark.parametrize(
    ("content", "media_type"),
    [(b"Worker,Date\nA,2026-01-01\n", CSV), ("Prénom;Nom\n".encode("cp1252"), CSV), (workbook(), XLSX)],
)
def test_tables_are_recognised(content: bytes, media_type: str) -> None:
    assert inspect_upload(name="t", content=content, accept=TABLES).media_type == media_type


@pytest.mark.parametrize(
    "content",
    [
        b"MZ\x90\x00 a program",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"<!doctype html><script>alert(1)</script>",
        b"just words",
        b"GIF89a" + b"\0" * 20,
        b"junk first\n" + pdf(),
        workbook(),
    ],
)
def test_what_is_no_scan_is_refused_under_a_scans_name(content: bytes) -> None:
    assert rule("scan.pdf", content) == "document_is_of_an_accepted_type"


@pytest.mark.parametrize(
    "content",
    [pdf(), picture("PNG"), b"<table><tr><td>x</td></tr></table>", workbook("xl/vbaProject.bin"), b"PK\x03\x04"],
)
def test_what_is_no_table_is_refused_under_a_tables_name(content: bytes) -> None:
    assert rule("table.csv", content, TABLES) == "document_is_of_an_accepted_type"


def test_empty_and_too_large_files_are_refused() -> None:
    assert rule("a.png", b"") == "document_has_content"
    assert rule("a.png", b"\x89PNG\r\n\x1a\n" + b"\0" * (20 * 1024 * 1024)) == "document_is_not_too_large"
    assert rule("a.csv", b"a,b\n" * 1_400_000, TABLES) == "document_is_not_too_large"


def _script(made: pikepdf.Pdf) -> None:
    made.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS=pikepdf.String("app.alert(1)"))


def _launch(made: pikepdf.Pdf) -> None:
    made.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.Launch, F=pikepdf.String("cmd.exe"))


def _attachment(made: pikepdf.Pdf) -> None:
    made.attachments["run.exe"] = b"MZ"


def _script_on_page(made: pikepdf.Pdf) -> None:
    action = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS=pikepdf.String("x"))
    made.pages[0].obj.Annots = pikepdf.Array(
        [pikepdf.Dictionary(Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.Link, Rect=[0, 0, 9, 9], A=action)]
    )


def _page_action(made: pikepdf.Pdf) -> None:
    made.pages[0].obj.AA = pikepdf.Dictionary(O=pikepdf.Dictionary(S=pikepdf.Name.GoTo, D=pikepdf.Array([0])))


def _sends_a_form(made: pikepdf.Pdf) -> None:
    made.Root.OpenAction = made.make_indirect(
        pikepdf.Dictionary(S=pikepdf.Name.SubmitForm, F=pikepdf.String("http://x"))
    )


def _unknown_action(made: pikepdf.Pdf) -> None:
    made.Root.OpenAction = pikepdf.Dictionary(Type=pikepdf.Name.Action, S=pikepdf.Name("/Unheard"))


@pytest.mark.parametrize(
    "change", [_script, _launch, _attachment, _script_on_page, _page_action, _sends_a_form, _unknown_action]
)
@pytest.mark.parametrize("packed", [True, False], ids=["object streams", "plain"])
def test_a_pdf_that_acts_is_refused(change: Callable[[pikepdf.Pdf], None], packed: bool) -> None:
    mode = pikepdf.ObjectStreamMode.generate if packed else pikepdf.ObjectStreamMode.disable
    content = pdf(change, object_stream_mode=mode)
    assert rule("letter.pdf", content) == "document_has_no_active_content"


def test_a_pdf_that_opens_at_a_page_or_links_to_an_address_is_kept() -> None:
    def harmless(made: pikepdf.Pdf) -> None:
        made.Root.OpenAction = pikepdf.Array([made.pages[0].obj, pikepdf.Name.Fit])
        link = pikepdf.Dictionary(S=pikepdf.Name.URI, URI=pikepdf.String("https://example.org"))
        made.pages[0].obj.Annots = pikepdf.Array(
            [pikepdf.Dictionary(Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.Link, Rect=[0, 0, 9, 9], A=link)]
        )

    assert inspect_upload(name="letter.pdf", content=pdf(harmless)).media_type == PDF


@pytest.mark.parametrize("password", ["", "secret"])
def test_an_encrypted_pdf_is_refused_with_a_sentence(password: str) -> None:
    content = pdf(encryption=pikepdf.Encryption(owner="o", user=password))
    assert rule("letter.pdf", content) == "document_is_not_encrypted"


def test_a_damaged_pdf_is_refused() -> None:
    assert rule("letter.pdf", b"%PDF-1.7\nnothing of a document\n%%EOF\n") == "document_is_whole"


def _zip() -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("a.txt", "a")
    return file.getvalue()


@pytest.mark.parametrize("scan", [pdf(), picture("PNG"), picture("JPEG")], ids=["pdf", "png", "jpeg"])
@pytest.mark.parametrize("tail", [_zip(), b"<html><script>alert(1)</script></html>"], ids=["zip", "html"])
def test_a_file_that_is_two_things_at_once_is_refused(scan: bytes, tail: bytes) -> None:
    assert rule("scan", scan + tail) == "document_is_one_thing"


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("letter.pdf.exe", "document_name_does_not_deceive"),
        ("letter.exe.pdf", "document_name_does_not_deceive"),
        ("page.html", "document_name_does_not_deceive"),
        ("letter.EXE .pdf", "document_name_does_not_deceive"),
        ("invoice\u202efdp.exe", "document_name_is_plain"),
        ("a\u2066b.pdf", "document_name_is_plain"),
        ("a\x00b.pdf", "document_name_is_plain"),
        ("a\nb.pdf", "document_name_is_plain"),
        ("../../etc/letter.pdf", "document_name_holds_no_path"),
        ("C:\\letter.pdf", "document_name_holds_no_path"),
        (".hidden.pdf", "document_name_holds_no_path"),
    ],
)
def test_names_made_to_trick_are_refused(name: str, why: str) -> None:
    assert rule(name, pdf()) == why


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("letter.pdf", "letter.pdf"),
        ("Letter.PDF", "Letter.pdf"),
        ("  two   spaces .pdf", "two spaces.pdf"),
        ("photo.png", "photo.pdf"),
        ("Scan 12.03.2026", "Scan 12.03.2026.pdf"),
        ("", "document.pdf"),
        ("e\u0301tat.pdf", "\u00e9tat.pdf"),
        ("n" * 300 + ".pdf", "n" * 196 + ".pdf"),
    ],
)
def test_other_names_are_kept_clean_with_the_extension_of_what_the_file_is(name: str, kept: str) -> None:
    assert inspect_upload(name=name, content=pdf()).name == kept


@pytest.mark.parametrize("scan", [pdf(), picture("PNG"), picture("JPEG")], ids=["pdf", "png", "jpeg"])
def test_a_file_of_which_the_end_did_not_arrive_is_refused(scan: bytes) -> None:
    assert rule("scan", scan[: len(scan) * 2 // 3]) == "document_is_whole"
