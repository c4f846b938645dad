"""What an account is, the application's role cannot change, nor can it make itself an inspector or a registrar."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import DatabaseError, connection, connections, transaction

from registry.database.errors import constraint_of
from registry.people.invitations import NewInvitation, accept, hash_of, invite
from registry.people.models import Account, Employer
from registry.people.services import open_account, register_employer, register_worker

NOW = datetime.now(UTC).replace(microsecond=0)


def refused(statement: str, *given: Any) -> str | None:
    with pytest.raises(DatabaseError) as error, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, given)
    return constraint_of(error.value)


@pytest.fixture
def employer(db: None) -> Employer:
    return register_employer(name="Northern Hoist", jurisdiction="US", recorded_at=NOW)


@pytest.fixture
def dispatcher(employer: Employer) -> Account:
    return open_account(username="dispatcher", password=None, kind="employer", employer=employer)


def test_an_account_keeps_its_kind(dispatcher: Account) -> None:
    worker = register_worker(given_name="Ana", family_name="Lind", recorded_at=NOW, recorded_by=None)
    other = register_employer(name="Southern Hoist", jurisdiction="US", recorded_at=NOW)
    for change in (
        "kind = 'registrar', employer_id = NULL",
        "kind = 'inspector', employer_id = NULL",
        f"kind = 'worker', employer_id = NULL, worker_id = {worker.pk}",
        f"employer_id = {other.pk}",
        "is_superuser = true",
        "is_staff = true",
        f"id = {dispatcher.pk + 1000}",
    ):
        statement = f"UPDATE people_account SET {change} WHERE id = %s"
        assert refused(statement, dispatcher.pk) == "an_account_keeps_its_kind", change
    dispatcher.set_password("another-long-word")
    dispatcher.save()


@pytest.mark.parametrize("power", ["is_superuser", "is_staff"])
def test_no_account_is_opened_with_powers(db: None, power: str) -> None:
    with pytest.raises(DatabaseError) as error, transaction.atomic():
        Account.objects.create(username="helper", kind="registrar", **{power: True})
    assert constraint_of(error.value) == "an_account_keeps_its_kind"


class TestAtWork:
    """With the tolerance of work, which tests otherwise lift; the owner's change is taken back."""

    pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

    @pytest.fixture(autouse=True)
    def _at_work(self, transactional_db: None) -> Iterator[None]:
        self.tolerate("interval '10 minutes'")
        yield
        self.tolerate("NULL")

    def tolerate(self, how_much: str) -> None:
        with connections["owner"].cursor() as cursor:
            cursor.execute(f"UPDATE database_policy SET recorded_at_tolerance = {how_much}")

    @pytest.mark.parametrize("kind", ["inspector", "registrar"])
    def test_an_inspector_and_a_registrar_were_invited(self, kind: str) -> None:
        with pytest.raises(DatabaseError) as error, transaction.atomic():
            Account.objects.create(username="helper", kind=kind)
        assert constraint_of(error.value) == "inspectors_and_registrars_are_invited"
        assert not Account.objects.exists()

    def test_the_way_in_by_invitations(self) -> None:
        now = datetime.now(UTC)
        first = invite(kind="registrar", invited_by=None, invited_at=now)
        registrar = accept(
            token_hash=hash_of(first.token), username="keeper", password="a-very-long-word", accepted_at=now
        )
        second = invite(kind="inspector", invited_by=registrar, invited_at=now)
        assert (
            accept(token_hash=hash_of(second.token), username="i", password="a-very-long-word", accepted_at=now).kind
            == "inspector"
        )


def accepted(made: NewInvitation, username: str, now: datetime) -> Account:
    return accept(token_hash=hash_of(made.token), username=username, password="a-very-long-word", accepted_at=now)
