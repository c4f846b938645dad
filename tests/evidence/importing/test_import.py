"""Bringing in whole files: all or nothing, twice without harm, dry, in part, by command."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from PIL import Image

from registry.evidence.importing import ImportReport
from registry.evidence.models import Assessment, Certification, Countersignature, Document, HoursEntry
from registry.people.models import Employment, LanguageSkill, Worker
from tests.evidence.importing.conftest import Yard
from tests.evidence.importing.tables import as_csv, as_xlsx

SAMPLES = Path(__file__).resolve().parents[3] / "fixtures" / "imports"


def counts(report: ImportReport) -> tuple[int, int, int, int]:
    return report.rows, report.new, report.already_there, report.refused


def test_csv_and_workbook_bring_in_the_same(yard: Yard) -> None:
    assert counts(yard.bring_in("hours", as_csv([yard.hours()]))) == (1, 1, 0, 0)
    entry = HoursEntry.objects.get()
    assert entry.start == datetime(2026, 3, 4, 12, tzinfo=UTC)
    assert entry.end == datetime(2026, 3, 4, 20, tzinfo=UTC)
    assert (entry.worker, entry.employer, entry.origin) == (yard.erector, yard.employer, "paper")
    assert Countersignature.objects.get().by == yard.signer
    real = yard.hours(
        **{"date": date(2026, 3, 4), "start": time(7), "end": time(15), "countersigned on": date(2026, 3, 31)}
    )
    assert counts(yard.bring_in("hours", as_xlsx([real]))) == (1, 0, 1, 0)


def test_again_brings_in_nothing(yard: Yard) -> None:
    content = as_csv([yard.hours(), yard.hours(date="2026-03-06")])
    assert counts(yard.bring_in("hours", content)) == (2, 2, 0, 0)
    again = yard.bring_in("hours", content)
    assert counts(again) == (2, 0, 2, 0)
    assert (again.written, again.repeated) == (False, 0)
    assert "nothing to write" in again.summary()
    assert HoursEntry.objects.count() == 2


@pytest.mark.parametrize("batch", [1, 1000])
def test_a_line_twice_in_one_file_counts_once(yard: Yard, monkeypatch: pytest.MonkeyPatch, batch: int) -> None:
    monkeypatch.setattr("registry.evidence.importing.importing.BATCH", batch)
    report = yard.bring_in("hours", as_csv([yard.hours(), yard.hours(date="4 March 2026")]))
    assert counts(report) == (2, 1, 1, 0)
    assert report.repeated == 1
    assert "repeated within the file" in report.summary()


def test_dry_run_reports_the_same_and_writes_nothing(yard: Yard) -> None:
    content = as_csv([yard.hours(), yard.hours(date="2026-03-06")])
    report = yard.bring_in("hours", content, dry_run=True)
    assert counts(report) == (2, 2, 0, 0)
    assert not report.written
    assert "dry run" in report.summary()
    assert not HoursEntry.objects.exists()
    assert counts(yard.bring_in("hours", content)) == (2, 2, 0, 0)


def test_part_of_a_file_only_when_asked_for(yard: Yard) -> None:
    content = as_csv([yard.hours(), yard.hours(date="2026-03-06", model="None"), yard.hours(date="2026-03-09")])
    assert counts(yard.bring_in("hours", content)) == (3, 2, 0, 1)
    assert not HoursEntry.objects.exists()
    report = yard.bring_in("hours", content, partial=True)
    assert counts(report) == (3, 2, 0, 1)
    assert report.written
    assert HoursEntry.objects.count() == 2


def test_night_shift_ends_on_its_end_date(yard: Yard) -> None:
    rows = [yard.hours(start="22:00", end="06:00", **{"end date": "2026-03-05"})]
    yard.bring_in("hours", as_csv(rows))
    entry = HoursEntry.objects.get()
    assert (entry.start.isoformat(), entry.end.isoformat()) == (
        "2026-03-05T03:00:00+00:00",
        "2026-03-05T11:00:00+00:00",
    )


def test_a_duration_runs_through_the_change_of_the_clocks(yard: Yard) -> None:
    yard.bring_in("hours", as_csv([yard.hours(date="2026-03-08", start="01:00", end=None, duration="4")]))
    assert HoursEntry.objects.get().end == datetime(2026, 3, 8, 10, tzinfo=UTC)


def test_workers_come_with_employment_and_languages(yard: Yard) -> None:
    row = {
        "Given name": "Ida",
        "Family name": "Moor",
        "Date of birth": "1988-02-29",
        "Employed from": "08.01.2024",
        "Languages": "English, fr",
    }
    content = as_csv([row])
    assert counts(yard.bring_in("workers", content)) == (1, 1, 0, 0)
    ida = Worker.objects.get(family_name="Moor")
    assert Employment.objects.get(worker=ida).start == date(2024, 1, 8)
    assert set(LanguageSkill.objects.filter(worker=ida).values_list("language", flat=True)) == {"en", "fr"}
    assert counts(yard.bring_in("workers", content)) == (1, 0, 1, 0)


def test_certificates_keep_leading_zeros_and_models(yard: Yard) -> None:
    row = {
        "worker": yard.erector.number,
        "scheme": "Rigging level 2",
        "number": "00123",
        "issuer": "Keel Board",
        "issued": "2024-03-04",
        "expires": "",
        "models": "Orlo T 120; Orlo T 90",
    }
    assert counts(yard.bring_in("certifications", as_csv([row]))) == (1, 1, 0, 0)
    certificate = Certification.objects.get()
    assert (certificate.number, certificate.expires, len(certificate.covers_models)) == ("00123", None, 2)
    assert counts(yard.bring_in("certifications", as_csv([row]))) == (1, 0, 1, 0)


def test_assessments_are_the_employers_or_a_third_partys(yard: Yard) -> None:
    row = {
        "worker": yard.erector.number,
        "model": "Orlo T 120",
        "role": "erector",
        "operations": "erection, climbing",
        "date": "2026-05-06",
        "outcome": "pass",
        "assessor": yard.signer.number,
        "third party": "",
    }
    rows = [row, row | {"date": "2026-05-07", "third party": "Keel Board"}]
    report = yard.bring_in("assessments", as_csv(rows), time_zone="America/New_York")
    assert counts(report) == (2, 2, 0, 0)
    own, other = Assessment.objects.order_by("assessed_at")
    assert (own.employer, own.third_party) == (yard.employer, "")
    assert (other.employer, other.third_party) == (None, "Keel Board")
    assert own.operations == ["erection", "climbing"]
    again = yard.bring_in("assessments", as_csv(rows), time_zone="America/New_York")
    assert counts(again) == (2, 0, 2, 0)


def test_report_as_csv_holds_no_formula(yard: Yard) -> None:
    report = yard.bring_in("hours", as_csv([{**yard.hours(worker=None), "=cmd": "W-0"}]), columns={"=cmd": "worker"})
    written = io.StringIO()
    report.write_csv(written)
    header, line = list(csv.reader(io.StringIO(written.getvalue())))
    assert header == ["row", "column", "header", "field", "rule", "message"]
    assert line[:5] == ["2", "I", "'=cmd", "worker", "worker_is_registered"]


def run(*arguments: Any) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("import_records", *map(str, arguments), stdout=out, stderr=err)
    except SystemExit as stopped:
        return int(stopped.code or 0), out.getvalue(), err.getvalue()
    except CommandError as error:
        return error.returncode, out.getvalue(), str(error)
    return 0, out.getvalue(), err.getvalue()


def test_command_tells_by_its_exit_status(yard: Yard, tmp_path: Path) -> None:
    good, bad, report = tmp_path / "good.csv", tmp_path / "bad.csv", tmp_path / "report.csv"
    good.write_bytes(as_csv([yard.hours()]))
    bad.write_bytes(as_csv([yard.hours(date="03/04/2026")]))
    employer = ("--employer", "Brisk Lifting", "--scan", scan(tmp_path))
    assert run("hours", good, *employer, "--dry-run")[0] == 0
    assert not HoursEntry.objects.exists()
    status, _, errors = run("hours", bad, *employer, "--report", report)
    assert status == 1
    assert "row 2, column D 'date': '03/04/2026' may be day/month or month/day" in errors
    assert "date_is_unambiguous" in report.read_text(encoding="utf-8-sig")
    assert run("hours", bad, *employer, "--dates", "month-first")[0] == 0
    assert HoursEntry.objects.count() == 1
    assert run("hours", tmp_path / "none.csv", *employer)[0] == 2
    assert run("hours", good, "--employer", "Nobody")[0] == 2
    assert run("workers", good, *employer)[0] == 2
    assert run("hours", good, *employer, "--column", "worker")[0] == 2


def scan(folder: Path) -> Path:
    """A paper that hours were signed on."""
    paper = folder / "sheet.png"
    Image.new("RGB", (8, 8)).save(paper)
    return paper


def test_the_command_keeps_the_scan_with_what_was_copied_from_it(yard: Yard, tmp_path: Path) -> None:
    good = tmp_path / "good.csv"
    good.write_bytes(as_csv([yard.hours()]))
    employer, before = ("--employer", "Brisk Lifting"), Document.objects.count()
    status, _, errors = run("hours", good, *employer)
    assert (status, "hours_from_paper_have_a_scan" in errors) == (1, True)
    assert run("hours", good, *employer, "--scan", good)[0] == 2
    assert run("hours", good, *employer, "--scan", scan(tmp_path), "--dry-run")[0] == 0
    assert Document.objects.count() == before
    assert run("hours", good, *employer, "--scan", scan(tmp_path))[0] == 0
    assert HoursEntry.objects.get().document == Document.objects.latest("pk")


def test_samples_can_be_brought_in(yard: Yard, tmp_path: Path) -> None:
    for kind in ("workers", "hours", "assessments", "certifications"):
        status, out, errors = run(
            kind, SAMPLES / f"{kind}.csv", "--employer", "Brisk Lifting", "--scan", scan(tmp_path)
        )
        assert (status, errors) == (0, ""), out
    status, out, errors = run("hours", SAMPLES / "heures.xlsx", "--employer", "Brisk Lifting", "--scan", scan(tmp_path))
    assert (status, errors) == (0, ""), out
