"""A data request answers with every table that refers to the worker."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models
from django.test.utils import CaptureQueriesContext

from registry.crews.models import Assignment, AssignmentState, Decision
from registry.evidence import services as evidence
from registry.evidence.in_your_name import deny_signature
from registry.evidence.models import (
    Certification,
    CertificationStatus,
    CorrectionRequest,
    CountersignatureRequest,
    EntryObjection,
    HoursEntry,
    StandDown,
    StandDownSuspension,
)
from registry.notices.models import NamedSupervisor, SentNotice
from registry.people import consent
from registry.people import services as people
from registry.people.models import Invitation, PossibleTwin, Worker
from registry.retention.data_request import data_request_zip, held_about, references_to
from registry.transcripts.models import IssuedTranscript, SharedLink
from registry.transcripts.sharing import end_link, look_through, share
from tests.world import World

SCAN = b"%PDF-1.7 the scan of Teodora"


@pytest.fixture
def everywhere(world: World) -> Worker:
    """Somebody to whom every table with a reference to a worker refers, in every such column."""
    worker = world.worker("Teodora", "Valkenrath")
    world.make_erector(worker)
    world.make_assessor(worker)
    scan = evidence.attach_document(
        name="scan.pdf", media_type="application/pdf", content=SCAN, recorded_at=world.now, recorded_by=None
    )
    evidence.record_instruction(
        worker=worker,
        topic="rigging",
        provider="employer",
        completed_at=world.now,
        document=scan,
        recorded_at=world.now,
        recorded_by=None,
    )
    other = world.worker("Ottoline", "Vasquez-Ruan")
    world.assessor, first = worker, world.assessor
    world.hours(other, days=1)
    world.assess(other, "erector")
    world.assessor = first
    entry = HoursEntry.objects.get(worker=other)
    common: dict[str, Any] = {"worker": worker, "recorded_at": world.now}
    CountersignatureRequest.objects.create(entry=entry, of=worker, recorded_at=world.now)
    EntryObjection.objects.create(entry=entry, by=worker, reason="The start is wrong", recorded_at=world.now)
    CertificationStatus.objects.create(
        certification=Certification.objects.get(worker=worker), status="suspended", effective_at=world.now, **common
    )
    CorrectionRequest.objects.create(
        employer=world.employer,
        record_kind="hoursentry",
        record_id=HoursEntry.objects.filter(worker=worker).latest("id").pk,
        what_is_wrong="An hour too long",
        **common,
    )
    registrar = world.registrar()
    CertificationStatus.objects.create(
        certification=Certification.objects.get(worker=worker),
        status="reinstated",
        reason="The board's letter",
        effective_at=world.now,
        recorded_by=registrar,
        **common,
    )
    job = world.job(["erector"])
    assert world.assign(job.slots.get(), worker).permitted
    bar = StandDown.objects.create(role="rigger", start=world.now, reason="A dropped load", **common)
    StandDownSuspension.objects.create(stand_down=bar, start=world.now, reason="Another version", **common)
    Invitation.objects.create(
        token_hash="a" * 64,
        kind="worker",
        worker=worker,
        invited_by=registrar,
        way="printed",
        invited_at=world.now,
        expires_at=world.now + timedelta(days=1),
    )
    account = people.open_account(username="teodora", password="a-long-demo-word", kind="worker", worker=worker)
    asked: dict[str, Any] = {"start": world.now.date(), "employer": world.employer, "recorded_at": world.now}
    dispatcher = people.open_account(username="d", password=None, kind="employer", employer=world.employer)
    consent.ask(
        number=worker.number,
        family_name=worker.family_name,
        date_of_birth=worker.date_of_birth or world.now.date(),
        recorded_by=dispatcher,
        **asked,
    )
    made = consent.make_code(worker=worker, employer=None, start=world.now.date(), at=world.now, made_by=account)
    consent.redeem(code=made.code, recorded_by=dispatcher, **asked)
    look = apps.get_model("inspection", "Look")
    inspector = people.open_account(username="inspector", password="a-long-demo-word", kind="inspector")
    look.objects.create(what="worker", worker=worker, recorded_by=inspector, recorded_at=world.now)
    said = "{}"
    notice = SentNotice.objects.create(
        job=job,
        content=said,
        sha256=hashlib.sha256(said.encode()).hexdigest(),
        sent_at=world.now,
        how="post",
        sent_to="the authority",
        recorded_at=world.now,
    )
    NamedSupervisor.objects.create(notice=notice, content=said, **common)
    for twins in ({"worker": worker, "other": other}, {"worker": other, "other": worker}):
        PossibleTwin.objects.create(names="same_name", dates="no_day", told_apart=False, recorded_at=world.now, **twins)
    signature = entry.countersignatures.get(by=worker)
    deny_signature(
        kind="countersignature",
        record_id=signature.pk,
        reason="Not I",
        denied_at=world.now,
        denied_by=account,
    )
    shared = share(worker=worker, days=7, note="For a new employer", at=world.now, shared_by=account)
    look_through(token=shared.token, what="record", at=world.now, looked_by=None)
    end_link(link=shared.link, at=world.now, ended_by=account)
    IssuedTranscript.objects.create(
        code="AAAA-BBBB-CCCC-DDDD",
        sha256="0" * 64,
        evidence_version=1,
        checkpoint_size=1,
        recorded_by=account,
        **common,
    )
    return worker


def test_every_reference_to_a_worker_is_filled_by_this_test_and_answered(world: World, everywhere: Worker) -> None:
    tables = held_about(everywhere, at=world.now)["tables"]
    by_table = {model._meta.db_table: model for model in apps.get_models(include_auto_created=True)}
    references = references_to(Worker)
    assert len(references) > 18
    for each in references:
        stored = by_table[each.table]._base_manager.filter(**{each.column: everywhere.pk})
        # A new table that refers to workers is filled above before this test can pass.
        assert stored.exists(), f"nothing in {each.table}.{each.column} refers to the worker"
        answered = [row for row in tables[each.table] if row[each.column] == everywhere.pk]
        assert len(answered) == stored.count()


def test_references_are_found_in_the_database_too(world: World) -> None:
    """A table without a model, or a column without a field, would escape the introspection of models."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT conrelid::regclass::text, attname FROM pg_constraint"
            " JOIN pg_attribute ON attrelid = conrelid AND attnum = ANY (conkey)"
            " WHERE contype = 'f' AND confrelid = 'people_worker'::regclass"
        )
        assert set(cursor.fetchall()) == {(each.table, each.column) for each in references_to(Worker)}


def test_what_hangs_on_a_record_and_the_log_are_answered(world: World, everywhere: Worker) -> None:
    held = held_about(everywhere, at=world.now)
    entries = {row["id"] for row in held["tables"]["evidence_hoursentry"]}
    signed = {row["entry_id"] for row in held["tables"]["evidence_countersignature"]}
    assert len(entries) == 30
    assert entries < signed
    assert json.loads(held["tables"]["crews_decision"][0]["statement"])["answer"]["requirements"]
    assert {row["decision_id"] for row in held["tables"]["crews_decisiondependency"]} == set(
        Decision.objects.filter(worker=everywhere).values_list("pk", flat=True)
    )
    for table in ("transcripts_linkopening", "transcripts_endedlink"):
        assert [row["link_id"] for row in held["tables"][table]] == [SharedLink.objects.get().pk]
    logged = {(each["kind"], each["record"]) for each in held["log"]}
    assert {("people_worker", everywhere.pk), *(("evidence_hoursentry", each) for each in entries)} <= logged
    assert AssignmentState.objects.get(worker=everywhere).assignment == Assignment.objects.get()


def test_secrets_and_other_peoples_records_are_not_handed_out(world: World, everywhere: Worker) -> None:
    written = json.dumps(held_about(everywhere, at=world.now))
    assert "pbkdf2" not in written
    assert "a" * 64 not in written
    assert SharedLink.objects.get().token_hash not in written
    assert "Vasquez" not in written


def test_the_number_of_statements_is_fixed(world: World, everywhere: Worker) -> None:
    newcomer = world.worker("Brannoch", "Telleryd")
    counts = []
    for worker in (everywhere, newcomer):
        with CaptureQueriesContext(connection) as asked:
            held_about(worker, at=world.now)
        counts.append(len(asked))
    assert counts[0] == counts[1] < 110


def test_the_zip_holds_data_documents_and_a_readme(world: World, everywhere: Worker) -> None:
    with zipfile.ZipFile(io.BytesIO(data_request_zip(everywhere, at=world.now))) as archive:
        assert archive.testzip() is None
        held = json.loads(archive.read("data.json"))
        [document] = [each for each in held["documents"] if each["name"] == "scan.pdf"]
        assert archive.read(document["file"]) == SCAN
        assert everywhere.number in archive.read("README.txt").decode()
        assert {each["file"] for each in held["documents"]} | {"data.json", "README.txt"} == set(archive.namelist())
        assert held["tables"]["people_worker"][0]["family_name"] == "Valkenrath"


def test_every_foreign_key_to_a_worker_is_introspected() -> None:
    found = {
        (model._meta.db_table, field.column)
        for model in apps.get_models()
        for field in model._meta.get_fields()
        if isinstance(field, models.ForeignKey) and field.related_model is Worker
    }
    assert found == {(each.table, each.column) for each in references_to(Worker)}
