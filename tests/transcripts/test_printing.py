from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import pytest
import weasyprint
from weasyprint.urls import FatalURLFetchingError

from registry.engine.render import CAUTION
from registry.transcripts.check import Check
from registry.transcripts.long_table import Column, Group, LongTable, Row
from registry.transcripts.printing import Attachment, NothingIsFetched, render
from registry.transcripts.transcript import Employed, StoodDown, Transcript
from registry.transcripts.transcript_document import print_transcript
from tests.transcripts.lives import forty_years
from tests.transcripts.reading import elements, kinds, opened, outside_margins, text_of

AT = datetime(2026, 2, 3, 4, 5, 6, tzinfo=UTC)
ENTRIES = 120


@pytest.fixture(scope="module")
def life() -> Transcript:
    return forty_years(ENTRIES)


@pytest.fixture(scope="module")
def printed(life: Transcript) -> bytes:
    return print_transcript(life, printed_at=AT, check=Check("https://register.invalid/", "9QXKT4M2", "log\n12\nab="))


def test_it_says_that_it_is_pdf_ua_1(printed: bytes) -> None:
    with opened(printed).open_metadata() as metadata:
        assert metadata["pdfuaid:part"] == "1"
        assert metadata["dc:title"] == "Training transcript: Halvard Aasgaard, W-004711"
        assert metadata["xmp:CreateDate"] == "2026-02-03T04:05:06Z"


def test_it_is_tagged_and_shows_its_title_and_language(printed: bytes) -> None:
    pdf = opened(printed)
    root = pdf.Root
    assert root.MarkInfo.Marked
    assert root.ViewerPreferences.DisplayDocTitle
    assert str(root.Lang) == "en"
    assert "/StructTreeRoot" in root


def test_headings_start_at_one_and_skip_no_level(printed: bytes) -> None:
    pdf = opened(printed)
    levels = [int(str(each.S)[2:]) for each in elements(pdf) if re.fullmatch(r"/H\d", str(each.S))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_every_header_cell_says_what_it_heads(printed: bytes) -> None:
    pdf = opened(printed)
    headers = [each for each in elements(pdf) if each.S == "/TH"]
    below = {str(each.P.P.S): str(each.A.Scope) for each in headers}
    assert below == {"/THead": "/Column", "/TBody": "/Row", "/Table": "/Column"}


def test_pictures_have_words(printed: bytes) -> None:
    pdf = opened(printed)
    words = [str(each.get("/Alt", "")) for each in elements(pdf) if each.S == "/Figure"]
    assert any("https://register.invalid/check/9QXKT4M2" in each for each in words)
    assert any(each.startswith("Hours a year by crane model, 1984 to 2023. Brandvold") for each in words)
    assert "" not in words


def test_each_entry_is_a_row_of_cells_below_a_row_of_headers(printed: bytes, life: Transcript) -> None:
    pdf = opened(printed)
    years = {each.year for each in life.hours}
    tables = [each for each in elements(pdf) if each.S == "/Table" and each.P.S == "/Sect"]
    long = [each for each in tables if all(row.S == "/TR" for row in each.K)]
    assert len(long) == len(years)
    assert all({str(cell.S) for cell in table.K[0].K} == {"/TH"} for table in long)
    rows = [row for table in long for row in list(table.K)[1:]]
    assert len(rows) == ENTRIES
    assert {tuple(str(cell.S) for cell in row.K) for row in rows} == {("/TD",) * 7}


def test_marked_content_and_structure_point_at_each_other(printed: bytes) -> None:
    pdf = opened(printed)
    numbers = list(pdf.Root.StructTreeRoot.ParentTree.Nums)
    parents = {int(key): value for key, value in zip(numbers[::2], numbers[1::2], strict=True)}
    pages = {page.obj.objgen: page.obj for page in pdf.pages}
    checked = 0
    for element in elements(pdf):
        for kid in element.get("/K", []):
            if isinstance(kid, int):
                page = pages[element.Pg.objgen]
                assert parents[int(page.StructParents)][kid].objgen == element.objgen
                checked += 1
    assert checked > ENTRIES * 7


def test_all_marked_content_of_a_page_is_numbered_once(printed: bytes) -> None:
    pdf = opened(printed)
    for page in pdf.pages:
        marks = [int(each) for each in re.findall(rb"/MCID (\d+)", page.Contents.read_bytes())]
        assert marks == list(range(len(marks)))


def test_pages_are_counted_and_each_carries_the_caution(printed: bytes) -> None:
    pages = text_of(printed)
    for number, text in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in text
        assert CAUTION in text


def test_footer_and_title_say_names_as_they_are(life: Transcript) -> None:
    made = print_transcript(replace(life, given_name='A "quoted" & <b>bold</b>', hours=()), printed_at=AT)
    assert 'A "quoted" & <b>bold</b> Aasgaard · Page 1 of' in text_of(made)[0]
    assert 'A "quoted" & <b>bold</b> Aasgaard' in str(opened(made).docinfo["/Title"])


def test_what_runs_on_every_page_is_not_read_out(printed: bytes) -> None:
    pdf = opened(printed)
    footers = [page.Contents.read_bytes().count(b"/Subtype /Footer") for page in pdf.pages]
    assert footers == [1] * len(pdf.pages)


@pytest.mark.parametrize(("paper", "width", "height"), [("A4", 595.28, 841.89), ("Letter", 612.0, 792.0)])
def test_both_papers_are_laid_out_for_themselves(life: Transcript, paper: str, width: float, height: float) -> None:
    made = print_transcript(life, printed_at=AT, paper=paper)
    pdf = opened(made)
    boxes = {tuple(round(float(each), 2) for each in page.MediaBox) for page in pdf.pages}
    assert boxes == {(0.0, 0.0, width, height)}
    # 17 mm are 48.19 points; letters may lean out by less than a point.
    assert outside_margins(made, 47.2) == []


def test_same_input_gives_same_bytes(life: Transcript) -> None:
    again = forty_years(ENTRIES)
    assert print_transcript(life, printed_at=AT) == print_transcript(again, printed_at=AT)


def test_french_has_its_own_dates_numbers_and_language(life: Transcript) -> None:
    made = print_transcript(life, printed_at=AT, language="fr")
    assert str(opened(made).Root.Lang) == "fr"
    first = text_of(made)[0]
    assert "29 février 1964" in first
    assert "3 février 2026, 04:05" in first


def test_a_long_table_breaks_long_words_and_loses_no_letter() -> None:
    name = "Æbleskivefabrikken" * 12
    table = LongTable((Column("One", 1), Column("Two", 3)), [Group("Group", "", [Row(((name,), ("x",)))])], "continued")
    made = render(template="base.html", context={}, language="en", created_at=AT, long_table=table)
    assert name in "".join(text_of(made)[-1].split())
    assert outside_margins(made, 47.2) == []


def test_a_group_goes_on_under_its_heading_said_again() -> None:
    rows = [Row(((f"row {number}",),)) for number in range(200)]
    table = LongTable((Column("Row", 1),), [Group("1999", "1999: 200 rows", rows)], "continued")
    made = render(template="base.html", context={}, language="en", created_at=AT, long_table=table)
    pages = text_of(made)
    assert "1999: 200 rows" in pages[1]
    assert "1999, continued Row" in pages[2]
    # What is said again is no second heading to screen readers.
    assert kinds(opened(made))["/H3"] == 1
    assert [each for page in pages for each in re.findall(r"row (\d+)", page)] == [str(each) for each in range(200)]


def test_struck_rows_are_crossed_out_but_not_in_their_last_cell(life: Transcript) -> None:
    struck = [each for each in life.hours if not each.current]
    assert len(struck) == 3
    pages = text_of(print_transcript(life, printed_at=AT))
    words = " ".join(pages)
    for each in struck:
        assert each.superseded_by is not None
        assert f"SUPERSEDED by no. {each.superseded_by.partition(':')[2]}" in words
    # The word at the left is crossed out, the one at the right is not.
    assert lines_drawn(made_with(struck=True)) == lines_drawn(made_with(struck=False)) + 1


def lines_drawn(made: bytes) -> int:
    pdf = opened(made)
    return sum(page.Contents.read_bytes().count(b" l S") for page in pdf.pages)


def made_with(*, struck: bool) -> bytes:
    row = Row((("left",), ("right",)), struck=struck)
    table = LongTable((Column("One", 1), Column("Two", 1)), [Group("Group", "", [row])], "continued")
    return render(template="base.html", context={}, language="en", created_at=AT, long_table=table)


@pytest.mark.parametrize(
    "name",
    ["Łukasz Žižka-Nguyễn", "Ελένη Παπαδοπούλου", "Юрій Їжак", "יעל בן־דוד", "سلمى الحداد", "陳大文", "अनिल", "🏗 Ada"],
)
def test_names_in_any_script_print_and_keep_their_letters(life: Transcript, name: str) -> None:
    one = replace(life.hours[0], site=name)
    made = print_transcript(replace(life, given_name=name, hours=(one,)), printed_at=AT)
    pdf = opened(made)
    assert name.encode() in pdf.attachments["transcript.json"].get_file().read_bytes()
    assert name in str(pdf.docinfo["/Title"])
    # Words stay whole; those of a script from right to left may be found in the other order.
    assert all(word in text_of(made)[0] for word in re.split(r"[ \N{HEBREW PUNCTUATION MAQAF}]", name))
    assert all(word in text_of(made)[-1] for word in re.split(r"[ \N{HEBREW PUNCTUATION MAQAF}]", name))


def test_attached_file_has_its_type_and_relationship() -> None:
    given = Attachment("data.csv", "text/csv", b"a,b\n", "figures", "Supplement")
    pdf = opened(render(template="base.html", context={}, language="en", created_at=AT, attachments=[given]))
    file = pdf.attachments["data.csv"].get_file()
    assert (file.read_bytes(), file.mime_type) == (b"a,b\n", "text/csv")
    [related] = pdf.Root.AF
    assert (str(related.UF), str(related.AFRelationship)) == ("data.csv", "/Supplement")


@pytest.mark.parametrize("address", ["https://example.invalid/x.png", "http://127.0.0.1/", "file:///etc/passwd"])
def test_nothing_is_fetched(address: str) -> None:
    with pytest.raises(FatalURLFetchingError):
        weasyprint.HTML(string=f'<img src="{address}" alt="">', url_fetcher=NothingIsFetched()).write_pdf()


def test_unknown_paper_and_language_are_refused() -> None:
    with pytest.raises(ValueError, match="A4, Letter"):
        render(template="base.html", context={}, language="en", created_at=AT, paper="A3")
    with pytest.raises(ValueError, match="languages"):
        render(template="base.html", context={}, language="xx", created_at=AT)


def rows_by_page(count: int) -> list[int]:
    rows = [Row(((f"row {number}",),)) for number in range(count)]
    table = LongTable((Column("Row", 1),), [Group("1999", "1999", rows)], "continued")
    made = render(template="base.html", context={}, language="en", created_at=AT, long_table=table)
    return [len(re.findall(r"row \d+", page)) for page in text_of(made)]


def test_the_last_row_of_a_long_table_is_not_alone_on_its_page() -> None:
    _text, on_a_page, *_more = rows_by_page(200)
    assert rows_by_page(on_a_page + 1) == [0, on_a_page - 1, 2]


def test_a_short_table_stands_below_the_text_before_it(life: Transcript) -> None:
    for paper in ("A4", "Letter"):
        made = print_transcript(replace(life, hours=life.hours[:1]), printed_at=AT, paper=paper)
        last = text_of(made)[-1]
        assert "Every entry follows" in last
        assert life.hours[0].site in last
        assert last.index("How recorded") < last.index(life.hours[0].site)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_neither_the_caution_nor_a_heading_stands_alone_on_a_page(life: Transcript, paper: str) -> None:
    kept: dict[str, Any] = dict.fromkeys(("supersedes", "superseded_by", "superseded_at", "withdrawn_at"))
    bar = StoodDown(
        record="stand_down:1",
        recorded_at=AT,
        start=AT,
        role=None,
        maker=None,
        model=None,
        only_at=None,
        suspensions=(),
        reason="Walked under the load, and once more. " * 160,
        retraining=(),
        passed_after=(),
        **kept,
    )
    job = Employed(
        record="employment:1", recorded_at=AT, employer="Starnholt Tower Works", start=AT.date(), end=None, **kept
    )
    for count in range(20, 50, 2):
        one = replace(life, hours=(), stand_downs=(bar,), employments=(job,) * count)
        for page in text_of(print_transcript(one, printed_at=AT, paper=paper)):
            text = page.split(" The registry checks documents; it does not make a lift safe.")[0]
            assert not text.startswith("Caution.")
            assert not text.endswith("Stand-downs")
