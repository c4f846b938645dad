"""Signature requests, objections and correction requests: append-only, and about the person they say."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import ProgrammingError, connection, transaction

from registry.database.errors import RecordRefused, refusals
from registry.evidence import corrections, countersigning
from registry.evidence.models import CorrectionAnswer, CorrectionRequest, Countersignature, HoursEntry
from registry.evidence.services import record_instruction
from registry.people.models import Account
from registry.people.second_factor import enrol_authenticator_app
from registry.people.services import employ, open_account

TABLES = (
    "evidence_assessmentsignature",
    "evidence_countersignaturerequest",
    "evidence_entryobjection",
    "evidence_objectionanswer",
    "evidence_correctionrequest",
    "evidence_correctionanswer",
)


def refused_by(block: Any) -> set[str]:
    with pytest.raises(RecordRefused) as refused, transaction.atomic():
        block()
    return {each.rule for each in refused.value.problems}


@pytest.fixture
def bo_signs(books: Any) -> Account:
    account = open_account(username="bo", password=None, kind="worker", worker=books.bo)
    enrol_authenticator_app(account=account, secret="INVENTEDFORTESTS")
    return account


@pytest.mark.django_db
@pytest.mark.parametrize("table", TABLES)
def test_application_appends_and_does_nothing_else(table: str) -> None:
    query = "SELECT tgname FROM pg_trigger WHERE tgrelid = %s::regclass AND tgenabled = 'O' AND NOT tgisinternal"
    with connection.cursor() as cursor:
        cursor.execute(query, [table])
        assert {"never_changed", "recorded_now"} <= {name for (name,) in cursor.fetchall()}
    for statement in (f"UPDATE {table} SET recorded_at = recorded_at", f"DELETE FROM {table}", f"TRUNCATE {table}"):
        refused = pytest.raises(ProgrammingError, match="permission denied")
        with refused, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)


def test_nobody_is_asked_to_sign_their_own_hours(books: Any) -> None:
    entry = books.hours()

    def ask() -> None:
        countersigning.ask_for_countersignature(entries=[entry], of=books.ana, recorded_at=books.now, recorded_by=None)

    assert refused_by(ask) == {"nobody_is_asked_about_their_own_hours"}


def test_nobody_is_asked_twice(books: Any) -> None:
    entry = books.hours()

    def ask() -> None:
        countersigning.ask_for_countersignature(entries=[entry], of=books.bo, recorded_at=books.now, recorded_by=None)

    ask()
    assert refused_by(ask) == {"a_countersignature_is_asked_for_once"}


def test_a_signature_is_given_through_the_signers_own_account_and_no_other(books: Any) -> None:
    entry = books.hours()
    countersigning.ask_for_countersignature(entries=[entry], of=books.bo, recorded_at=books.now, recorded_by=None)
    dispatcher = open_account(username="d", password=None, kind="employer", employer=books.employer)

    def sign() -> None:
        countersigning.sign_entries(entry_ids=[entry.pk], signer=books.bo, at=books.now, recorded_by=dispatcher)

    assert refused_by(sign) == {"signer_signs_with_their_own_account"}
    assert not Countersignature.objects.exists()


def test_signing_is_all_or_none(books: Any, bo_signs: Account) -> None:
    asked, unasked = books.hours(8, 12), books.hours(13, 15)
    countersigning.ask_for_countersignature(entries=[asked], of=books.bo, recorded_at=books.now, recorded_by=None)

    def sign() -> None:
        ids = [asked.pk, unasked.pk]
        countersigning.sign_entries(entry_ids=ids, signer=books.bo, at=books.now, recorded_by=bo_signs)

    assert refused_by(sign) == {"entry_waits_for_the_signer"}
    assert not Countersignature.objects.exists()


def test_a_request_is_about_a_record_of_the_worker_it_names(books: Any) -> None:
    entry = books.hours()

    def other() -> None:
        with refusals():
            CorrectionRequest.objects.create(
                worker=books.bo,
                employer=books.employer,
                record_kind="hoursentry",
                record_id=entry.pk,
                what_is_wrong="x",
                recorded_at=books.now,
            )

    assert refused_by(other) == {"correction_request_is_about_the_workers_record"}


def test_an_answer_names_a_correction_of_the_same_kind_and_person(books: Any) -> None:
    entry, another = books.hours(), books.hours(worker=books.bo)
    request = corrections.request_correction(
        record=entry, what_is_wrong="Too long", what_it_should_be="", recorded_at=books.now, recorded_by=None
    )

    def answer() -> None:
        with refusals():
            CorrectionAnswer.objects.create(
                request=request, outcome="corrected", new_record_id=another.pk, recorded_at=books.now
            )

    assert refused_by(answer) == {"correction_answer_is_about_the_same_worker"}


def test_a_correction_answers_its_request_and_asks_the_signers_again(books: Any) -> None:
    entry = books.hours()
    books.sign(entry, books.bo)
    request = corrections.request_correction(
        record=entry, what_is_wrong="I left at 11", what_it_should_be="", recorded_at=books.now, recorded_by=None
    )
    corrected = corrections.correct_with_reason(
        record=entry,
        changes={"end": entry.end - timedelta(hours=1)},
        reason="Gate log",
        request=request,
        recorded_at=books.now,
        recorded_by=None,
    )
    assert request.answer.outcome == "corrected"
    assert request.answer.new_record_id == corrected.pk
    assert corrections.latest_version(entry) == corrected
    assert [each.entry_id for each in countersigning.waiting_for(books.bo)] == [corrected.pk]


def test_a_correction_of_ones_own_accord_keeps_its_reason(books: Any) -> None:
    entry = books.hours()
    corrections.withdraw_with_reason(
        record=entry, reason="Entered twice", employer=books.employer, recorded_at=books.now, recorded_by=None
    )
    assert CorrectionRequest.objects.get().what_is_wrong == "Entered twice"
    assert CorrectionAnswer.objects.get().outcome == "withdrawn"
    assert not HoursEntry.objects.current().exists()


def test_a_correction_that_changes_nothing_is_refused_and_leaves_nothing(books: Any) -> None:
    entry = books.hours()

    def correct() -> None:
        corrections.correct_with_reason(
            record=entry,
            changes={"end": entry.end},
            reason="x",
            employer=books.employer,
            recorded_at=books.now,
            recorded_by=None,
        )

    assert refused_by(correct) == {"a_correction_changes_something"}
    assert not CorrectionRequest.objects.exists()


def test_declining_needs_a_reason_and_happens_once(books: Any) -> None:
    request = corrections.request_correction(
        record=books.hours(), what_is_wrong="x", what_it_should_be="", recorded_at=books.now, recorded_by=None
    )

    def decline(reason: str) -> None:
        corrections.decline_correction(request=request, reason=reason, recorded_at=books.now, recorded_by=None)

    assert refused_by(lambda: decline(" ")) == {"declined_correction_gives_its_reason"}
    decline("The log agrees")
    assert refused_by(lambda: decline("again")) == {"evidence_correctionanswer_request_id_key"}


def test_who_answers_for_a_record(books: Any) -> None:
    assert corrections.employer_answerable_for(books.hours(), on=books.now) == books.employer
    taught = record_instruction(
        worker=books.ana,
        topic="t",
        provider="employer",
        completed_at=books.now,
        recorded_at=books.now,
        recorded_by=None,
    )
    assert corrections.employer_answerable_for(taught, on=books.now) is None

    asked = corrections.request_correction(
        record=taught, what_is_wrong="x", what_it_should_be="", recorded_at=books.now, recorded_by=None
    )
    assert asked.employer is None
    assert list(corrections.waiting_for_the_registrar()) == [asked]
    employ(
        worker=books.ana,
        employer=books.employer,
        start=books.now.date(),
        recorded_at=books.now,
        recorded_by=None,
    )
    assert corrections.employer_answerable_for(taught, on=books.now) == books.employer
