"""The program that a regulator runs without the registry."""

from __future__ import annotations

import json
import zipfile
from base64 import b64encode
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.db import transaction

from registry.evidence.models import Document, HoursEntry
from registry.ledger import queries
from registry.ledger.notes import Signer
from registry.ledger.services import make_checkpoint
from tests.ledger.bundles import as_folder, as_zip, bundle, run, run_apart, with_contents
from tests.world import World

Change = Callable[[dict[str, Any]], None]
SIGNER = Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"7" * 32))


@dataclass(frozen=True)
class Made:
    """What a registry gave out once: a bundle's files, a checkpoint kept from before, and single proofs."""

    files: dict[str, bytes]
    earlier: str
    inclusion: dict[str, Any]
    consistency: dict[str, Any]
    first_hours: str


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: Any) -> Made:
    """A bundle about some hours, a worker and a document, with the growth since an earlier checkpoint."""
    with django_db_blocker.unblock(), transaction.atomic():
        world = World(datetime.now(UTC).replace(second=0, microsecond=0))
        world.hours(world.worker("Runa", "Castellane"), days=2)
        earlier = make_checkpoint(at=world.now, signers=[SIGNER])
        world.hours(world.worker("Oda", "Renquist"), days=3)
        later = make_checkpoint(at=world.now + timedelta(minutes=5), signers=[SIGNER])
        hours = list(HoursEntry.objects.order_by("id").values_list("pk", flat=True))
        document = Document.objects.get()
        others = [("evidence_document", document.pk), ("people_worker", world.assessor.pk)]
        inclusion = queries.inclusion_proof("evidence_hoursentry", hours[0]).as_json()
        inclusion["opening"] = queries.openings("evidence_hoursentry", hours)[hours[0]].as_json()
        result = Made(
            files=bundle(
                [*(("evidence_hoursentry", each) for each in hours), *others],
                keys=[SIGNER.verifier_key],
                earlier=[earlier],
                documents=[bytes(document.content)],
            ),
            earlier=earlier.note,
            inclusion=inclusion,
            consistency=queries.consistency_proof(earlier, later).as_json(),
            first_hours=f"evidence_hoursentry {hours[0]}",
        )
        transaction.set_rollback(True)
    return result


@pytest.fixture
def files(made: Made) -> dict[str, bytes]:
    return dict(made.files)


def with_record(files: dict[str, bytes], change: Change) -> dict[str, bytes]:
    """The bundle with its first record changed, and its contents listed anew."""
    content = json.loads(files["records.json"])
    change(content["records"][0])
    return with_contents({**files, "records.json": json.dumps(content).encode()})


def test_a_bundle_is_in_order_as_folder_and_as_zip(files: dict[str, bytes], made: Made, tmp_path: Path) -> None:
    kept = tmp_path / "kept.txt"
    kept.write_text(made.earlier)
    whole = with_contents(files)
    for path in (as_folder(whole, tmp_path / "bundle"), as_zip(whole, tmp_path / "bundle.zip")):
        done = run_apart(path, "--key", SIGNER.verifier_key, "--earlier", kept)
        assert done.returncode == 0, done.stdout + done.stderr
        assert "7 records against the log, 0 not in order" in done.stdout
        assert "1 documents against their records" in done.stdout
        assert "1 consistency proofs" in done.stdout
        assert done.stdout.endswith("IN ORDER\n")
        notes = [line for line in done.stdout.splitlines() if line.startswith("note")]
        assert ["Not covered by the signed checkpoint" in each for each in notes] == [True]


def test_without_a_trusted_key_it_says_whose_key_it_was(files: dict[str, bytes], tmp_path: Path) -> None:
    done = run(as_folder(with_contents(files), tmp_path / "bundle"))
    assert done.returncode == 0
    assert "held only to the key in the bundle itself" in done.stdout


def test_a_bundle_signed_by_somebody_else_is_refused(files: dict[str, bytes], tmp_path: Path) -> None:
    other = Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"8" * 32))
    done = run(as_folder(with_contents(files), tmp_path / "bundle"), "--key", other.verifier_key)
    assert done.returncode == 1
    assert "WRONG    checkpoint.txt: no trusted key has signed it" in done.stdout


def test_answers_as_json(files: dict[str, bytes], made: Made, tmp_path: Path) -> None:
    changed = with_record(files, lambda record: record["open"].update(operation="climbing"))
    done = run(as_folder(changed, tmp_path / "bundle"), "--key", SIGNER.verifier_key, "--json")
    answer = json.loads(done.stdout)
    assert done.returncode == 1
    assert answer["in_order"] is False
    assert answer["failures"] == [
        {
            "name": made.first_hours,
            "text": "the record differs from what was logged in: operation",
        }
    ]


def _other_person(record: dict[str, Any]) -> None:
    record["personal"]["worker_id"] += 1


def _withheld_salt(record: dict[str, Any]) -> None:
    record["salt"] = None


def _another_number(record: dict[str, Any]) -> None:
    record["record"] += 1


def _another_leaf(record: dict[str, Any]) -> None:
    record["proof"]["leaf"] = record["proof"]["leaf"].replace("dismantling", "climbing")
    record["open"]["operation"] = "climbing"


def _another_place(record: dict[str, Any]) -> None:
    record["proof"]["index"] += 1


def _shorter_path(record: dict[str, Any]) -> None:
    record["proof"]["path"].pop()


def _longer_path(record: dict[str, Any]) -> None:
    record["proof"]["path"].append(b64encode(b"x" * 32).decode())


def _another_checkpoint(record: dict[str, Any]) -> None:
    record["proof"]["checkpoint"] += " "


def _no_proof(record: dict[str, Any]) -> None:
    del record["proof"]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (_other_person, "the personal data are not those that were committed to"),
        (_withheld_salt, "come together or not at all"),
        (_another_leaf, "does not lead to the signed root"),
        (_another_place, "does not lead to the signed root"),
        (_shorter_path, "too short"),
        (_longer_path, "too long"),
        (_another_checkpoint, "for another checkpoint"),
        (_no_proof, "there is no proof"),
    ],
)
def test_names_the_record_that_is_not_in_order(
    files: dict[str, bytes], made: Made, tmp_path: Path, change: Change, sentence: str
) -> None:
    done = run(as_folder(with_record(files, change), tmp_path / "bundle"), "--key", SIGNER.verifier_key)
    wrong = [line for line in done.stdout.splitlines() if line.startswith("WRONG")]
    assert done.returncode == 1
    assert len(wrong) == 1
    assert wrong[0].startswith(f"WRONG    {made.first_hours}: ")
    assert sentence in wrong[0]


def test_a_proof_of_another_record_is_refused(files: dict[str, bytes], made: Made, tmp_path: Path) -> None:
    changed = with_record(files, _another_number)
    done = run(as_folder(changed, tmp_path / "bundle"), "--key", SIGNER.verifier_key)
    assert done.returncode == 1
    assert f"its proof is about another record: {made.first_hours}" in done.stdout


def test_an_erased_record_still_verifies(files: dict[str, bytes], tmp_path: Path) -> None:
    changed = with_record(files, lambda record: record.update(personal=None, salt=None))
    done = run(as_folder(changed, tmp_path / "bundle"), "--key", SIGNER.verifier_key)
    assert done.returncode == 0, done.stdout
    assert "1 without personal data" in done.stdout
    assert "whom they are about was not" in done.stdout


def test_files_are_exactly_those_listed(files: dict[str, bytes], tmp_path: Path) -> None:
    whole = with_contents(files)
    del whole["README.txt"]
    whole["slipped-in.txt"] = b"x"
    whole["keys.txt"] += b"\n"
    done = run(as_folder(whole, tmp_path / "bundle"), "--key", SIGNER.verifier_key)
    assert done.returncode == 1
    assert {line.split(":")[0] for line in done.stdout.splitlines() if line.startswith("WRONG")} == {
        "WRONG    README.txt",
        "WRONG    slipped-in.txt",
        "WRONG    keys.txt",
    }


def test_a_document_belongs_to_a_record(files: dict[str, bytes], tmp_path: Path) -> None:
    document = next(name for name in files if name.startswith("documents/"))
    changed = with_contents({**files, document: b"another letter"})
    done = run(as_folder(changed, tmp_path / "bundle"), "--key", SIGNER.verifier_key)
    assert done.returncode == 1
    assert f"WRONG    {document}: is named after another SHA-256" in done.stdout


def test_history_rewritten_since_a_kept_checkpoint_shows(files: dict[str, bytes], made: Made, tmp_path: Path) -> None:
    forged = made.earlier.split("\n\n")[0].split("\n")
    forged[2] = b64encode(b"r" * 32).decode()
    text = "\n".join(forged) + "\n"
    kept = tmp_path / "kept.txt"
    kept.write_text(text + "\n" + SIGNER.signature_line(text))
    done = run(as_folder(with_contents(files), tmp_path / "bundle"), "--key", SIGNER.verifier_key, "--earlier", kept)
    assert done.returncode == 1
    assert "history was changed" in done.stdout


def test_a_kept_checkpoint_without_proof_is_told(files: dict[str, bytes], made: Made, tmp_path: Path) -> None:
    kept = tmp_path / "kept.txt"
    kept.write_text(made.earlier)
    without = {name: content for name, content in files.items() if not name.startswith("consistency/")}
    done = run(as_folder(with_contents(without), tmp_path / "bundle"), "--key", SIGNER.verifier_key, "--earlier", kept)
    assert done.returncode == 1
    assert "covered by no consistency proof" in done.stdout


def test_an_inclusion_proof_alone(made: Made, tmp_path: Path) -> None:
    path = tmp_path / "inclusion.json"
    path.write_text(json.dumps(made.inclusion))
    done = run("proof", path, "--key", SIGNER.verifier_key)
    assert done.returncode == 0, done.stdout
    assert f"{made.first_hours}, logged" in done.stdout
    assert "its personal data" in done.stdout
    assert "THE SIGNATURE WAS NOT CHECKED" in run("proof", path).stdout


def test_a_consistency_proof_alone(made: Made, tmp_path: Path) -> None:
    path = tmp_path / "consistency.json"
    path.write_text(json.dumps(made.consistency))
    assert run("proof", path, "--key", SIGNER.verifier_key).returncode == 0
    false = [b64encode(b"x" * 32).decode(), *made.consistency["path"][1:]]
    path.write_text(json.dumps({**made.consistency, "path": false}))
    done = run("proof", path, "--key", SIGNER.verifier_key)
    assert done.returncode == 1
    assert "what was logged before has been changed" in done.stdout


def _hostile(path: Path, name: str) -> Path:
    """A ZIP file of a kind that harms careless readers."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        match name:
            case "link":
                link = zipfile.ZipInfo("checkpoint.txt")
                link.external_attr = 0o120777 << 16
                archive.writestr(link, "/etc/passwd")
            case _:
                archive.writestr(name, "x")
    return path


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("../outside.txt", "an entry with the name ../outside.txt"),
        ("/absolute.txt", "an entry with the name"),
        ("C:/drive.txt", "an entry with the name"),
        ("back\\slash.txt", "an entry with the name"),
        ("a//b.txt", "an entry with the name"),
        ("\x1b[2Jcleared.txt", "has no contents.json"),
        ("link", "is a link or encrypted"),
    ],
)
def test_hostile_archives_are_told_in_a_sentence(tmp_path: Path, name: str, sentence: str) -> None:
    done = run(_hostile(tmp_path / "hostile.zip", name))
    assert done.returncode == 2
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr
    assert "\x1b" not in done.stderr


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_twice_in_an_archive_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "twice.zip", "w") as archive:
        archive.writestr("keys.txt", "one")
        archive.writestr("keys.txt", "two")
    done = run(tmp_path / "twice.zip")
    assert (done.returncode, done.stderr) == (2, "cannot be read: the ZIP file holds keys.txt twice\n")


def test_a_file_that_unpacks_without_end_is_refused(files: dict[str, bytes], tmp_path: Path) -> None:
    whole = with_contents(files)
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in whole.items():
            if name != "contents.json":
                archive.writestr(name, content)
        with archive.open("contents.json", "w", force_zip64=True) as file:
            for _ in range(140):
                file.write(b" " * (1 << 20))
    done = run(path, "--key", SIGNER.verifier_key)
    assert (done.returncode, done.stderr) == (2, "cannot be read: contents.json is larger than 128 MiB\n")


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"{", "is no JSON"),
        (b"\xff\xfe", "is no JSON"),
        (b'{"format": "registry-records-1", "records": [NaN]}', "no JSON number"),
        (b'{"format": "registry-records-1", "format": "registry-records-1"}', "a key twice"),
        (b"[" * 100_000, "nested too deeply"),
        (b"9" * 5_000, "is no JSON"),
        (b'{"format": "another-1", "records": []}', "is not of the format registry-records-1"),
        (b'{"format": "registry-records-1", "records": [1]}', "no list of records"),
        (b"[]", "is not of the format"),
    ],
)
def test_malformed_records_are_told_in_a_sentence(
    files: dict[str, bytes], tmp_path: Path, content: bytes, sentence: str
) -> None:
    done = run(as_folder(with_contents({**files, "records.json": content}), tmp_path / "bundle"))
    assert done.returncode == 2
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "record",
    [
        {},
        {"kind": ["x"], "record": {}, "proof": []},
        {"kind": "\ud800", "record": 1, "proof": {"leaf": "\ud800", "index": 0, "path": []}},
        {"kind": 1, "record": True, "open": 1, "personal": 1, "salt": 1, "proof": {"index": True, "path": [1]}},
    ],
)
def test_nonsense_in_a_record_is_a_failure_not_a_crash(
    files: dict[str, bytes], tmp_path: Path, record: dict[str, Any]
) -> None:
    if isinstance(record.get("proof"), dict):
        record = {**record, "proof": {**record["proof"], "checkpoint": files["checkpoint.txt"].decode()}}
        record["proof"]["format"] = "registry-inclusion-proof-1"
    content = {"format": "registry-records-1", "records": [record]}
    without_documents = {name: each for name, each in files.items() if not name.startswith("documents/")}
    changed = with_contents({**without_documents, "records.json": json.dumps(content).encode()})
    done = run(as_folder(changed, tmp_path / "bundle"))
    assert done.returncode == 1
    assert done.stderr == ""
    assert done.stdout.count("WRONG") == 1


@pytest.mark.parametrize("missing", ["nowhere.zip", "broken.zip"])
def test_what_is_no_bundle_is_told(tmp_path: Path, missing: str) -> None:
    (tmp_path / "broken.zip").write_bytes(b"PK\x03\x04 broken")
    done = run(tmp_path / missing)
    assert done.returncode == 2
    assert done.stderr.startswith("cannot be read: ")
    assert done.stderr.count("\n") == 1


def test_a_mistyped_key_is_told(tmp_path: Path) -> None:
    mistyped = str(SIGNER.verifier_key)[:-3] + "AAA"
    done = run(tmp_path, "--key", mistyped)
    assert done.returncode == 2
    assert "is damaged" in done.stderr
