"""Each reader sees through the database the rows that concern it, whatever a query forgets to ask."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar

import psycopg
import pytest
from django.db import connection, transaction
from django.db.utils import DataError
from pytest_django import DjangoAssertNumQueries

from registry.crews import queries as crews
from registry.crews.models import Decision
from registry.database.readers import PUBLIC, account_reader, as_the_register, reading_as
from registry.evidence import corrections, countersigning
from registry.evidence import services as evidence
from registry.evidence.models import CountersignatureRequest, HoursEntry
from registry.evidence.queries import evidence_for
from registry.inspection.trace import Subject, record_look
from registry.people import services as people
from registry.people.closing import close_account
from registry.people.models import Account, Employer, Employment, Worker
from registry.transcripts import sharing
from registry.transcripts.models import IssuedTranscript
from registry.transcripts.transcript import transcript_of
from tests.world import World

pytestmark = pytest.mark.django_db

WITHOUT_A_POLICY = {
    "people_account": "read before anybody is signed in; holds no record about the person",
    "people_invitation": "read before anybody is signed in, by the hash of a token",
    "crews_assignment": "a crew is seen by all who are on it, and nobody may be booked twice by two employers",
    "crews_assignmentstate": "as crews_assignment; the database's own triggers keep it",
}
"""Tables that name a worker and show all their rows, each with its reason; ``people_worker`` likewise: names of those
who signed or assessed belong to other people's records."""

ABOUT_PERSON = [
    "evidence_hoursentry",
    "evidence_assessment",
    "evidence_certification",
    "evidence_certificationstatus",
    "evidence_standdown",
    "evidence_instruction",
    "evidence_appointment",
    "people_employment",
    "people_languageskill",
    "transcripts_issuedtranscript",
    "evidence_correctionrequest",
]
"""Tables whose ``worker_id`` says whose record it is, seen by the worker's employers."""

Seen = TypeVar("Seen")


@dataclass
class Readers:
    """A worker of one employer, one of another, who signs for whom, and what is recorded about them."""

    world: World
    other: Employer = field(init=False)
    own: Worker = field(init=False)
    stranger: Worker = field(init=False)
    signer: Worker = field(init=False)

    def __post_init__(self) -> None:
        world = self.world
        past = world.now - timedelta(days=890)
        self.other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=past)
        self.own, self.signer = world.worker("Ada", "Quist"), world.worker("Bo", "Tamsin")
        world.make_erector(self.own, days=2)
        self.stranger = people.register_worker(
            given_name="Cai", family_name="Orlo", date_of_birth=None, recorded_at=past, recorded_by=None
        )
        people.employ(worker=self.stranger, employer=self.other, start=past.date(), recorded_at=past, recorded_by=None)
        self._everything_about(self.own, world.employer)
        self._everything_about(self.stranger, self.other)
        self.accounts = {
            "employer": world.dispatcher(),
            "other employer": people.open_account(
                username="other", password=None, kind="employer", employer=self.other
            ),
            "worker": self._account(self.own),
            "signer": self._account(self.signer),
            "assessor": self._account(world.assessor),
            "inspector": people.open_account(username="inspector", password=None, kind="inspector"),
        }

    def _account(self, worker: Worker) -> Account:
        return people.open_account(username=f"w{worker.pk}", password=None, kind="worker", worker=worker)

    def _everything_about(self, worker: Worker, employer: Employer) -> None:
        world, at = self.world, self.world.now
        told: dict[str, Any] = {"worker": worker, "recorded_at": at, "recorded_by": None}
        held = evidence.record_certification(
            **told,
            scheme="first aid",
            number=f"F-{worker.pk}",
            issuer="Norrland Board",
            issued=at.date(),
            expires=None,
        )
        evidence.change_certification_status(
            certification=held, status="suspended", effective_at=at, reason="", recorded_at=at, recorded_by=None
        )
        evidence.stand_down(**told, start=at - timedelta(days=1), reason="unclipped")
        world.instruct(worker, "subpart_cc_training", at - timedelta(days=1))
        evidence.appoint(**told, duty="signal_person", employer=employer, start=at)
        people.record_language(**told, language="fr")
        world.assess(worker, "rigger", at=at - timedelta(days=1))
        self.entries = getattr(self, "entries", {})
        self.entries[worker.pk] = entry = self.hours(worker, employer, self.signer)
        corrections.request_correction(
            record=entry, what_is_wrong="Another day.", what_it_should_be="", recorded_at=at, recorded_by=None
        )
        IssuedTranscript.objects.create(
            code=f"AAAA-AAAA-AAAA-{worker.pk:04}",
            worker=worker,
            sha256="0" * 64,
            evidence_version=1,
            checkpoint_size=1,
            recorded_at=at,
        )

    def hours(self, worker: Worker, employer: Employer, asked: Worker, *, days_ago: int = 3) -> HoursEntry:
        """Hours that ``asked`` is asked to countersign."""
        start = (self.world.now - timedelta(days=days_ago)).replace(hour=3, minute=0)
        (entry,) = countersigning.record_shift(
            rows=[
                evidence.NewHours(
                    worker=worker,
                    model=self.world.model,
                    operation="dismantling",
                    start=start,
                    end=start + timedelta(hours=4),
                    employer=employer,
                    site=self.world.site,
                    crane=self.world.crane,
                )
            ],
            signer=asked,
            recorded_at=self.world.now,
            recorded_by=None,
        )
        return entry

    def reading(self, who: str) -> AbstractContextManager[None]:
        """Read as one of them."""
        return reading_as(PUBLIC if who == "public" else account_reader(self.accounts[who].pk))

    def seen(self, what: Callable[[], Seen]) -> dict[str, Seen]:
        """What each of them, and the public, gets."""
        found = {}
        for who in (*self.accounts, "public"):
            with self.reading(who):
                found[who] = what()
        return found


@pytest.fixture
def readers(db: None) -> Readers:
    return Readers(World(datetime.now(UTC).replace(second=0, microsecond=0)))


def column(query: str) -> set[object]:
    """The first column of what the application's role gets."""
    with connection.cursor() as cursor:
        cursor.execute(query)
        return {value for (value,) in cursor.fetchall()}


def workers_in(table: str) -> set[object]:
    return column(f"SELECT worker_id FROM {table}")


def test_records_about_a_person_are_seen_by_whom_they_concern(readers: Readers) -> None:
    own, stranger = readers.own.pk, readers.stranger.pk
    books = set(Employment.objects.filter(employer=readers.world.employer).values_list("worker_id", flat=True))
    # Hours that wait for the signer, and assessments given, are other people's records.
    told_signer = {"evidence_hoursentry": {own, stranger}}
    told_assessor = {
        "evidence_hoursentry": {own},
        "evidence_assessment": {own, stranger},
        "people_employment": books,
    }
    expected, found = {}, {}
    for table in ABOUT_PERSON:
        everybody = workers_in(table)
        assert {own, stranger} <= everybody, table
        expected[table] = {
            "employer": everybody - {stranger},
            "other employer": {stranger},
            "worker": {own},
            "signer": (everybody & {readers.signer.pk}) | told_signer.get(table, set()),
            "assessor": (everybody & {readers.world.assessor.pk}) | told_assessor.get(table, set()),
            "inspector": everybody,
            "public": set(),
        }
        found[table] = readers.seen(lambda table=table: workers_in(table))  # type: ignore[misc]
    assert found == expected


def test_hours_of_others_are_seen_one_by_one(readers: Readers) -> None:
    asked = {each.pk for each in readers.entries.values()}
    with readers.reading("signer"):
        assert column("SELECT id FROM evidence_hoursentry") == asked
    with readers.reading("assessor"):
        signed = column("SELECT entry_id FROM evidence_countersignature")
        assert column("SELECT id FROM evidence_hoursentry") == signed
        assert len(signed) == 2


def test_what_was_said_about_hours_is_read_with_them(readers: Readers) -> None:
    own, stranger, at = readers.own.pk, readers.stranger.pk, readers.world.now
    countersigning.decline_entries(
        entry_ids=[each.pk for each in readers.entries.values()],
        signer=readers.signer,
        reason="Not there.",
        at=at,
        recorded_by=readers.accounts["signer"],
    )
    for entry in readers.entries.values():
        evidence.countersign(entry=entry, by=readers.signer, at=at, recorded_at=at, recorded_by=None)
    for table in ("countersignature", "countersignaturerequest", "entryobjection"):
        said = f"SELECT entry_id FROM evidence_{table}"
        of_whom = f"SELECT worker_id FROM evidence_hoursentry WHERE id IN ({said})"
        assert readers.seen(lambda of_whom=of_whom: column(of_whom)) == {  # type: ignore[misc]
            "employer": {own},
            "other employer": {stranger},
            "worker": {own},
            "signer": {own, stranger},
            "assessor": {own} if table == "countersignature" else set(),
            "inspector": {own, stranger},
            "public": set(),
        }, table
        with readers.reading("other employer"):
            assert column(said) == {readers.entries[stranger].pk}


def test_answers_are_read_with_what_they_answer(readers: Readers) -> None:
    at, dispatcher = readers.world.now, readers.accounts["employer"]
    (objection,) = countersigning.decline_entries(
        entry_ids=[readers.entries[readers.own.pk].pk],
        signer=readers.signer,
        reason="Not there.",
        at=at,
        recorded_by=readers.accounts["signer"],
    )
    countersigning.answer_objection(objection=objection, reply="He was.", recorded_at=at, recorded_by=dispatcher)
    corrections.withdraw_with_reason(
        record=readers.entries[readers.own.pk],
        reason="Recorded twice.",
        recorded_at=at,
        recorded_by=dispatcher,
        employer=readers.world.employer,
    )
    seen = readers.seen(
        lambda: tuple(
            len(column(f"SELECT id FROM {table}"))
            for table in ("evidence_objectionanswer", "evidence_correctionanswer")
        )
    )
    assert seen == {
        "employer": (1, 1),
        "other employer": (0, 0),
        "worker": (1, 1),
        "signer": (1, 0),
        "assessor": (0, 0),
        "inspector": (1, 1),
        "public": (0, 0),
    }


def test_a_withdrawal_reaches_whoever_was_asked_to_sign(readers: Readers) -> None:
    entry = readers.entries[readers.stranger.pk]
    evidence.withdraw(entry, recorded_at=readers.world.now, recorded_by=None)
    with readers.reading("signer"):
        assert not HoursEntry.objects.current().filter(pk=entry.pk).exists()
        assert list(countersigning.waiting_for(readers.signer).values_list("entry", flat=True)) == [
            readers.entries[readers.own.pk].pk
        ]


def test_whoever_gave_an_assessment_sees_what_is_asked_about_it(readers: Readers) -> None:
    given = readers.own.assessment_records.latest("pk")
    asked = corrections.request_correction(
        record=given,
        what_is_wrong="Another model.",
        what_it_should_be="",
        recorded_at=readers.world.now,
        recorded_by=None,
    )
    with readers.reading("assessor"):
        assert column("SELECT id FROM evidence_correctionrequest") == {asked.pk}


def test_an_employment_corrected_to_another_employer_shows_nobody(readers: Readers) -> None:
    mistaken = people.employ(
        worker=readers.stranger,
        employer=readers.world.employer,
        start=readers.world.now.date(),
        recorded_at=readers.world.now,
        recorded_by=None,
    )
    with readers.reading("employer"):
        assert readers.stranger.pk in workers_in("evidence_hoursentry")
    evidence.correct(mistaken, recorded_at=readers.world.now, recorded_by=None, employer=readers.other)
    with readers.reading("employer"):
        assert readers.stranger.pk not in workers_in("people_employment")
        assert readers.stranger.pk not in workers_in("evidence_hoursentry")
    with readers.reading("assessor"):
        assert not Employment.objects.current().filter(pk=mistaken.pk).exists()


def test_a_decision_is_between_the_worker_and_the_employer_that_asked(readers: Readers) -> None:
    world = readers.world
    people.employ(
        worker=readers.own, employer=readers.other, start=world.now.date(), recorded_at=world.now, recorded_by=None
    )
    (slot,) = world.job(["erector"]).slots.all()
    outcome = world.assign(crews.slot_with_job(slot.pk), readers.own)
    kept = (
        "SELECT decision_id FROM crews_decisiondependency"
        if outcome.permitted
        else "SELECT decision_id FROM crews_refusal"
    )
    seen = readers.seen(lambda: (outcome.decision.pk in column("SELECT id FROM crews_decision"), bool(column(kept))))
    assert seen == {
        "employer": (True, True),
        "other employer": (False, False),
        "worker": (True, True),
        "signer": (False, False),
        "assessor": (False, False),
        "inspector": (True, True),
        "public": (False, False),
    }


def test_a_shared_link_is_the_workers_affair(readers: Readers) -> None:
    at = readers.world.now
    link = sharing.share(worker=readers.own, days=3, note="", at=at, shared_by=readers.accounts["worker"])
    sharing.share(worker=readers.own, days=3, note="", at=at, shared_by=readers.accounts["worker"])
    with readers.reading("other employer"):
        looked_by = readers.accounts["other employer"]
        assert sharing.look_through(token=link.token, what=sharing.RECORD, at=at, looked_by=looked_by) == link.link
    sharing.end_link(link=link.link, at=at, ended_by=readers.accounts["worker"])
    seen = readers.seen(
        lambda: tuple(
            len(column(f"SELECT id FROM transcripts_{table}")) for table in ("sharedlink", "linkopening", "endedlink")
        )
    )
    assert seen == {
        "employer": (0, 0, 0),
        "other employer": (1, 1, 1),
        "worker": (2, 1, 1),
        "signer": (0, 0, 0),
        "assessor": (0, 0, 0),
        "inspector": (2, 1, 1),
        "public": (0, 0, 0),
    }


def test_the_closing_of_an_account_is_told_to_its_employer_or_its_worker(readers: Readers) -> None:
    colleague = people.open_account(
        username="colleague", password=None, kind="employer", employer=readers.world.employer
    )
    closed = [
        close_account(account=account, closed_at=readers.world.now, closed_by=None, reason="Left.").pk
        for account in (colleague, readers.accounts["worker"])
    ]
    seen = readers.seen(lambda: column("SELECT id FROM people_closedaccount"))
    assert seen == {
        "employer": {closed[0]},
        "other employer": set(),
        "worker": {closed[1]},
        "signer": set(),
        "assessor": set(),
        "inspector": set(closed),
        "public": set(),
    }


def test_a_look_is_told_to_whom_it_concerns(readers: Readers) -> None:
    at, subject = readers.world.now, Subject(worker_id=readers.own.pk)
    people.employ(worker=readers.own, employer=readers.other, start=at.date(), recorded_at=at, recorded_by=None)
    inspectors = record_look(account=readers.accounts["inspector"], what="worker", subject=subject, at=at)
    employers = record_look(account=readers.accounts["employer"], what="worker", subject=subject, at=at)
    seen = readers.seen(lambda: column("SELECT id FROM inspection_look"))
    both = {inspectors.pk, employers.pk}
    assert seen == {
        "employer": both,
        "other employer": {inspectors.pk},
        "worker": both,
        "signer": set(),
        "assessor": set(),
        "inspector": both,
        "public": set(),
    }


def test_a_filter_that_was_forgotten_shows_nothing_of_others(readers: Readers) -> None:
    with readers.reading("other employer"):
        assert set(HoursEntry.objects.values_list("worker", flat=True)) == {readers.stranger.pk}
        assert not Decision.objects.exists()
        assert not CountersignatureRequest.objects.exclude(entry__worker=readers.stranger).exists()
        assert HoursEntry.objects.filter(worker=readers.own).count() == 0


def test_what_weighs_reads_everything_and_gives_the_reader_back(readers: Readers) -> None:
    asked = [readers.own.pk]
    as_register = evidence_for(worker_ids=asked)
    assert as_register.hours
    with readers.reading("other employer"):
        assert evidence_for(worker_ids=asked) == as_register
        assert transcript_of(readers.own, known_at=readers.world.now).hours
        assert workers_in("evidence_hoursentry") == {readers.stranger.pk}


def test_every_table_that_names_a_worker_has_a_policy_or_a_reason_why_not(db: None) -> None:
    naming = column(
        "SELECT conrelid::regclass::text FROM pg_constraint"
        " WHERE contype = 'f' AND confrelid = 'people_worker'::regclass"
    )
    guarded = column(
        "SELECT relname::text FROM pg_class WHERE relrowsecurity AND relnamespace = 'public'::regnamespace"
    )
    assert naming - guarded == set(WITHOUT_A_POLICY)
    assert set(ABOUT_PERSON) <= guarded
    policies = column("SELECT tablename || ' ' || cmd FROM pg_policies WHERE roles = '{registry_application}'")
    assert policies == {
        f"{table} {command}" for table in guarded for command in ("SELECT", "INSERT", "UPDATE", "DELETE")
    }


def test_nothing_that_hangs_on_a_guarded_record_is_open(db: None) -> None:
    hanging = column("""
        SELECT conrelid::regclass::text FROM pg_constraint
        JOIN pg_class guarded ON guarded.oid = confrelid AND guarded.relrowsecurity
        JOIN pg_class open ON open.oid = conrelid AND NOT open.relrowsecurity
        WHERE contype = 'f'
    """)
    # The crew's plan refers to the decision that put somebody into a place.
    assert hanging == {"crews_assignment", "crews_assignmentevent", "crews_assignmentstate"}


# The reader


def setting() -> object:
    (value,) = column("SELECT coalesce(current_setting('registry.reader', true), '')")
    return value


def test_readers_nest_and_are_given_back(db: None) -> None:
    with reading_as("account:1"):
        with as_the_register():
            assert setting() == ""
            with reading_as(PUBLIC):
                assert setting() == PUBLIC
            assert setting() == ""
        assert setting() == "account:1"
    assert setting() == ""


def test_the_reader_is_given_back_when_something_fails(db: None) -> None:
    with pytest.raises(LookupError), reading_as(PUBLIC):
        raise LookupError
    assert setting() == ""
    with reading_as("account:1"):
        with pytest.raises(DataError), transaction.atomic(), as_the_register():
            column("SELECT 1 / 0")
        assert setting() == "account:1"
        assert connection.reader == "account:1"  # type: ignore[attr-defined]
    assert setting() == ""


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_connection_lost_while_somebody_reads_comes_back_as_the_register() -> None:
    connection.ensure_connection()
    with psycopg.connect(**connection.get_connection_params()) as another, reading_as("account:1"):
        backend = connection.connection.info.backend_pid
        another.execute("SELECT pg_terminate_backend(%s)", [backend])
        alive = "SELECT EXISTS (SELECT FROM pg_stat_activity WHERE pid = %s)"
        while another.execute(alive, [backend]).fetchone() == (True,):
            another.commit()
    assert setting() == ""
    assert connection.reader == ""  # type: ignore[attr-defined]


def test_the_same_reader_takes_no_statement(db: None, django_assert_num_queries: DjangoAssertNumQueries) -> None:
    with django_assert_num_queries(2), reading_as(PUBLIC), reading_as(PUBLIC):
        pass
    with django_assert_num_queries(0), as_the_register():
        pass


@pytest.mark.parametrize("reader", ["nobody", "account:", "account:x", "account:99999999999999999999", "account:0"])
def test_an_unknown_reader_reads_nothing(readers: Readers, reader: str) -> None:
    with reading_as(reader):
        assert workers_in("evidence_hoursentry") == set()
        assert workers_in("evidence_certification") == set()


@pytest.mark.django_db(transaction=True)
def test_a_connection_that_was_lost_comes_back_with_its_reader() -> None:
    with reading_as(PUBLIC):
        connection.close()
        assert setting() == PUBLIC
    assert setting() == ""
