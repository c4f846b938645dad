"""Closing accounts: who may, that it is recorded and final, and what ends with the account."""

from __future__ import annotations

import threading
from datetime import datetime, timedelta
from io import StringIO

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, connections, transaction
from django.utils import timezone

from registry.crews import access
from registry.crews.access import NotAllowed
from registry.database.errors import RecordRefused, constraint_of
from registry.ledger.models import Entry
from registry.people import services
from registry.people.closing import close_account, closings_at, dispatchers_of
from registry.people.invitations import NewInvitation, accept, hash_of, invitations_of, invite, open_invitation
from registry.people.models import Account, ClosedAccount, Employer, Worker
from registry.people.second_factor import enrol_authenticator_app

pytestmark = pytest.mark.django_db

NOW = timezone.now()
PASSWORD = "braced on all four sides"


@pytest.fixture
def employer(db: None) -> Employer:
    return services.register_employer(name="Northern Hoist", jurisdiction="US", recorded_at=NOW)


@pytest.fixture
def dispatcher(employer: Employer) -> Account:
    return dispatcher_of(employer, "planner")


@pytest.fixture
def colleague(employer: Employer) -> Account:
    return dispatcher_of(employer, "colleague")


@pytest.fixture
def ana(employer: Employer) -> Worker:
    worker = services.register_worker(given_name="Ana", family_name="Lind", recorded_at=NOW, recorded_by=None)
    services.employ(worker=worker, employer=employer, start=NOW.date(), recorded_at=NOW, recorded_by=None)
    return worker


def dispatcher_of(employer: Employer, username: str) -> Account:
    return services.open_account(username=username, password=None, kind="employer", employer=employer)


def account_of(worker: Worker, username: str = "ana") -> Account:
    return services.open_account(username=username, password=None, kind="worker", worker=worker)


def close(account: Account, by: Account | None, *, reason: str = "Has left.", at: datetime = NOW) -> ClosedAccount:
    return close_account(account=account, closed_at=at, closed_by=by, reason=reason)


def refused(account: Account, by: Account | None, *, reason: str = "Has left.") -> list[tuple[str, str]]:
    """The fields and rules by which closing is refused; nothing is recorded then."""
    with pytest.raises(RecordRefused) as found:
        close(account, by, reason=reason)
    return [(each.field, each.rule) for each in found.value.problems]


def test_who_closed_it_when_and_why_stays_on_record(dispatcher: Account, colleague: Account) -> None:
    closing = close(colleague, dispatcher, reason=" Has left the firm. ")
    assert (closing.account, closing.recorded_by, closing.recorded_at) == (colleague, dispatcher, NOW)
    assert closing.reason == "Has left the firm."
    assert not colleague.is_active
    entry = Entry.objects.get(kind="people_closedaccount", record=closing.pk)
    assert "Has left" not in entry.leaf


def test_a_closing_gives_its_reason(dispatcher: Account, colleague: Account) -> None:
    assert refused(colleague, dispatcher, reason="  ") == [("reason", "closing_an_account_gives_its_reason")]
    colleague.refresh_from_db()
    assert colleague.is_active


def test_an_account_is_closed_once(dispatcher: Account, colleague: Account) -> None:
    close(colleague, dispatcher)
    assert refused(colleague, None) == [("", "an_account_is_closed_once")]


def test_nobody_closes_their_own_account_so_the_last_is_left_to_the_registrar(
    dispatcher: Account, colleague: Account
) -> None:
    assert refused(dispatcher, dispatcher) == [("", "nobody_closes_their_own_account")]
    close(colleague, dispatcher)
    assert refused(dispatcher, dispatcher) == [("", "nobody_closes_their_own_account")]
    close(dispatcher, None)
    assert not dispatcher.is_active


@pytest.mark.parametrize("which", ["another employer's", "worker's", "inspector's", "registrar's"])
def test_a_dispatcher_closes_no_other_account(dispatcher: Account, ana: Worker, which: str) -> None:
    if which == "another employer's":
        other = services.register_employer(name="Other Works", jurisdiction="US", recorded_at=NOW)
        account = dispatcher_of(other, "other")
    elif which == "worker's":
        account = account_of(ana)
    else:
        account = services.open_account(username="other", password=None, kind=which.removesuffix("'s"))
    rule = "dispatchers_close_accounts_of_their_own_employer"
    assert refused(account, dispatcher) == [("", rule)]
    assert recorded_directly(account, dispatcher) == rule
    with pytest.raises(NotAllowed):
        access.account_to_close(dispatcher, account.pk)
    registrar = services.open_account(username="keeper", password=None, kind="registrar")
    close(account, registrar)
    assert not account.is_active


def test_the_registrar_who_closes_is_named(dispatcher: Account, colleague: Account) -> None:
    """By name, once there is somebody to name; and not by the name of one whose account is closed."""
    registrar = services.open_account(username="keeper", password=None, kind="registrar")
    gone = services.open_account(username="gone", password=None, kind="registrar")
    close(gone, registrar)
    rule = "an_act_of_the_registrar_names_the_registrar"
    assert refused(colleague, None) == [("", rule)]
    assert recorded_directly(colleague, None) == rule
    assert recorded_directly(colleague, gone) == "dispatchers_close_accounts_of_their_own_employer"
    for name in ("gone", "dispatcher", "nobody"):
        with pytest.raises(CommandError, match="Only a registrar does this"):
            call_command("close_account", colleague.username, because="Has left", registrar=name)
    call_command("close_account", colleague.username, because="Has left", registrar="keeper")
    assert ClosedAccount.objects.get(account=colleague).recorded_by == registrar


@pytest.mark.parametrize("kind", ["worker", "inspector"])
def test_nobody_but_a_dispatcher_closes(dispatcher: Account, ana: Worker, kind: str) -> None:
    worker = ana if kind == "worker" else None
    somebody = services.open_account(username="somebody", password=None, kind=kind, worker=worker)
    rule = "dispatchers_close_accounts_of_their_own_employer"
    assert refused(dispatcher, somebody) == [("", rule)]
    assert recorded_directly(dispatcher, somebody) == rule
    with pytest.raises(NotAllowed):
        access.account_to_close(somebody, dispatcher.pk)


def test_what_a_dispatcher_may_close_is_found(dispatcher: Account, colleague: Account) -> None:
    assert access.account_to_close(dispatcher, colleague.pk) == colleague
    with pytest.raises(NotAllowed):
        access.account_to_close(dispatcher, 0)
    with pytest.raises(RecordRefused):
        access.account_to_close(dispatcher, dispatcher.pk)


def test_the_employers_accounts_are_listed(employer: Employer, dispatcher: Account, colleague: Account) -> None:
    enrol_authenticator_app(account=dispatcher, secret="INVENTEDFORTESTS")
    listed = [(each.username, each.second_factor) for each in dispatchers_of(employer)]  # type: ignore[attr-defined]
    assert listed == [("colleague", False), ("planner", True)]
    closing = close(colleague, dispatcher)
    assert list(dispatchers_of(employer)) == [dispatcher]
    assert list(closings_at(employer)) == [closing]


class TestInvitations:
    """What a closed account sent out opens nothing more."""

    def test_end_with_the_account_that_sent_them(
        self, employer: Employer, dispatcher: Account, colleague: Account
    ) -> None:
        sent = mailed(employer, colleague, "sent")
        others = mailed(employer, dispatcher, "others")
        close(colleague, dispatcher)
        for attempt in (
            lambda: open_invitation(token_hash=hash_of(sent.token), at=NOW),
            lambda: accept(token_hash=hash_of(sent.token), username="again", password=PASSWORD, accepted_at=NOW),
        ):
            with pytest.raises(RecordRefused) as found:
                attempt()
            assert [each.rule for each in found.value.problems] == ["an_invitation_ends_with_a_closed_account"]
        assert {each.pk: each.ended for each in invitations_of(dispatcher, most=9)} == {  # type: ignore[attr-defined]
            sent.invitation.pk: True,
            others.invitation.pk: False,
        }
        assert accept(token_hash=hash_of(others.token), username="next", password=PASSWORD, accepted_at=NOW).is_active

    def test_that_were_accepted_before_leave_their_accounts_open(
        self, employer: Employer, dispatcher: Account, colleague: Account
    ) -> None:
        sent = mailed(employer, colleague, "sent")
        account = accept(token_hash=hash_of(sent.token), username="next", password=PASSWORD, accepted_at=NOW)
        close(colleague, dispatcher)
        account.refresh_from_db()
        assert account.is_active

    def test_the_database_accepts_none_of_a_closed_account(
        self, employer: Employer, dispatcher: Account, colleague: Account
    ) -> None:
        sent = mailed(employer, colleague, "sent")
        close(colleague, dispatcher)
        assert (
            refused_by_the_database(
                "UPDATE people_invitation SET accepted_at = now(), account_id = %s WHERE id = %s",
                dispatcher.pk,
                sent.invitation.pk,
            )
            == "an_invitation_ends_with_a_closed_account"
        )

    def test_a_closed_account_sends_none(self, employer: Employer, dispatcher: Account, colleague: Account) -> None:
        close(colleague, dispatcher)
        with pytest.raises(RecordRefused) as found:
            mailed(employer, colleague, "none")
        assert [each.rule for each in found.value.problems] == ["a_closed_account_invites_nobody"]

    def test_a_worker_is_invited_again_by_the_registrar_and_not_by_a_link_from_before(
        self, dispatcher: Account, ana: Worker
    ) -> None:
        def by(inviter: Account | None, at: datetime) -> str:
            address = "" if inviter is None else "ana@post.example"
            made = invite(kind="worker", worker=ana, address=address, invited_by=inviter, invited_at=at)
            return hash_of(made.token)

        before = [by(dispatcher, NOW) for _ in range(2)]
        first = accept(token_hash=before[1], username="ana", password=PASSWORD, accepted_at=NOW)
        close(first, None, at=NOW + timedelta(minutes=1))
        with pytest.raises(RecordRefused) as found:
            open_invitation(token_hash=before[0], at=NOW + timedelta(minutes=2))
        assert [each.rule for each in found.value.problems] == ["an_invitation_ends_with_a_closed_account"]
        later = NOW + timedelta(minutes=2)
        with pytest.raises(RecordRefused) as found:
            by(dispatcher, later)
        assert [each.rule for each in found.value.problems] == ["the_registrar_lets_in_again"]
        second = accept(token_hash=by(None, later), username="ana-again", password=PASSWORD, accepted_at=later)
        assert (second.worker, second.is_active) == (ana, True)

    def test_the_database_opens_no_worker_a_second_account(self, ana: Worker) -> None:
        account_of(ana)
        with pytest.raises(RecordRefused) as found:
            account_of(ana, "second")
        assert [each.rule for each in found.value.problems] == ["a_worker_has_one_open_account"]


def mailed(employer: Employer, by: Account, name: str) -> NewInvitation:
    return invite(kind="employer", employer=employer, address=f"{name}@post.example", invited_by=by, invited_at=NOW)


def refused_by_the_database(statement: str, *values: int | datetime | None) -> str | None:
    with pytest.raises(DatabaseError) as error, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)
    return constraint_of(error.value)


def recorded_directly(account: Account, by: Account | None) -> str | None:
    """The rule by which the database refuses a closing that passes by the service."""
    return refused_by_the_database(
        "INSERT INTO people_closedaccount (account_id, reason, recorded_at, recorded_by_id) VALUES (%s, 'x', %s, %s)",
        account.pk,
        NOW,
        None if by is None else by.pk,
    )


class TestTheDatabase:
    """What holds whatever the application's role tries."""

    def test_opens_no_closed_account_again(self, dispatcher: Account, colleague: Account) -> None:
        close(colleague, dispatcher)
        statement = "UPDATE people_account SET is_active = true WHERE id = %s"
        assert refused_by_the_database(statement, colleague.pk) == "a_closed_account_stays_closed"

    @pytest.mark.parametrize("erasing", ["off", "on"])
    def test_closes_none_without_a_record(self, colleague: Account, erasing: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT set_config('registry.erasing', %s, true)", [erasing])
        statement = "UPDATE people_account SET is_active = false WHERE id = %s"
        assert refused_by_the_database(statement, colleague.pk) == "closing_an_account_is_recorded"

    def test_records_no_second_closing(self, dispatcher: Account, colleague: Account) -> None:
        close(colleague, dispatcher)
        assert recorded_directly(colleague, dispatcher) == "an_account_is_closed_once"

    def test_lets_nobody_close_their_own(self, dispatcher: Account) -> None:
        assert recorded_directly(dispatcher, dispatcher) == "nobody_closes_their_own_account"

    def test_lets_nobody_close_with_a_closed_account(self, dispatcher: Account, colleague: Account) -> None:
        close(colleague, dispatcher)
        rule = "dispatchers_close_accounts_of_their_own_employer"
        assert recorded_directly(dispatcher, colleague) == rule


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_not_even_the_owner_opens_a_closed_account_again(dispatcher: Account, colleague: Account) -> None:
    close(colleague, dispatcher)
    with pytest.raises(DatabaseError) as error, connections["owner"].cursor() as cursor:
        cursor.execute("UPDATE people_account SET is_active = true")
    assert constraint_of(error.value) == "a_closed_account_stays_closed"


@pytest.mark.django_db(transaction=True)
def test_two_who_close_each_other_leave_one_open(employer: Employer, dispatcher: Account, colleague: Account) -> None:
    outcomes: list[str] = []

    def second() -> None:
        try:
            close(dispatcher, colleague)
            outcomes.append("closed")
        except RecordRefused as found:
            outcomes.extend(each.rule for each in found.problems)
        finally:
            connections.close_all()

    waiting = threading.Thread(target=second)
    with transaction.atomic():
        close(colleague, dispatcher)
        waiting.start()
        with psycopg.connect(**connection.get_connection_params()) as another:
            blocked = (
                "SELECT EXISTS (SELECT FROM pg_stat_activity"
                " WHERE wait_event_type = 'Lock' AND datname = current_database())"
            )
            while another.execute(blocked).fetchone() == (False,) and waiting.is_alive():
                another.commit()
    waiting.join(timeout=30)
    assert outcomes == ["dispatchers_close_accounts_of_their_own_employer"]
    assert list(dispatchers_of(employer)) == [dispatcher]


def test_the_command_closes_any_account(ana: Worker) -> None:
    account, said = account_of(ana), StringIO()
    call_command("close_account", "ana", because="The phone was stolen.", stdout=said)
    assert said.getvalue() == "The account ana is closed.\n"
    closing = ClosedAccount.objects.get(account=account)
    assert (closing.recorded_by, closing.reason) == (None, "The phone was stolen.")


@pytest.mark.parametrize(
    ("name", "because", "said"),
    [
        ("nobody", "Left.", "There is no account 'nobody'"),
        ("closed", "Left.", "closed already"),
        ("planner", " ", "Say why the account is closed"),
    ],
)
def test_the_command_says_what_is_wrong(
    employer: Employer, dispatcher: Account, name: str, because: str, said: str
) -> None:
    close(dispatcher_of(employer, "closed"), dispatcher)
    with pytest.raises(CommandError, match=said):
        call_command("close_account", name, because=because)


def test_the_command_asks_for_a_reason(dispatcher: Account) -> None:
    with pytest.raises(CommandError, match="--because"):
        call_command("close_account", "planner")
