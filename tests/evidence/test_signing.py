"""Who signs: with their own account and a second factor, and what is denied afterwards. Tried the attacker's way."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.db import DatabaseError, connection, connections, transaction

from registry.database.errors import RecordRefused, constraint_of
from registry.evidence import assessing, countersigning, in_your_name
from registry.evidence.models import Assessment, Countersignature, DeniedSignature, HoursEntry
from registry.evidence.services import appoint, attach_document, record_assessment, record_hours, withdraw
from registry.people.closing import close_account
from registry.people.models import Account, Worker
from registry.people.second_factor import enrol_authenticator_app
from registry.people.services import open_account

SIGN = """
INSERT INTO evidence_countersignature (entry_id, by_id, at, recorded_at, recorded_by_id)
VALUES (%s, %s, %s, clock_timestamp(), %s)
"""
ASSESS = """
INSERT INTO evidence_assessment (worker_id, kind, role, model_id, configuration, operations, assessed_at, outcome,
    tasks, assessor_id, third_party, employer_id, signature, recorded_at, recorded_by_id, withdrawn)
VALUES (%s, 'practical', 'erector', %s, '', '{erection}', now() - interval '1 day', 'pass', '[]', %s, %s, %s, '',
    clock_timestamp(), %s, false)
"""
DENY = """
INSERT INTO evidence_deniedsignature (by_id, record_kind, record_id, reason, recorded_at, recorded_by_id)
VALUES (%s, %s, %s, 'x', clock_timestamp(), %s)
"""
RECOVERY = Authenticator.Type.RECOVERY_CODES


def rule_of(statement: str, *values: Any) -> str | None:
    """The rule by which the database refuses what the application's role tries."""
    with pytest.raises(DatabaseError) as error, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)
    return constraint_of(error.value)


def refused(attempt: Any) -> set[str]:
    with pytest.raises(RecordRefused) as found:
        attempt()
    return {each.rule for each in found.value.problems}


@pytest.fixture
def bo(books: Any) -> Account:
    return open_account(username="bo", password=None, kind="worker", worker=books.bo)


@pytest.fixture
def dispatcher(books: Any) -> Account:
    account = open_account(username="planner", password=None, kind="employer", employer=books.employer)
    enrol_authenticator_app(account=account, secret="INVENTEDFORTESTS")
    return account


@pytest.fixture
def entry(books: Any) -> HoursEntry:
    entry = books.hours()
    countersigning.ask_for_countersignature(entries=[entry], of=books.bo, recorded_at=books.now, recorded_by=None)
    return entry


@pytest.fixture
def registrar(books: Any) -> Account:
    return open_account(username="registrar", password=None, kind="registrar")


@pytest.fixture
def as_in_production() -> Iterator[None]:
    """Recorded in the present alone, as wherever the registry runs."""
    with connections["owner"].cursor() as owner:
        owner.execute("UPDATE database_policy SET recorded_at_tolerance = interval '10 minutes'")
    yield
    with connections["owner"].cursor() as owner:
        owner.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")


def test_a_password_alone_signs_nothing(books: Any, bo: Account, entry: HoursEntry) -> None:
    def sign() -> None:
        countersigning.sign_entries(entry_ids=[entry.pk], signer=books.bo, at=books.now, recorded_by=bo)

    assert refused(sign) == {"a_signer_has_a_second_factor"}
    assert rule_of(SIGN, entry.pk, books.bo.pk, books.now, bo.pk) == "a_signer_has_a_second_factor"
    Authenticator.objects.create(user=bo, type=RECOVERY, data={})
    assert refused(sign) == {"a_signer_has_a_second_factor"}
    assert rule_of(SIGN, entry.pk, books.bo.pk, books.now, bo.pk) == "a_signer_has_a_second_factor"
    enrol_authenticator_app(account=bo, secret="INVENTEDFORTESTS")
    sign()
    assert Countersignature.objects.get().recorded_by == bo


def test_nobody_signs_in_somebody_elses_name(books: Any, bo: Account, dispatcher: Account, entry: HoursEntry) -> None:
    enrol_authenticator_app(account=bo, secret="INVENTEDFORTESTS")
    for account in (bo, dispatcher):
        assert rule_of(SIGN, entry.pk, books.cy.pk, books.now, account.pk) == "signer_signs_with_their_own_account"
    assert rule_of(SIGN, entry.pk, books.bo.pk, books.now, dispatcher.pk) == "signer_signs_with_their_own_account"

    def sign() -> None:
        countersigning.sign_entries(entry_ids=[entry.pk], signer=books.bo, at=books.now, recorded_by=dispatcher)

    assert refused(sign) == {"signer_signs_with_their_own_account"}


def test_a_closed_account_signs_nothing(books: Any, bo: Account, entry: HoursEntry) -> None:
    enrol_authenticator_app(account=bo, secret="INVENTEDFORTESTS")
    close_account(account=bo, closed_at=books.now, closed_by=None, reason="Left.")
    assert rule_of(SIGN, entry.pk, books.bo.pk, books.now, bo.pk) == "a_closed_account_signs_nothing"


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_no_signature_of_the_register_comes_from_no_account(
    books: Any, registrar: Account, as_in_production: None
) -> None:
    def hours(*span: float, **given: Any) -> HoursEntry:
        return record_hours(new=books.new_hours(*span, **given), recorded_at=books.now, recorded_by=registrar)

    entry, rule = hours(8, 12), "a_signature_without_an_account_has_its_paper"
    assert rule_of(SIGN, entry.pk, books.bo.pk, books.now, None) == rule
    scan = attach_document(
        name="sheet.pdf",
        media_type="application/pdf",
        content=b"%PDF-1.7",
        recorded_at=books.now,
        recorded_by=registrar,
    )
    copied = hours(13, 15, origin="paper", document=scan)
    with connection.cursor() as cursor:
        cursor.execute(SIGN, [copied.pk, books.bo.pk, books.now, None])
    assert Countersignature.objects.get().entry == copied


@pytest.fixture
def assessor(books: Any, bo: Account) -> Account:
    appoint(
        worker=books.bo,
        duty="assessor",
        employer=books.employer,
        start=books.midnight,
        recorded_at=books.now,
        recorded_by=None,
    )
    return bo


def test_a_password_alone_assesses_nobody(books: Any, assessor: Account) -> None:
    def assess() -> Assessment:
        return assessing.record_own_assessment(
            assessor=books.bo,
            employer=books.employer,
            drawn=None,
            recorded_at=books.now,
            recorded_by=assessor,
            worker=books.ana,
            role="erector",
            model=books.model,
            operations=["erection"],
            assessed_at=books.now - timedelta(days=1),
            outcome="pass",
            signature="Bo Stone",
        )

    values = (books.ana.pk, books.model.pk, books.bo.pk, "", books.employer.pk, assessor.pk)
    assert refused(assess) == {"a_signer_has_a_second_factor"}
    assert rule_of(ASSESS, *values) == "a_signer_has_a_second_factor"
    enrol_authenticator_app(account=assessor, secret="INVENTEDFORTESTS")
    given = assess()
    Authenticator.objects.filter(user=assessor).delete()
    assert refused(lambda: withdraw(given, recorded_at=books.now, recorded_by=assessor)) == {
        "a_signer_has_a_second_factor"
    }


def test_an_employer_records_no_assessment_of_its_own_for_its_assessor(
    books: Any, assessor: Account, dispatcher: Account
) -> None:
    enrol_authenticator_app(account=assessor, secret="INVENTEDFORTESTS")
    rule = "assessor_records_with_their_own_account"
    own = (books.ana.pk, books.model.pk, books.bo.pk, "", books.employer.pk)
    assert rule_of(ASSESS, *own, dispatcher.pk) == rule
    assert rule_of(ASSESS, books.ana.pk, books.model.pk, books.cy.pk, "", books.employer.pk, assessor.pk) == rule
    for_a_third_party = (books.ana.pk, books.model.pk, books.cy.pk, "Keel Board", None)
    assert rule_of(ASSESS, *for_a_third_party, assessor.pk) == rule


# What was signed in one's name


def signed(books: Any, entry: HoursEntry, by: Worker, account: Account | None = None) -> Countersignature:
    return Countersignature.objects.create(entry=entry, by=by, at=books.now, recorded_at=books.now, recorded_by=account)


def test_everything_in_ones_name_is_listed_with_where_it_came_from(books: Any, bo: Account, entry: HoursEntry) -> None:
    enrol_authenticator_app(account=bo, secret="INVENTEDFORTESTS")
    own = signed(books, entry, books.bo, bo)
    imported = signed(books, books.hours(13, 15), books.bo)
    others = signed(books, books.hours(16, 17), books.cy)
    given = record_assessment(
        worker=books.ana,
        role="erector",
        model=books.model,
        operations=["erection"],
        assessed_at=books.now,
        outcome="pass",
        assessor=books.bo,
        employer=books.employer,
        recorded_at=books.now,
        recorded_by=None,
    )
    acts = in_your_name.InYourName(bo)
    assert len(acts) == 3
    assert {(each.kind, each.record.pk, each.by) for each in acts[:9]} == {
        ("countersignature", own.pk, "own_account"),
        ("countersignature", imported.pk, "command_line"),
        ("assessment", given.pk, "command_line"),
    }
    assert others.pk not in {each.record.pk for each in acts[:9]}


def test_a_signature_is_denied_by_whose_name_it_is_in(books: Any, bo: Account, entry: HoursEntry) -> None:
    mine, theirs = signed(books, entry, books.bo), signed(books, books.hours(13, 15), books.cy)

    def deny(kind: str, number: int, *, reason: str = "I was not there.", by: Account = bo) -> None:
        in_your_name.deny_signature(kind=kind, record_id=number, reason=reason, denied_at=books.now, denied_by=by)

    for kind, number in (("countersignature", theirs.pk), ("assessment", mine.pk), ("employment", 1)):
        assert refused(lambda kind=kind, number=number: deny(kind, number)) == {
            "a_denied_signature_is_in_the_persons_name"
        }
    assert refused(lambda: deny("countersignature", mine.pk, reason=" ")) == {"a_denied_signature_gives_its_reason"}
    other = open_account(username="cy", password=None, kind="worker", worker=books.cy)
    rule = "a_denied_signature_is_in_the_persons_name"
    assert rule_of(DENY, books.cy.pk, "countersignature", mine.pk, other.pk) == rule
    assert rule_of(DENY, books.bo.pk, "countersignature", mine.pk, other.pk) == rule
    deny("countersignature", mine.pk)
    assert refused(lambda: deny("countersignature", mine.pk)) == {"a_signature_is_denied_once"}
    assert in_your_name.denied_of_entries([entry.pk]) == {mine.pk}
    (act,) = [each for each in in_your_name.InYourName(bo)[:9] if each.kind == "countersignature"]
    assert (act.deniable, act.denied and act.denied.reason) == (False, "I was not there.")
    with pytest.raises(DatabaseError, match="permission denied"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE evidence_deniedsignature SET reason = ''")
    assert DeniedSignature.objects.count() == 1


def test_instants_of_signing_are_those_of_the_act(books: Any, bo: Account, entry: HoursEntry) -> None:
    enrol_authenticator_app(account=bo, secret="INVENTEDFORTESTS")
    at: datetime = books.now
    countersigning.sign_entries(entry_ids=[entry.pk], signer=books.bo, at=at, recorded_by=bo)
    (act,) = in_your_name.InYourName(bo)[:9]
    assert (act.recorded_at, act.account) == (at, bo)
