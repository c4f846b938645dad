"""Files of every sort: what can be read is read alike, what cannot is refused in a sentence."""

from __future__ import annotations

import csv
import io
import tracemalloc
import zipfile
from datetime import date, datetime, time, timedelta
from pathlib import Path
from time import process_time
from typing import Any

import pytest

from registry.evidence.apart.tables import Unreadable, open_table
from registry.evidence.importing import FileRefused
from registry.evidence.importing.columns import folded
from registry.evidence.importing.kinds import KINDS
from registry.evidence.importing.reading import opened
from registry.evidence.models import HoursEntry
from tests.evidence.importing.conftest import Yard
from tests.evidence.importing.tables import as_csv, as_xlsx

SAMPLES = Path(__file__).resolve().parents[3] / "fixtures" / "imports"


def values(content: bytes, **options: Any) -> list[list[Any]]:
    with open_table(io.BytesIO(content), **options) as table:
        return [table.header.values, *(row.values for row in table.rows)]


def refused(content: bytes, **options: Any) -> FileRefused:
    with pytest.raises(FileRefused) as caught:
        values(content, **options)
    return caught.value


AWKWARD = [{"a": 'say "so"', "b": "two\r\nlines"}, {"a": "semi;colon, comma", "b": "tab\tand é"}]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_csv_reads_what_another_writer_wrote(delimiter: str, encoding: str) -> None:
    content = as_csv(AWKWARD, delimiter=delimiter, encoding=encoding)
    assert values(content) == [["a", "b"], *(list(row.values()) for row in AWKWARD)]


@pytest.mark.parametrize("ends", ["\r\n", "\n", "\r"])
def test_csv_lines_end_as_they_may(ends: str) -> None:
    content = ends.join(["a,b", "1,2", "", '"3",4']).encode()
    with open_table(io.BytesIO(content)) as table:
        assert [(row.number, row.values) for row in table.rows] == [(2, ["1", "2"]), (4, ["3", "4"])]


def test_long_csv_is_split_at_the_same_places_as_by_another_reader() -> None:
    rows = [{"a": "é" * (number % 700), "b": f"{number}\r\nnext"} for number in range(3000)]
    content = as_csv(rows)
    assert values(content) == list(csv.reader(io.StringIO(content.decode(), newline="")))


def test_another_encoding_is_refused_by_byte_or_named() -> None:
    content = "a,b\r\nZoé,1\r\n".encode("cp1252")
    trouble = refused(content)
    assert trouble.rule == "text_is_in_a_known_encoding"
    assert "byte 7 " in trouble.message
    assert content[7] == 0xE9
    assert values(content, encoding="cp1252")[1] == ["Zoé", "1"]


def test_bad_byte_is_found_behind_many_chunks() -> None:
    content = b"a,b\n" + b"1,2\n" * 100_000 + b"\xff,2\n"
    assert f"byte {4 + 400_000} " in refused(content).message


@pytest.mark.parametrize(
    ("content", "options", "rule"),
    [
        (b"", {}, "file_has_a_header"),
        (b"\r\n\r\n", {}, "file_has_a_header"),
        (b"a,b\n1,\x00\n", {}, "file_is_text_or_xlsx"),
        (b'a,b\n1,"open\n2,3\n', {}, "csv_follows_rfc_4180"),
        (b'a,b\n"1"x,2\n', {}, "csv_follows_rfc_4180"),
        (b"a,b\n" + b"x" * 2_000_000, {}, "csv_follows_rfc_4180"),
        (b"a,b\n1,2\n", {"encoding": "klingon"}, "encoding_is_known"),
        (b"a,b\n1,2\n", {"encoding": "base64"}, "encoding_is_known"),
        (b"a,b\n1,2\n", {"encoding": "punycode"}, "encoding_is_known"),
        (b"a,b\n1,2\n", {"encoding": "undefined"}, "encoding_is_known"),
        (b"a,b\n1,\\ud800\n", {"encoding": "unicode_escape"}, "encoding_is_known"),
        (b"a,b\n1,2\n", {"encoding": "a\0b"}, "encoding_is_known"),
        (b"a,b\n1,2\n", {"encoding": "utf-16"}, "text_is_in_a_known_encoding"),
        (b"a,b\n1,2\n", {"sheet": "One"}, "only_a_workbook_has_sheets"),
        (bytes.fromhex("d0cf11e0a1b11ae1") + b"x" * 600, {}, "workbook_is_xlsx"),
        (
            bytes.fromhex("d0cf11e0a1b11ae1") + b"x" * 65_530 + "EncryptedPackage".encode("utf-16-le"),
            {},
            "workbook_is_not_locked",
        ),
        (as_xlsx([{"a": 1}])[:-200], {}, "workbook_is_whole"),
    ],
)
def test_unusable_file_is_refused(content: bytes, options: dict[str, Any], rule: str) -> None:
    assert refused(content, **options).rule == rule


def test_csv_error_names_its_line() -> None:
    assert "begins on line 3 " in refused(b'a,b\n1,2\n"3"x,4\n').message


def test_missing_file_is_refused_without_its_path(tmp_path: Path) -> None:
    with pytest.raises(FileRefused) as caught, opened(tmp_path / "none.csv"):
        pass
    assert str(tmp_path) not in caught.value.message


def test_workbook_keeps_real_dates_times_and_numbers() -> None:
    row = {"d": date(2026, 3, 4), "t": time(7, 30), "n": 8.5, "l": timedelta(hours=8, minutes=30), "s": " x "}
    (_, read) = values(as_xlsx([row]))
    assert read == [datetime(2026, 3, 4), time(7, 30), 8.5, timedelta(hours=8, minutes=30), " x "]


def test_formula_is_refused_by_address(yard: Yard) -> None:
    def change(book: Any) -> None:
        book.active["F3"] = '="15"&":00"'

    report = yard.bring_in("hours", as_xlsx([yard.hours(), yard.hours(date="2026-03-06")], change))
    (problem,) = report.problems
    assert (problem.row, problem.column, problem.header, problem.rule) == (3, "F", "end", "cell_holds_no_formula")
    assert "F3" in problem.message


def test_error_in_a_cell_is_refused_by_address(yard: Yard) -> None:
    def change(book: Any) -> None:
        book.active["B2"] = "#N/A"

    (problem,) = yard.bring_in("hours", as_xlsx([yard.hours()], change)).problems
    assert (problem.column, problem.rule) == ("B", "cell_holds_no_error")


def test_merged_cells_are_refused_by_range() -> None:
    trouble = refused(as_xlsx([{"a": 1, "b": 2}] * 3, lambda book: book.active.merge_cells("A2:A4")))
    assert trouble.rule == "cells_are_not_merged"
    assert "A2:A4" in trouble.message


def test_one_of_several_sheets_must_be_named() -> None:
    def change(book: Any) -> None:
        book.create_sheet("Notes").append(["x"])
        book.create_sheet("Old").sheet_state = "hidden"

    content = as_xlsx([{"a": 1}], change)
    trouble = refused(content)
    assert trouble.rule == "sheet_is_unambiguous"
    assert "hidden 'Old'" in trouble.message
    assert values(content, sheet="Notes") == [["x"]]
    assert refused(content, sheet="None").rule == "sheet_is_in_the_workbook"


def test_a_million_empty_rows_hide_nothing() -> None:
    def change(book: Any) -> None:
        book.active.cell(row=1_048_576, column=2, value="last")

    content = as_xlsx([{"a": 1, "b": 2}], change)
    with open_table(io.BytesIO(content)) as table:
        assert [(row.number, row.values) for row in table.rows] == [(2, [1, 2]), (1_048_576, [None, "last"])]


def test_a_million_formatted_rows_after_the_last_value_are_not_read() -> None:
    with zipfile.ZipFile(io.BytesIO(as_xlsx([{"a": 1}]))) as archive:
        sheet = archive.read(SHEET)
    empty = b"".join(b'<row r="%d"><c r="A%d" s="0"/></row>' % (row, row) for row in range(3, 1_048_577))
    content = replaced(as_xlsx([{"a": 1}]), SHEET, sheet.replace(b"</sheetData>", empty + b"</sheetData>"))
    began = process_time()
    assert values(content) == [["a"], [1]]
    assert process_time() - began < 5


SHEET = "xl/worksheets/sheet1.xml"


def replaced(content: bytes, part: str, data: bytes, packing: int = zipfile.ZIP_DEFLATED) -> bytes:
    """The workbook with one part put in place of its own."""
    written = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(written, "w", packing) as new:
        for each in old.namelist():
            new.writestr(each, data if each == part else old.read(each))
    return written.getvalue()


def test_zip_bomb_is_refused_before_it_is_unpacked() -> None:
    trouble = refused(replaced(as_xlsx([{"a": 1}]), SHEET, b" " * 50_000_000))
    assert trouble.rule == "workbook_is_not_too_large"


def sheet_of(rows: bytes, behind: bytes = b"") -> bytes:
    """A workbook whose only sheet has these rows as they are written; not packed, so that it is no bomb."""
    begins = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><dimension ref="A1"/>'
    sheet = begins + b"<sheetData>" + rows + b"</sheetData>" + behind + b"</worksheet>"
    return replaced(as_xlsx([{"a": 1}]), SHEET, sheet, zipfile.ZIP_STORED)


HEADER = b'<row r="1"><c r="A1" t="inlineStr"><is><t>a</t></is></c></row>'
LONG_TEXT = 20_000_000


def test_one_endless_cell_is_refused_at_once() -> None:
    text = b"x" * LONG_TEXT
    content = sheet_of(HEADER + b'<row r="7"><c r="A7" t="inlineStr"><is><t>' + text + b"</t></is></c></row>")
    tracemalloc.start()
    began = process_time()
    trouble = refused(content)
    took, (_now, most) = process_time() - began, tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert (trouble.rule, "Row 7 " in trouble.message) == ("workbook_is_not_too_large", True)
    assert took < 2
    assert most < LONG_TEXT / 2


@pytest.mark.parametrize(
    "rows",
    [
        b'<row r="1"><c r="A1" t="inlineStr"><is>' + b"<r><t>x</t></r>" * 200_000 + b"</is></c></row>",
        b'<row r="1">' + b'<c r="A1"/>' * 200_000 + b"</row>",
        b"<row " * 400_000,
    ],
    ids=["many runs of text", "many cells", "tags that never close"],
)
def test_an_endless_row_is_refused_however_it_is_written(rows: bytes) -> None:
    began = process_time()
    assert refused(sheet_of(rows)).rule in {"workbook_is_not_too_large", "workbook_is_whole"}
    assert process_time() - began < 2


def test_a_comment_that_hides_where_a_row_ends_is_refused() -> None:
    hidden = b'<row r="1"><c r="A1"><v>1</v></c><!-- <row r="2"> --></row>'
    assert refused(sheet_of(hidden)).rule == "workbook_is_xlsx"


def test_sheet_in_utf_16_is_refused_whose_tags_would_not_be_seen() -> None:
    sheet = '<?xml version="1.0" encoding="UTF-16"?><worksheet/>'.encode("utf-16-le")
    assert refused(replaced(as_xlsx([{"a": 1}]), SHEET, sheet)).rule == "workbook_is_xlsx"


def test_cell_holds_as_many_characters_as_the_format_allows(yard: Yard) -> None:
    assert values(as_xlsx([{"a": "é" * 32_767}]))[1] == ["é" * 32_767]
    # openpyxl cuts longer texts off: the cell is written by hand.
    row = b'<row r="2"><c r="A2" t="inlineStr"><is><t>%s</t></is></c></row>' % (b"x" * 32_768)
    (_header, (found,)) = values(sheet_of(HEADER + row))
    assert isinstance(found, Unreadable)
    assert (found.rule, found.message) == (
        "cell_is_not_too_long",
        "Cell A2 holds 32768 characters; a cell holds at most 32767.",
    )


def test_what_stands_behind_the_rows_may_be_long() -> None:
    links = b"<hyperlinks>" + b'<hyperlink ref="A1" location="B1"/>' * 40_000 + b"</hyperlinks>"
    assert values(sheet_of(HEADER, links)) == [["a"]]


def test_a_workbook_from_a_page_may_unpack_to_less() -> None:
    content = as_xlsx([{"a": number} for number in range(2000)])
    assert refused(content, largest=50_000).rule == "workbook_is_not_too_large"
    assert len(values(content)) == 2001


def test_entity_bomb_is_refused() -> None:
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">]><worksheet>&a;</worksheet>'
    assert refused(replaced(as_xlsx([{"a": 1}]), SHEET, bomb)).rule == "workbook_is_xlsx"


def test_row_number_beyond_a_sheet_is_refused() -> None:
    sheet = (
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        b'<row r="1"><c r="A1"><v>1</v></c></row><row r="999999999999"><c r="A999999999999"><v>1</v></c></row>'
        b"</sheetData></worksheet>"
    )
    assert refused(replaced(as_xlsx([{"a": 1}]), SHEET, sheet)).rule == "workbook_is_not_too_large"


def test_zip_that_is_no_workbook_is_refused() -> None:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
    assert refused(written.getvalue()).rule == "workbook_is_xlsx"


@pytest.mark.parametrize(
    ("change", "rule", "words"),
    [
        ({"Shoe size": "44"}, "columns_are_known", "'Shoe size' is unknown"),
        ({"Worker number": "W-000001"}, "columns_are_unique", "'Worker number' are both worker"),
        ({"site": None}, "columns_are_complete", "no column for site"),
        ({"end": None}, "columns_are_complete", "no column for end or duration"),
    ],
)
def test_header_is_refused(yard: Yard, change: dict[str, Any], rule: str, words: str) -> None:
    with pytest.raises(FileRefused) as caught:
        yard.bring_in("hours", as_csv([yard.hours(**change)]))
    assert caught.value.rule == rule
    assert words in caught.value.message
    assert "Row 1, the header" in caught.value.message


def test_columns_can_be_mapped_and_ignored(yard: Yard) -> None:
    row = yard.hours(worker=None) | {"Kranführer": yard.erector.number, "Shoe size": "44"}
    report = yard.bring_in("hours", as_csv([row]), columns={"KRANFÜHRER": "worker"}, ignore_unknown_columns=True)
    assert report.new == 1
    with pytest.raises(FileRefused, match="no column 'Boss'"):
        yard.bring_in("hours", as_csv([yard.hours()]), columns={"Boss": "countersigner"})
    with pytest.raises(FileRefused, match="'boss' is no field"):
        yard.bring_in("hours", as_csv([yard.hours()]), columns={"worker": "boss"})


@pytest.mark.parametrize("kind", KINDS)
def test_no_header_means_two_fields(kind: str) -> None:
    spellings = [
        folded(each) for field in KINDS[kind].fields for each in {folded(s) for s in (field.name, *field.spellings)}
    ]
    assert len(spellings) == len(set(spellings))


@pytest.mark.parametrize("kind", KINDS)
def test_the_guide_teaches_every_field(kind: str) -> None:
    guide = (SAMPLES / "README.md").read_text(encoding="utf-8")
    (_, after) = guide.split(f"### {kind}\n")
    section = after.split("###")[0]
    for field in KINDS[kind].fields:
        taught = f"**{field.name}**" if field.compulsory else field.name
        assert taught in section, field.name


def test_filled_cells_need_a_header(yard: Yard) -> None:
    report = yard.bring_in("hours", as_csv([yard.hours() | {"": "remark"}]))
    assert [(each.column, each.rule) for each in report.problems] == [("J", "filled_cell_has_a_header")]


def test_french_headers_and_values(yard: Yard) -> None:
    row = {
        "Travailleur": "LIND Zoe",
        "Né le": "17/05/1990",
        "Modèle de grue": "orlo t-120",
        "Chantier": "harbour yard",
        "Jour": "4 août 2026",
        "Début": "7h30",
        "Durée": "8,5",
        "Opération": "Démontage",
        "Fonction": "Monteur",
    }
    report = yard.bring_in("hours", as_csv([row], delimiter=";"))
    assert report.problems == []
    entry = HoursEntry.objects.get()
    assert (entry.operation, entry.capacity) == ("dismantling", "erector")
    assert entry.end - entry.start == timedelta(hours=8, minutes=30)
