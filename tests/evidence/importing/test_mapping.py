"""Headings said to be a field or left out, signatures left out, the first rows as understood."""

from __future__ import annotations

import io

import pytest

from registry.evidence.apart.tables import Row
from registry.evidence.importing import KINDS, FileRefused, ImportOptions, ImportReport, headings_of, import_file
from registry.evidence.importing.words import TITLES
from registry.evidence.models import Countersignature, HoursEntry
from tests.evidence.importing.conftest import NOW, Yard
from tests.evidence.importing.tables import as_csv


def bring_in(
    yard: Yard, content: bytes, options: ImportOptions, *, dry_run: bool = False, preview: int = 0
) -> ImportReport:
    return import_file(
        "hours",
        io.BytesIO(content),
        employer=yard.employer,
        recorded_at=NOW,
        recorded_by=None,
        options=options,
        dry_run=dry_run,
        preview=preview,
    )


def test_every_field_of_every_kind_has_a_name_for_people() -> None:
    assert {field.name for kind in KINDS.values() for field in kind.fields} == TITLES.keys()


def test_headings_are_told_by_their_spelling_each_field_once(yard: Yard) -> None:
    header = Row(1, ["Who", "Grue", "Crane model", "Role"])
    headings = headings_of("hours", header, options=ImportOptions())
    assert [(each.column.letter, each.field) for each in headings] == [
        ("A", ""),
        ("B", "model"),
        ("C", ""),
        ("D", "capacity"),
    ]


def test_a_known_heading_can_be_left_out(yard: Yard) -> None:
    content = as_csv([{**yard.hours(), "origin": "no such origin"}])
    assert bring_in(yard, content, ImportOptions(document=yard.scan)).refused == 1
    assert bring_in(yard, content, ImportOptions(document=yard.scan, columns={"origin": ""})).new == 1


def test_a_compulsory_column_cannot_be_left_out(yard: Yard) -> None:
    with pytest.raises(FileRefused, match="no column for operation"):
        bring_in(yard, as_csv([yard.hours()]), ImportOptions(columns={"operation": ""}))


def test_without_signatures_nobody_has_signed(yard: Yard) -> None:
    options = ImportOptions(signatures=False, ignore_unknown_columns=True)
    assert bring_in(yard, as_csv([yard.hours()]), options).new == 1
    assert HoursEntry.objects.count() == 1
    assert not Countersignature.objects.exists()
    assert [name for name, kind in KINDS.items() if kind.needs_signatures()] == ["assessments"]


def test_the_first_rows_are_shown_as_understood_beside_their_problems(yard: Yard) -> None:
    rows = [yard.hours(), yard.hours(date="03/04/2026"), yard.hours(date="2026-03-06")]
    report = bring_in(yard, as_csv(rows), ImportOptions(), dry_run=True, preview=2)
    assert [each.number for each in report.first_rows] == [2, 3]
    at = list(rows[0]).index("date")
    assert report.first_rows[1].cells[at].written == "03/04/2026"
    assert len(report.first_rows[1].cells[at].problems) == 1
    assert not any(each.problems for each in report.first_rows[0].cells)
    understood = [each.understood for each in report.first_rows[0].cells]
    assert f"{yard.erector.number} {yard.erector}" in understood
    assert not HoursEntry.objects.exists()
