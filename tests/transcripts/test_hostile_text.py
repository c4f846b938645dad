"""Hidden characters in old records, from before they were refused: every document is printed all the same."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.test import Client

from registry.crews.models import Decision, Job, Refusal
from registry.evidence.models import HoursEntry
from registry.inspection import services as inspection
from registry.inspection.bundle import VERIFIER, make_bundle
from registry.language.plain_text import hidden_character
from registry.ledger.notes import Signer
from registry.ledger.services import make_checkpoint
from registry.people import services as people
from registry.people.models import Worker
from tests.ledger.superuser import connected_as_superuser, tamper
from tests.transcripts.reading import text_of
from tests.world import World, sign_in

SIGNER = Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"3" * 32))
# A terminal's escape, an override of the direction, no character at all, and what XML 1.0 takes in no form.
HOSTILE = "Ana\x1b[2J\u202ednaB\ufffe\u200b\x01"


@pytest.fixture
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    """A world on a connection of the superuser's, who writes past the guards; see :mod:`tests.ledger.superuser`."""
    with django_db_blocker.unblock(), connected_as_superuser():
        yield World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def worker(world: World) -> Worker:
    """Somebody whose name an old register brought in, with hours, a place on a crew, and a refusal."""
    worker = world.worker("Ana", "Ostberg")
    world.make_erector(worker, days=25)
    tamper("UPDATE people_worker SET given_name = %s WHERE id = %s", values=[HOSTILE, worker.pk])
    tamper("UPDATE evidence_certification SET issuer = %s WHERE worker_id = %s", values=[HOSTILE, worker.pk])
    worker.refresh_from_db()
    assert worker.given_name == HOSTILE
    return worker


@pytest.fixture
def job(world: World, worker: Worker) -> Job:
    job = world.job(["erector", "erection_supervisor"])
    tamper("UPDATE crews_job SET description = %s WHERE id = %s", values=[f"Lower\n{HOSTILE}", job.pk])
    first, second = job.slots.order_by("role")[::-1]
    assert world.assign(first, worker).permitted
    assert not world.assign(second, worker).permitted
    return job


def legible(pdf: bytes) -> str:
    text = " ".join(text_of(pdf))
    assert hidden_character(text, several_lines=True) is None
    return text


@pytest.fixture
def dispatcher(world: World) -> Client:
    client = Client()
    sign_in(client, world.dispatcher())
    return client


@pytest.mark.parametrize("language", ["en", "fr"])
def test_transcript_refusal_notice_and_crew_sheet_are_printed(
    dispatcher: Client, worker: Worker, job: Job, language: str
) -> None:
    refused = Refusal.objects.get().decision
    given = {"language": language, "paper": "A4"}
    transcript = dispatcher.post(f"/workers/{worker.pk}/transcript/", given)
    notice = dispatcher.get(f"/decisions/{refused.pk}/refusal-notice.pdf", headers={"accept-language": language})
    sheet = dispatcher.get(f"/jobs/{job.pk}/crew-sheet.pdf", headers={"accept-language": language})
    for response in (transcript, notice, sheet):
        assert response.status_code == 200
        assert "Ostberg" in legible(response.content)


def test_pages_that_show_the_person_open(dispatcher: Client, worker: Worker, job: Job) -> None:
    for path in (f"/workers/{worker.pk}/", f"/jobs/{job.pk}/", f"/records/people/{worker.pk}/", "/workers/"):
        assert dispatcher.get(path).status_code == 200, path


def test_hours_can_still_be_recorded_and_the_person_decided_about(world: World, worker: Worker, job: Job) -> None:
    before = HoursEntry.objects.count()
    world.hours(worker, days=1)
    assert HoursEntry.objects.count() == before + 1
    assert Decision.objects.filter(worker=worker).count() == 2


def test_report_and_bundle_are_made_and_verify(world: World, worker: Worker, job: Job, tmp_path: Path) -> None:
    inspector = people.open_account(username="inspector", password=None, kind="inspector")
    file = inspection.open_file(
        job=job, reference="WS/7", purpose="A report of unsafe work", opened_at=world.now, opened_by=inspector
    )
    made = make_bundle(
        file=file, checkpoint=make_checkpoint(at=world.now, signers=[SIGNER]), at=world.now, language="en"
    )
    bundle = zipfile.ZipFile(io.BytesIO(made))
    legible(bundle.read("report.pdf"))
    # What the log covers travels as it was recorded; the table made of it is still one row for each record.
    (row,) = [each for each in json.loads(bundle.read("records.json"))["records"] if each["kind"] == "crews_job"]
    assert row["personal"]["description"].endswith(HOSTILE)
    bundle.extractall(tmp_path)
    command = [sys.executable, "-I", str(VERIFIER), str(tmp_path), "--key", str(SIGNER.verifier_key)]
    found = subprocess.run(command, capture_output=True, text=True, check=False)
    # The row was changed behind the log's back, and that is all that is found.
    assert f"people_worker {worker.pk}" in found.stdout
