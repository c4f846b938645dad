"""An erasure takes the person out of every table and leaves the log and other people's records in order."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.db import DatabaseError, connections, transaction
from psycopg import sql

from registry.crews.models import Decision
from registry.crews.queries import Asking
from registry.crews.services import check
from registry.database.errors import RecordRefused, constraint_of, refusals
from registry.evidence import services as evidence
from registry.evidence.models import (
    Assessment,
    Certification,
    Countersignature,
    Document,
    HoursEntry,
)
from registry.language import amounts
from registry.ledger.kinds import BY_TABLE
from registry.ledger.mirror import Mirror
from registry.ledger.models import Entry
from registry.ledger.notes import Signer
from registry.ledger.queries import inclusion_proof, openings
from registry.ledger.services import make_checkpoint
from registry.ledger.tree import leaf_hash, verify_inclusion
from registry.ledger.verification import verify
from registry.notices.models import NamedSupervisor, SentNotice
from registry.people import services as people
from registry.people.invitations import invite
from registry.people.models import Account, Employment, Worker
from registry.retention.erasure import BLANKED, erase_worker, would_erase
from registry.retention.kept import what_is_kept
from tests.retention.leaver import NUMBER, SCAN, Leaver, leaves_the_employer
from tests.world import World

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


GROUND = "All periods have run out; the person asked for it."
EMPTY_HERE = {
    "evidence_objectionanswer",
    "evidence_correctionanswer",
    "evidence_assessment",
    "evidence_instruction",
    "evidence_appointment",
    "crews_decision",
    "people_employmentrequest",
    "people_employmentconsent",
}
"""Tables in which none of these texts is recorded here, though they may hold personal data."""


def erase(leaver: Leaver, at: datetime) -> Any:
    return erase_worker(worker=leaver.worker, ground=GROUND, at=at, recorded_by=None)


def where_it_stands(*texts: str) -> dict[str, list[str]]:
    """Every table of the database in which a text stands, letters of either case, bytes in hexadecimal."""
    found: dict[str, list[str]] = {}
    with connections["owner"].cursor() as cursor:
        cursor.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY tablename")
        tables = [name for (name,) in cursor.fetchall()]
        assert len(tables) > 40
        for table in tables:
            for text in texts:
                # A column that holds bytes of text is searched for them too.
                forms = [text.lower(), text.encode().hex()]
                statement = sql.SQL("SELECT count(*) FROM {} t WHERE lower(t::text) LIKE ANY (%s)")
                cursor.execute(statement.format(sql.Identifier(table)), [[f"%{form}%" for form in forms]])
                if cursor.fetchone()[0]:
                    found.setdefault(table, []).append(text)
    return found


def test_the_search_itself_finds_the_person_everywhere(leaver: Leaver) -> None:
    found = where_it_stands(*leaver.secrets)
    assert {*BLANKED, "people_account"} <= found.keys() | EMPTY_HERE


def test_after_an_erasure_the_person_is_nowhere(leaver: Leaver, later: datetime) -> None:
    invite(
        kind="worker",
        worker=Worker.objects.exclude(pk=leaver.worker.pk).get(),
        invited_by=Account.objects.get(kind="registrar"),
        invited_at=later,
    )
    done = erase(leaver, later)
    assert where_it_stands(*leaver.secrets) == {}
    assert done.named_still == ()
    assert done.documents == (leaver.scan.pk,)
    leaver.worker.refresh_from_db()
    assert str(leaver.worker) == "Erased person"
    assert leaver.worker.number.startswith("W-")
    assert leaver.worker.date_of_birth is None


def test_a_sent_notice_keeps_everybody_but_the_erased_supervisor(leaver: Leaver, later: datetime, world: World) -> None:
    erase(leaver, later)
    notice = SentNotice.objects.get()
    erased, other = json.loads(notice.content)["supervisors"]
    assert erased["worker"] == {"record": f"worker:{leaver.worker.pk}", "name": "Erased person", "number": ""}
    assert erased["erased"]
    assert "certificates" not in erased
    assert other["worker"]["name"] == str(world.assessor)
    assert json.loads(notice.content)["parties"] == [{"name": "Somebody"}]
    assert [each.content == "" for each in NamedSupervisor.objects.order_by("id")] == [True, False]


def test_the_log_is_in_order_and_old_proofs_still_verify(
    leaver: Leaver, later: datetime, signer: Signer, mirror: Mirror, world: World
) -> None:
    before = make_checkpoint(at=world.now, signers=[signer])
    assert verify(mirror=mirror).findings == []
    entries = HoursEntry.objects.filter(worker=leaver.worker)
    proofs = [
        inclusion_proof("evidence_hoursentry", entries.latest("id").pk),
        inclusion_proof("people_worker", leaver.worker.pk),
    ]
    assert openings("people_worker", [leaver.worker.pk])
    done = erase(leaver, later)
    assert done.erasure.subject == f"worker:{leaver.worker.pk}"
    for checkpointed in (False, True):
        if checkpointed:
            make_checkpoint(at=later, signers=[signer])
        assert verify(mirror=mirror).findings == []
    for proof in proofs:
        verify_inclusion(proof.index, before.size, leaf_hash(proof.leaf.encode()), proof.path, bytes(before.root))
        again = inclusion_proof(proof.kind, proof.record, checkpoint=before)
        assert (again.leaf, again.index, again.path) == (proof.leaf, proof.index, proof.path)
    for table, kind in BY_TABLE.items():
        if kind.about_worker:
            with connections["default"].cursor() as cursor:
                cursor.execute(
                    sql.SQL("SELECT id FROM {} WHERE {} = %s").format(
                        sql.Identifier(table), sql.Identifier(kind.about_worker)
                    ),
                    [leaver.worker.pk],
                )
                assert openings(table, [record for (record,) in cursor.fetchall()]) == {}
    assert openings("evidence_document", [leaver.scan.pk]) == {}
    # Nobody else lost an opening.
    assert openings("people_worker", [world.assessor.pk])


def test_tampering_with_what_an_erasure_left_is_still_found(
    leaver: Leaver, later: datetime, signer: Signer, mirror: Mirror, world: World
) -> None:
    erase(leaver, later)
    make_checkpoint(at=world.now, signers=[signer])
    entry = HoursEntry.objects.filter(worker=leaver.worker, operation="dismantling").first()
    assert entry is not None
    with connections["owner"].cursor() as cursor:
        cursor.execute("ALTER TABLE evidence_hoursentry DISABLE TRIGGER USER")
        cursor.execute("UPDATE evidence_hoursentry SET capacity = 'rigger' WHERE id = %s", [entry.pk])
        cursor.execute("ALTER TABLE evidence_hoursentry ENABLE TRIGGER USER")
    assert verify(mirror=mirror).names() == {("altered", "evidence_hoursentry", entry.pk)}


def test_nothing_is_erased_within_its_period_and_every_record_is_named(leaver: Leaver, world: World) -> None:
    kept = what_is_kept(leaver.worker, world.now)
    with pytest.raises(RecordRefused) as refused:
        erase(leaver, world.now)
    within = [p for p in refused.value.problems if p.rule == "records_are_kept_for_their_period"]
    assert len(within) == len(kept) > 30
    entry = HoursEntry.objects.get(operation="climbing")
    until = entry.end.astimezone(UTC).replace(year=entry.end.year + 10)
    said = next(p.message for p in within if f"Hours entry {entry.pk}:" in p.message)
    assert said == (
        f"Hours entry {entry.pk}: kept through {amounts.day(until)} (10 years after the end of the work, by default)."
    )
    leaver.worker.refresh_from_db()
    assert leaver.worker.family_name == "Oberthur"


def test_an_open_employment_keeps_everything(world: World, later: datetime) -> None:
    worker = world.worker("Brannoch", "Telleryd")
    assert [(each.kind, each.keep_until) for each in what_is_kept(worker, later)] == [
        ("people_employment", None),
        ("people_languageskill", None),
    ]
    with pytest.raises(RecordRefused, match="kept while open"):
        erase_worker(worker=worker, ground=GROUND, at=later, recorded_by=None)


def test_nobody_in_an_assignment_is_erased(leaver: Leaver, world: World, settings: Any) -> None:
    settings.RETENTION = {"default": dict.fromkeys(settings.RETENTION["default"], 0)}
    with pytest.raises(RecordRefused) as refused:
        erase(leaver, world.now)
    assert "nobody_in_an_assignment_is_erased" in {p.rule for p in refused.value.problems}


@pytest.mark.parametrize(
    ("ground", "rule"),
    [("  ", "an_erasure_states_its_ground"), ("Asked for by Ms OBERTHUR", "the_ground_names_nobody")],
)
def test_the_ground_is_stated_and_names_nobody(leaver: Leaver, later: datetime, ground: str, rule: str) -> None:
    with pytest.raises(RecordRefused) as refused:
        erase_worker(worker=leaver.worker, ground=ground, at=later, recorded_by=None)
    assert [p.rule for p in refused.value.problems] == [rule]


def test_a_worker_is_erased_once_and_nothing_is_recorded_afterwards(
    leaver: Leaver, world: World, later: datetime
) -> None:
    erase(leaver, later)
    with pytest.raises(RecordRefused, match="Nothing is left to erase"):
        erase(leaver, later)
    with pytest.raises(RecordRefused, match="have been erased"):
        people.employ(
            worker=leaver.worker, employer=world.employer, start=later.date(), recorded_at=later, recorded_by=None
        )


def test_the_account_is_closed(leaver: Leaver, later: datetime) -> None:
    assert authenticate(username="w.oberthur", password="a-long-demo-word") == leaver.account
    erase(leaver, later)
    account = Account.objects.get(pk=leaver.account.pk)
    assert (account.is_active, account.email, account.has_usable_password()) == (False, "", False)
    assert authenticate(username="w.oberthur", password="a-long-demo-word") is None
    assert authenticate(username=account.username, password="a-long-demo-word") is None


def test_signatures_given_to_others_go_on_counting(
    world: World, leaver: Leaver, later: datetime, signer: Signer, mirror: Mirror
) -> None:
    """The assessor's founding letter, instruction and signatures stand behind everybody else."""
    other = world.worker("Ottoline", "Vasquez-Ruan")
    world.make_erector(other)
    asking = world_asking(world, other)
    before = check(asking=asking, decided_at=world.now, decided_by=None)
    assert before.permitted
    kept_statement, versions = before.statement, before.evidence_versions
    leaves_the_employer(world, world.assessor)
    again = check(asking=asking, decided_at=world.now, decided_by=None)
    name = str(world.assessor)
    done = erase_worker(worker=world.assessor, ground=GROUND, at=later, recorded_by=None)
    after = check(asking=asking, decided_at=world.now, decided_by=None)
    before.refresh_from_db()
    assert (before.statement, before.evidence_versions) == (kept_statement, versions)
    assert after.outcome == "permitted"
    assert after.evidence_versions == again.evidence_versions
    assert [(r["key"], r["met"], r["counted"]) for r in after.answer["requirements"]] == [
        (r["key"], r["met"], r["counted"]) for r in again.answer["requirements"]
    ]
    assert Countersignature.objects.filter(by=world.assessor, entry__worker=other).count() == 30
    assert Assessment.objects.get(worker=other).assessor_id == world.assessor.pk
    # Others' sealed decisions that name the assessor are other people's evidence: they say so.
    naming = Decision.objects.exclude(worker=world.assessor).filter(statement__contains=name)
    assert {each.record for each in done.named_still if each.kind == "crews_decision"} == set(
        naming.values_list("pk", flat=True)
    )
    make_checkpoint(at=world.now, signers=[signer])
    assert verify(mirror=mirror).findings == []


def world_asking(world: World, worker: Worker) -> Asking:
    from registry.crews.queries import asking_for_slot, slot_with_job

    job = world.job(["erector"], starts_in=20)
    return asking_for_slot(slot_with_job(job.slots.get().pk), worker=worker.pk, start=job.start, end=job.end)


def test_a_decision_about_the_erased_keeps_its_question_and_outcome(leaver: Leaver, later: datetime) -> None:
    decision = Decision.objects.get(worker=leaver.worker)
    question = decision.answer["question"]
    erase(leaver, later)
    decision.refresh_from_db()
    assert decision.answer["erased"] is True
    assert decision.answer["question"] == question
    assert decision.answer["requirements"] == []
    assert decision.outcome == decision.answer["outcome"] == "permitted"


def test_a_document_that_others_need_too_stays(leaver: Leaver, world: World, later: datetime) -> None:
    evidence.record_instruction(
        worker=world.assessor,
        topic="toolbox talk",
        provider="employer",
        completed_at=world.now,
        document=leaver.scan,
        recorded_at=world.now,
        recorded_by=None,
    )
    done = erase(leaver, later)
    assert (done.documents, done.shared_documents) == ((), (leaver.scan.pk,))
    assert bytes(Document.objects.get(pk=leaver.scan.pk).content) == SCAN
    assert [str(each) for each in done.named_still] == []


def test_a_dry_run_changes_nothing(leaver: Leaver) -> None:
    planned = would_erase(leaver.worker)
    assert (planned.erasure, planned.documents) == (None, (leaver.scan.pk,))
    assert planned.entries > 40
    assert where_it_stands(NUMBER)
    assert Entry.objects.filter(salt=None).count() == 0


# The guards in the database


def refused_as(alias: str, statement: str, *, erasing: bool) -> str | None:
    """The rule by which the database refuses a statement; an SQLSTATE where it is no rule of ours."""
    with connections[alias].cursor() as cursor, transaction.atomic(using=alias):
        cursor.execute("SELECT set_config('registry.erasing', %s, true)", ["on" if erasing else "off"])
        with pytest.raises(DatabaseError) as refused, transaction.atomic(using=alias):
            cursor.execute(statement)
    return constraint_of(refused.value) or getattr(refused.value.__cause__, "sqlstate", None)


def test_the_application_cannot_blank_even_where_it_may_update(leaver: Leaver) -> None:
    for table, columns in BLANKED.items():
        column = next(iter(columns))
        statement = f"UPDATE {table} SET {column} = {column}"
        assert refused_as("default", statement, erasing=True) == "42501", table
        with connections["owner"].cursor() as owner:
            owner.execute(f"SELECT EXISTS (SELECT FROM {table})")
            filled = owner.fetchone()[0]
            owner.execute(f"GRANT UPDATE ON {table} TO registry_application")
            try:
                if filled:
                    assert refused_as("default", statement, erasing=True) == "records_are_never_changed", table
            finally:
                owner.execute(f"REVOKE UPDATE ON {table} FROM registry_application")
        if filled:
            assert refused_as("owner", statement, erasing=False) == "records_are_never_changed", table


def test_the_application_cannot_borrow_the_owners_rights(leaver: Leaver) -> None:
    with connections["owner"].cursor() as owner:
        owner.execute(
            "CREATE FUNCTION blanks() RETURNS void LANGUAGE sql SECURITY DEFINER AS "
            "$$UPDATE people_worker SET given_name = 'Erased'$$"
        )
        try:
            assert refused_as("default", "SELECT blanks()", erasing=True) == "records_are_never_changed"
        finally:
            owner.execute("DROP FUNCTION blanks()")


def test_even_an_erasure_changes_nothing_but_personal_columns(leaver: Leaver) -> None:
    for statement in (
        "DELETE FROM evidence_certification",
        "UPDATE evidence_certification SET expires = '2090-01-01'",
        "UPDATE evidence_certification SET number = 'x', worker_id = worker_id + 1",
        "UPDATE people_employment SET start = '2001-01-01'",
        "UPDATE crews_decision SET outcome = 'refused', statement = '' WHERE true",
        "UPDATE crews_decision SET role = 'rigger'",
        "DELETE FROM crews_assignmentevent",
    ):
        assert refused_as("owner", statement, erasing=True) == "records_are_never_changed", statement


def test_the_application_cannot_insert_a_document_without_content(world: World) -> None:
    with pytest.raises(RecordRefused, match="size"), refusals(), transaction.atomic():
        Document.objects.create(
            name="x", media_type="text/plain", content=b"", size=5, sha256="0" * 64, recorded_at=world.now
        )


def test_what_may_be_blanked_is_what_is_blanked() -> None:
    with connections["owner"].cursor() as cursor:
        cursor.execute("SELECT table_name, columns FROM registry_erasable")
        allowed = {table: set(columns) for table, columns in cursor.fetchall()}
    assert allowed == {table: set(columns) for table, columns in BLANKED.items()}
    for table, columns in allowed.items():
        kind = BY_TABLE[table]
        # Columns that the log states openly would show up as altered.
        assert columns <= {*kind.personal, *kind.left_out}


def test_numbers_stay_unique(leaver: Leaver, later: datetime) -> None:
    erase(leaver, later)
    numbers = list(Certification.objects.filter(worker=leaver.worker).values_list("number", flat=True))
    assert len(set(numbers)) == len(numbers) == 2
    assert all(each.startswith("Erased ") for each in numbers)
    assert Employment.objects.filter(worker=leaver.worker).count() == 2
