"""Accounts that rest on a firm's invitation alone, until somebody from outside has seen the person."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from registry.database.errors import RecordRefused, constraint_of
from registry.database.readers import account_reader, reading_as
from registry.ledger.models import Entry
from registry.people import services
from registry.people.identity import check_identity, unchecked_among, unchecked_invitations, unchecked_workers
from registry.people.invitations import accept, hash_of, invite
from registry.people.models import Account, Employer, IdentityCheck, Worker

pytestmark = pytest.mark.django_db

NOW = timezone.now()
RULE = "an_identity_is_checked_from_outside"


@pytest.fixture
def employer() -> Employer:
    return services.register_employer(name="Northern Hoist", jurisdiction="US", recorded_at=NOW)


@pytest.fixture
def dispatcher(employer: Employer) -> Account:
    return services.open_account(username="planner", password=None, kind="employer", employer=employer)


@pytest.fixture
def inspector() -> Account:
    return services.open_account(username="inspector", password=None, kind="inspector")


def worker_of(employer: Employer, given: str) -> Worker:
    worker = services.register_worker(given_name=given, family_name="Lind", recorded_at=NOW, recorded_by=None)
    services.employ(worker=worker, employer=employer, start=NOW.date(), recorded_at=NOW, recorded_by=None)
    return worker


def opened(worker: Worker, by: Account | None, address: str = "") -> Account:
    made = invite(kind="worker", worker=worker, address=address, invited_by=by, invited_at=NOW)
    return accept(
        token_hash=hash_of(made.token), username=f"w{worker.pk}", password="braced on all sides", accepted_at=NOW
    )


def test_only_what_a_firm_mailed_is_marked(employer: Employer, dispatcher: Account, inspector: Account) -> None:
    # Without a name at the machine, before there is a registrar to name.
    first = opened(worker_of(employer, "Dag"), None)
    registrar = services.open_account(username="registrar", password=None, kind="registrar")
    mailed = opened(worker_of(employer, "Ana"), dispatcher, "ana@post.example")
    seen = [opened(worker_of(employer, name), by) for name, by in (("Bo", inspector), ("Cy", registrar))]
    seen.append(first)
    accounts = [mailed.pk, *(each.pk for each in seen), dispatcher.pk, None]
    assert unchecked_among(accounts) == {mailed.pk: "Northern Hoist"}
    assert unchecked_workers([mailed.worker_id or 0, seen[0].worker_id or 0]) == {mailed.worker_id: "Northern Hoist"}
    check_identity(account=mailed, looked_at=" driving licence ", checked_at=NOW, checked_by=inspector)
    assert unchecked_among(accounts) == {}
    assert not unchecked_invitations().exists()
    check = IdentityCheck.objects.get()
    assert check.looked_at == "driving licence"
    assert "driving" not in Entry.objects.get(kind="people_identitycheck", record=check.pk).leaf


def test_the_firm_and_the_person_confirm_nobody(employer: Employer, dispatcher: Account, inspector: Account) -> None:
    mailed = opened(worker_of(employer, "Ana"), dispatcher, "ana@post.example")
    insert = (
        "INSERT INTO people_identitycheck (account_id, looked_at, recorded_at, recorded_by_id) VALUES (%s, 'x', %s, %s)"
    )
    for by in (dispatcher, mailed):
        with pytest.raises(RecordRefused) as refused:
            check_identity(account=mailed, looked_at="passport", checked_at=NOW, checked_by=by)
        assert [each.rule for each in refused.value.problems] == [RULE]
        assert refused_by_the_database(insert, mailed.pk, NOW, by.pk) == RULE
    assert refused_by_the_database(insert, inspector.pk, NOW, inspector.pk) == RULE
    with pytest.raises(RecordRefused) as refused:
        check_identity(account=mailed, looked_at=" ", checked_at=NOW, checked_by=inspector)
    assert [each.field for each in refused.value.problems] == ["looked_at"]


def test_a_check_stays_and_is_read_by_whom_it_concerns(
    employer: Employer, dispatcher: Account, inspector: Account
) -> None:
    mailed = opened(worker_of(employer, "Ana"), dispatcher, "ana@post.example")
    check_identity(account=mailed, looked_at="passport", checked_at=NOW, checked_by=inspector)
    for change in ("UPDATE people_identitycheck SET looked_at = ''", "UPDATE people_accountevent SET what = 'opened'"):
        with pytest.raises(DatabaseError, match="permission denied"), transaction.atomic():
            connection.cursor().execute(change)
    for reader, sees in ((mailed, 1), (inspector, 1), (dispatcher, 0)):
        with reading_as(account_reader(reader.pk)):
            assert IdentityCheck.objects.count() == sees, reader
            assert unchecked_among([mailed.pk]) == {}, "the mark is the same for every reader"


def refused_by_the_database(statement: str, *values: Any) -> str | None:
    with pytest.raises(DatabaseError) as error, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)
    return constraint_of(error.value)
