"""The inspection bundle: what it holds, and that it verifies without the registry."""

from __future__ import annotations

import hashlib
import io
import json
import re
import subprocess
import sys
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pikepdf
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings
from django.template.loader import render_to_string
from django.utils.translation import get_language
from pypdfium2 import PdfDocument

from registry.evidence import services as evidence
from registry.inspection import bundle
from registry.inspection import services as inspection
from registry.inspection.bundle import VERIFIER, make_bundle
from registry.inspection.models import InspectionFile
from registry.ledger.notes import Signer, signed_note
from registry.ledger.services import make_checkpoint
from registry.people import services as people
from registry.people.models import Account, Worker
from tests.world import World

SIGNER = Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"3" * 32))


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def inspector(world: World) -> Account:
    return people.open_account(username="inspector", password=None, kind="inspector")


@pytest.fixture
def erector(world: World) -> Worker:
    erector = world.worker("Ana", "=HYPERLINK(1)")
    world.make_erector(erector)
    return erector


@pytest.fixture
def file(world: World, inspector: Account, erector: Worker) -> InspectionFile:
    """On a job with one erector in place and somebody refused."""
    job = world.job(["erector", "erector"])
    first, second = job.slots.order_by("id")
    assert world.assign(first, erector).permitted
    assert not world.assign(second, world.worker("Bo", "Nyland")).permitted
    return inspection.open_file(
        job=job, reference="WS/2026/114", purpose="A report of unsafe work", opened_at=world.now, opened_by=inspector
    )


@pytest.fixture(autouse=True)
def _report(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Printing takes long; only the test of the report itself prints it."""
    if "prints" not in request.keywords:
        monkeypatch.setattr(bundle, "print_report", lambda **given: b"%PDF-1.7 a report")


def made(file: InspectionFile, world: World) -> zipfile.ZipFile:
    checkpoint = make_checkpoint(at=world.now, signers=[SIGNER])
    return zipfile.ZipFile(io.BytesIO(make_bundle(file=file, checkpoint=checkpoint, at=world.now, language="en")))


def verified(folder: Path, *more: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-I", str(VERIFIER), str(folder), "--key", str(SIGNER.verifier_key), *more]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_it_verifies_with_the_verifier_that_travels_in_it(file: InspectionFile, world: World, tmp_path: Path) -> None:
    made(file, world).extractall(tmp_path)
    found = verified(tmp_path)
    assert found.returncode == 0, found.stdout + found.stderr
    assert (tmp_path / "verify_registry.py").read_bytes() == VERIFIER.read_bytes()


@pytest.mark.parametrize("name", ["records.json", "report.pdf", "checkpoint.txt", "decisions"])
def test_a_changed_file_is_found(file: InspectionFile, world: World, tmp_path: Path, name: str) -> None:
    made(file, world).extractall(tmp_path)
    changed = tmp_path / name
    if changed.is_dir():
        changed = next(changed.iterdir())
    content = bytearray(changed.read_bytes())
    content[len(content) // 2] ^= 1
    changed.write_bytes(bytes(content))
    assert verified(tmp_path).returncode != 0


def test_an_altered_hour_is_named_even_where_the_contents_are_made_anew(
    file: InspectionFile, world: World, tmp_path: Path, erector: Worker
) -> None:
    made(file, world).extractall(tmp_path)
    records = json.loads((tmp_path / "records.json").read_text())
    entry = next(each for each in records["records"] if each["kind"] == "evidence_hoursentry")
    entry["open"]["end"] = entry["open"]["end"].replace("23:", "22:")
    (tmp_path / "records.json").write_text(json.dumps(records))
    contents = json.loads((tmp_path / "contents.json").read_text())
    contents["files"]["records.json"] = hashlib.sha256((tmp_path / "records.json").read_bytes()).hexdigest()
    (tmp_path / "contents.json").write_text(json.dumps(contents))
    found = verified(tmp_path)
    assert found.returncode == 1
    assert f"evidence_hoursentry {entry['record']}" in found.stdout


def changed(folder: Path, name: str, before: str, after: str) -> str:
    """Change a file of the bundle and make its line in the contents anew, as a forger would; the file's name."""
    path = next(folder.glob(name))
    content = path.read_bytes()
    assert before.encode() in content
    path.write_bytes(content.replace(before.encode(), after.encode()))
    found = path.relative_to(folder).as_posix()
    listed(folder, found)
    return found


def listed(folder: Path, name: str) -> None:
    contents = json.loads((folder / "contents.json").read_text())
    contents["files"][name] = hashlib.sha256((folder / name).read_bytes()).hexdigest()
    (folder / "contents.json").write_text(json.dumps(contents))


@pytest.mark.parametrize(
    ("name", "before", "after"),
    [
        ("decisions/*.json", '"outcome": "', '"outcome": "not '),
        ("records/people_worker.csv", "Nyland", "Nyborg"),
        ("records/evidence_hoursentry.csv", "\r\n", "\r\n\r\n"),
    ],
)
def test_what_repeats_the_records_is_held_to_them_even_where_the_contents_are_made_anew(
    file: InspectionFile, world: World, tmp_path: Path, name: str, before: str, after: str
) -> None:
    made(file, world).extractall(tmp_path)
    altered = changed(tmp_path, name, before, after)
    found = verified(tmp_path)
    assert found.returncode == 1
    wrong = [line for line in found.stdout.splitlines() if line.startswith("WRONG")]
    assert [line.split()[1] for line in wrong] == [f"{altered}:"]


@pytest.mark.parametrize("name", ["decisions/0.json", "records/crews_verdict.csv", "records/more.txt", "letter.pdf"])
def test_a_file_that_no_record_stands_behind_is_found(
    file: InspectionFile, world: World, tmp_path: Path, name: str
) -> None:
    made(file, world).extractall(tmp_path)
    (tmp_path / name).write_text("{}")
    listed(tmp_path, name)
    found = verified(tmp_path)
    assert found.returncode == 1
    assert f"WRONG    {name}:" in found.stdout


def test_what_nothing_signed_covers_is_named(file: InspectionFile, world: World, tmp_path: Path) -> None:
    made(file, world).extractall(tmp_path)
    changed(tmp_path, "report.pdf", "a report", "a forged report")
    found = verified(tmp_path)
    assert found.returncode == 0
    (said,) = (line for line in found.stdout.splitlines() if "Not covered by the signed checkpoint" in line)
    told = (tmp_path / "README.txt").read_text().split("WHAT IT DOES NOT COVER")[1]
    for name in ("README.txt", "keys.txt", "report.pdf", "verify_registry.py"):
        assert name in said
        assert name in told


def test_the_readme_is_in_the_language_of_the_bundle(
    file: InspectionFile, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    languages: list[str | None] = []

    def rendered(template: str, context: dict[str, object]) -> str:
        languages.append(get_language())
        return render_to_string(template, context)

    monkeypatch.setattr(bundle, "render_to_string", rendered)
    checkpoint = make_checkpoint(at=world.now, signers=[SIGNER])
    make_bundle(file=file, checkpoint=checkpoint, at=world.now, language="fr")
    assert languages == ["fr"]
    source = (settings.PROJECT / "templates/documents/bundle_readme.txt").read_text()
    outside = re.sub(r"{% blocktrans.*?{% endblocktrans %}|{%.*?%}", "", source, flags=re.DOTALL)
    assert not outside.strip()


def test_it_holds_everything_the_decisions_looked_at(file: InspectionFile, world: World, erector: Worker) -> None:
    archive = made(file, world)
    records = json.loads(archive.read("records.json"))["records"]
    held = {(each["kind"], each["record"]) for each in records}
    hours = set(erector.hoursentry_records.values_list("pk", flat=True))
    assert {("evidence_hoursentry", each) for each in hours} <= held
    # The assessor signed, so the assessor's own papers belong to the answer.
    assert ("people_worker", world.assessor.pk) in held
    assert ("evidence_document", world.scan.pk) in held
    assert archive.read(f"documents/{world.scan.sha256}.pdf") == bytes(world.scan.content)
    outcomes = [
        json.loads(archive.read(each))["outcome"] for each in archive.namelist() if each.startswith("decisions/")
    ]
    assert sorted(outcomes) == ["permitted", "refused"]


def test_somebody_elses_records_stay_out(file: InspectionFile, world: World) -> None:
    stranger = world.worker("Cato", "Ferrant")
    archive = made(file, world)
    text = archive.read("records.json").decode()
    assert "Ferrant" not in text
    assert f'"given_name": "{stranger.given_name}"' not in text


def test_a_spreadsheet_runs_nothing(file: InspectionFile, world: World) -> None:
    table = made(file, world).read("records/people_worker.csv").decode("utf-8-sig")
    assert "'=HYPERLINK(1)" in table


def test_earlier_checkpoints_are_proved_to_be_its_beginning(file: InspectionFile, world: World, tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    kept = tmp_path / "kept" / "checkpoint.txt"
    kept.write_bytes(made(file, world).read("checkpoint.txt"))
    evidence.withdraw(world.assessor.appointment_records.get(), recorded_at=datetime.now(UTC), recorded_by=None)
    later = tmp_path / "later"
    made(file, world).extractall(later)
    assert verified(later, "--earlier", str(kept)).returncode == 0
    lines = kept.read_text().split("\n")
    forged = "\n".join([lines[0], lines[1], "A" * 43 + "=", lines[3]]) + "\n"
    kept.write_text(signed_note(forged, [SIGNER]))
    assert verified(later, "--earlier", str(kept)).returncode == 1


@pytest.mark.prints
def test_the_report_reads_as_what_happened(file: InspectionFile, world: World) -> None:
    report = made(file, world).read("report.pdf")
    text = "\n".join(page.get_textpage().get_text_range() for page in PdfDocument(report))
    for words in ("WS/2026/114", "A report of unsafe work", "Bo Nyland", "REFUSED", "does not make a lift safe"):
        assert words in text
    with pikepdf.open(io.BytesIO(report)) as pdf:
        assert pdf.Root.MarkInfo.Marked
        assert str(pdf.Root.Lang) == "en"
