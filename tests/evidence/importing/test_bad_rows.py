"""Each thing that people get wrong is refused by row, column and rule, and nothing is written."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from registry.evidence.importing import ImportReport
from registry.evidence.models import Assessment, Certification, Countersignature, HoursEntry
from registry.people.models import Employment, LanguageSkill, Worker
from registry.people.services import employ, register_worker
from tests.evidence.importing.conftest import NOW, Yard
from tests.evidence.importing.tables import as_csv


def refusals(report: ImportReport) -> list[tuple[int, str, str]]:
    return [(each.row, each.header, each.rule) for each in report.problems]


@pytest.mark.parametrize(
    ("cells", "header", "rule"),
    [
        ({"end": "06:00"}, "end", "hours_end_is_after_start"),
        ({"end": None, "duration": "25"}, "duration", "hours_fit_into_24_hours"),
        ({"date": "2027-03-04", "countersigner": "", "countersigned on": ""}, "end", "hours_are_not_in_the_future"),
        ({"model": "Orlo T 12"}, "model", "model_is_spelled_as_registered"),
        ({"site": "Harbor Yard"}, "site", "site_is_registered"),
        ({"operation": "painting"}, "operation", "operation_is_known"),
        ({"capacity": "king"}, "capacity", "capacity_is_known"),
        ({"worker": "W-999999"}, "worker", "worker_is_registered"),
        ({"worker": "Zoé Lind"}, "worker", "worker_is_named_by_number_or_birth"),
        ({"worker": "Zoé Lind", "date of birth": "1990-05-18"}, "worker", "worker_is_registered"),
        ({"worker": "Zoé Lind", "date of birth": "17/5/90"}, "date of birth", "year_has_four_digits"),
        ({"date of birth": "1990-05-18"}, "worker", "worker_has_this_date_of_birth"),
        ({"date": "03/04/2026"}, "date", "date_is_unambiguous"),
        ({"date": "04.03.26"}, "date", "year_has_four_digits"),
        ({"date": "2026-02-30"}, "date", "date_is_in_the_calendar"),
        ({"start": "7"}, "start", "time_is_written_as_a_time"),
        ({"start": "25:00"}, "start", "time_is_on_the_clock"),
        ({"start": "07:00:30"}, "start", "hours_are_in_whole_minutes"),
        ({"end": None, "duration": "8.33"}, "duration", "hours_are_in_whole_minutes"),
        ({"duration": "7"}, "duration", "duration_is_from_start_to_end"),
        ({"date": "2026-03-08", "start": "02:30"}, "start", "time_exists_at_the_site"),
        ({"date": "2026-11-01", "start": "01:30"}, "start", "time_is_unambiguous_at_the_site"),
        ({"crane": "S-9"}, "crane", "crane_is_registered"),
        ({"crane": "S-2"}, "crane", "crane_is_of_the_model"),
        ({"model": "Orlo T 90", "configuration": "On rails"}, "configuration", "configuration_is_the_models"),
        ({"countersigned on": ""}, "countersigned on", "countersignature_follows_the_work"),
        ({"countersigned on": "2026-03-03"}, "countersigned on", "countersignature_follows_the_work"),
        ({"countersigner": ""}, "countersigner", "countersignature_names_its_signer"),
        ({"origin": "import"}, "origin", "hours_of_another_register_are_signed"),
        ({"origin": "register"}, "countersigner", "a_signature_without_an_account_has_its_paper"),
        ({"worker": ""}, "worker", "cell_is_filled"),
        ({"configuration": "x" * 101}, "configuration", "text_is_not_too_long"),
    ],
)
def test_hours_are_refused_by_name(yard: Yard, cells: dict[str, Any], header: str, rule: str) -> None:
    good = yard.hours(date="2026-03-02")
    good |= dict.fromkeys(cells.keys() - good.keys(), "")
    if "end" in cells and cells["end"] is None:
        del good["end"]
        good["duration"] = "8"
    report = yard.bring_in("hours", as_csv([good, yard.hours(**cells)]))
    assert refusals(report) == [(3, header, rule)]
    assert (report.new, report.refused, report.written) == (1, 1, False)
    assert not HoursEntry.objects.exists()


def test_a_signature_in_a_table_needs_its_paper(yard: Yard) -> None:
    report = yard.bring_in("hours", as_csv([yard.hours()]), document=None)
    assert refusals(report) == [(2, "", "hours_from_paper_have_a_scan")]
    assert not Countersignature.objects.exists()


def test_nobody_signs_their_own_hours(yard: Yard) -> None:
    report = yard.bring_in("hours", as_csv([yard.hours(countersigner=yard.erector.number)]))
    assert refusals(report) == [(2, "countersigner", "nobody_countersigns_their_own_hours")]
    assert report.problems[0].column == "H"


def test_a_day_has_no_25_hours_in_two_rows(yard: Yard) -> None:
    rows = [yard.hours(start="00:00", end="13:00"), yard.hours(start="11:00", end="23:30")]
    report = yard.bring_in("hours", as_csv(rows))
    assert refusals(report) == [(3, "end", "a_day_has_24_hours")]


def test_a_day_has_no_25_hours_across_batches(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("registry.evidence.importing.importing.BATCH", 1)
    rows = [yard.hours(start="00:00", end="13:00"), yard.hours(start="11:00", end="23:30")]
    report = yard.bring_in("hours", as_csv(rows))
    assert refusals(report) == [(3, "end", "a_day_has_24_hours")]


def test_one_row_may_have_several_problems(yard: Yard) -> None:
    report = yard.bring_in("hours", as_csv([yard.hours(date="03/04/2026", model="Nothing 1", start="noon")]))
    assert {(each.header, each.rule) for each in report.problems} == {
        ("date", "date_is_unambiguous"),
        ("model", "model_is_registered"),
        ("start", "time_is_written_as_a_time"),
    }
    assert (report.refused, report.problem_count) == (1, 3)


def test_same_hours_with_other_values_are_no_second_entry(yard: Yard) -> None:
    rows = [yard.hours(), yard.hours(operation="climbing")]
    report = yard.bring_in("hours", as_csv(rows))
    assert refusals(report) == [(3, "start", "hours_are_brought_in_once")]


def test_a_refused_line_that_is_repeated_is_not_there(yard: Yard) -> None:
    good, bad = yard.hours(date="2026-03-02"), yard.hours(countersigner=yard.erector.number)
    report = yard.bring_in("hours", as_csv([good, bad, bad]), partial=True)
    assert (report.new, report.already_there, report.refused) == (1, 0, 2)


def test_a_batch_that_the_database_refuses_names_its_rows(yard: Yard) -> None:
    unsigned = {"countersigner": "", "countersigned on": ""}
    rows = [yard.hours(date=f"2026-03-{day:02}", origin="register", **unsigned) for day in range(2, 30)]
    rows[4]["origin"] = rows[17]["origin"] = "paper"
    report = yard.bring_in("hours", as_csv(rows), partial=True, document=None)
    assert [(each.row, each.header, each.rule) for each in report.problems] == [
        (6, "", "hours_from_paper_have_a_scan"),
        (19, "", "hours_from_paper_have_a_scan"),
    ]
    assert HoursEntry.objects.count() == 26 == report.new


def test_ragged_rows_are_reported(yard: Yard) -> None:
    content = as_csv([yard.hours()]) + b"W-000001,Orlo T 120\r\n" + b"," * 12 + b"x\r\n"
    report = yard.bring_in("hours", content)
    assert refusals(report) == [(3, "", "row_is_as_wide_as_the_header"), (4, "", "row_is_as_wide_as_the_header")]


def worker_row(**cells: Any) -> dict[str, Any]:
    return {
        "Given name": "Ida",
        "Family name": "Moor",
        "Date of birth": "1988-02-29",
        "Employed from": "2024-01-08",
        "Languages": "English, fr",
    } | cells


@pytest.mark.parametrize(
    ("cells", "header", "rule"),
    [
        ({"Date of birth": ""}, "Date of birth", "cell_is_filled"),
        ({"Date of birth": "2030-01-01"}, "Date of birth", "date_of_birth_is_past"),
        ({"Languages": "en, " + "a" * 36}, "Languages", "text_is_not_too_long"),
        ({"Languages": "loud!"}, "Languages", "language_is_a_bcp_47_tag"),
        (
            {"Given name": "ZOE", "Family name": "Lind", "Date of birth": "1990-05-17"},
            "Family name",
            "worker_is_registered_once",
        ),
        ({"Family name": "x" * 101}, "Family name", "text_is_not_too_long"),
    ],
)
def test_workers_are_refused_by_name(yard: Yard, cells: dict[str, Any], header: str, rule: str) -> None:
    before = Worker.objects.count()
    report = yard.bring_in("workers", as_csv([worker_row(), worker_row(**cells)]))
    assert refusals(report) == [(3, header, rule)]
    assert Worker.objects.count() == before
    assert not Employment.objects.exclude(worker__in=[yard.erector, yard.signer]).exists()
    assert not LanguageSkill.objects.exists()


def test_a_namesake_without_a_date_of_birth_may_be_the_same_person(yard: Yard) -> None:
    other = register_worker(given_name="Ida", family_name="Moor", recorded_at=NOW, recorded_by=None)
    employ(worker=other, employer=yard.employer, start=date(2020, 1, 1), recorded_at=NOW, recorded_by=None)
    report = yard.bring_in("workers", as_csv([worker_row()]))
    assert refusals(report) == [(2, "Family name", "a_missing_date_of_birth_tells_nobody_apart")]
    assert other.number in report.problems[0].message


def certificate_row(yard: Yard, **cells: Any) -> dict[str, Any]:
    return {
        "Worker": yard.erector.number,
        "Certificate": "Rigging level 2",
        "Certificate no.": "00123",
        "Issued by": "Keel Board",
        "Issued on": "4 March 2024",
        "Valid until": "3 mars 2029",
    } | cells


@pytest.mark.parametrize(
    ("cells", "header", "rule"),
    [
        ({"Valid until": "2024-03-03"}, "Valid until", "certificate_does_not_expire_before_it_was_issued"),
        ({"Issued on": "2026-12-24"}, "Issued on", "certificate_is_not_issued_in_the_future"),
        ({"Worker": "W-000000"}, "Worker", "worker_is_registered"),
        ({"Valid until": "2030-01-01", "Certificate no.": "1"}, "Certificate no.", "certificate_is_brought_in_once"),
    ],
)
def test_certificates_are_refused_by_name(yard: Yard, cells: dict[str, Any], header: str, rule: str) -> None:
    first = certificate_row(yard, **{"Certificate no.": "1"})
    report = yard.bring_in("certifications", as_csv([first, certificate_row(yard, **cells)]))
    assert refusals(report) == [(3, header, rule)]
    assert not Certification.objects.exists()


def assessment_row(yard: Yard, **cells: Any) -> dict[str, Any]:
    return {
        "Worker": yard.erector.number,
        "Model": "Orlo T 120",
        "Role": "erector",
        "Operations": "erection; dismantling",
        "Assessed on": "2026-05-06",
        "Time": "10:15",
        "Site": "Harbour Yard",
        "Result": "pass",
        "Assessor": yard.signer.number,
    } | cells


@pytest.mark.parametrize(
    ("cells", "header", "rule"),
    [
        ({"Result": "nearly"}, "Result", "outcome_is_known"),
        ({"Operations": "erection, flying"}, "Operations", "operations_is_known"),
        ({"Assessed on": "2027-01-01"}, "Assessed on", "assessment_is_not_in_the_future"),
        ({"Site": ""}, "Site", "time_zone_is_known"),
        ({"Assessed on": "2026-11-20", "Time": ""}, "Time", "assessment_of_today_gives_its_time"),
    ],
)
def test_assessments_are_refused_by_name(yard: Yard, cells: dict[str, Any], header: str, rule: str) -> None:
    report = yard.bring_in("assessments", as_csv([assessment_row(yard), assessment_row(yard, **cells)]))
    assert refusals(report) == [(3, header, rule)]
    assert not Assessment.objects.exists()


def test_nobody_assesses_themself(yard: Yard) -> None:
    report = yard.bring_in("assessments", as_csv([assessment_row(yard, Assessor=yard.erector.number)]))
    assert refusals(report) == [(2, "Assessor", "nobody_assesses_themself")]


def test_problems_are_bounded_and_counted(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("registry.evidence.importing.report.MOST_PROBLEMS", 10)
    row = yard.hours(worker="W-000000")
    report = yard.bring_in("hours", as_csv([row] * 25))
    assert (len(report.problems), report.problem_count, report.refused) == (10, 25, 25)


def test_a_date_alone_is_the_end_of_that_day(yard: Yard) -> None:
    report = yard.bring_in("assessments", as_csv([assessment_row(yard, Time="")]))
    assert report.written
    given = Assessment.objects.get().assessed_at.astimezone(yard.signer.recorded_at.tzinfo)
    assert given.isoformat() == "2026-05-07T03:59:00+00:00"
    yard.bring_in("hours", as_csv([yard.hours()]))
    signed = Countersignature.objects.get()
    assert signed.at - signed.entry.end > timedelta(hours=24)
    assert signed.recorded_at == NOW
