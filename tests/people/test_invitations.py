"""Invitations: who may send them, and that each opens one account, once, in time."""

from __future__ import annotations

import re
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from registry.database.errors import RecordRefused, constraint_of
from registry.people import invitations, services
from registry.people.invitations import NewInvitation, accept, invite, open_invitation
from registry.people.models import Account, Employer, Invitation, Worker

pytestmark = pytest.mark.django_db

NOW = timezone.now()
PASSWORD = "braced on all four sides"


@pytest.fixture
def employer() -> Employer:
    return services.register_employer(name="Northern Hoist", jurisdiction="US", recorded_at=NOW)


@pytest.fixture
def dispatcher(employer: Employer) -> Account:
    return services.open_account(username="planner", password=None, kind="employer", employer=employer)


def registered(given: str) -> Worker:
    return services.register_worker(given_name=given, family_name="Lind", recorded_at=NOW, recorded_by=None)


def employed(employer: Employer, *, days_ago: int = 30, days: int | None = None) -> Worker:
    worker, start = registered("Ana"), (NOW - timedelta(days=days_ago)).date()
    end = None if days is None else start + timedelta(days=days)
    services.employ(worker=worker, employer=employer, start=start, end=end, recorded_at=NOW, recorded_by=None)
    return worker


def invited_inspector(valid_for: timedelta = invitations.VALID_FOR) -> NewInvitation:
    return invite(kind="inspector", invited_by=None, invited_at=NOW, valid_for=valid_for)


def rules(refused: pytest.ExceptionInfo[RecordRefused]) -> set[str]:
    return {each.rule for each in refused.value.problems}


def test_the_token_is_kept_nowhere() -> None:
    made = invited_inspector()
    with connection.cursor() as cursor:
        cursor.execute("SELECT invitation::text FROM people_invitation invitation")
        ((row,),) = cursor.fetchall()
    assert made.token not in row
    assert open_invitation(token=made.token, at=NOW) == made.invitation


def test_accepting_opens_the_account_it_is_for(employer: Employer, dispatcher: Account) -> None:
    made = invite(kind="employer", employer=employer, invited_by=dispatcher, invited_at=NOW)
    account = accept(token=made.token, username="second", password=PASSWORD, accepted_at=NOW)
    assert (account.kind, account.employer, account.check_password(PASSWORD)) == ("employer", employer, True)
    made.invitation.refresh_from_db()
    assert (made.invitation.account, made.invitation.accepted_at) == (account, NOW)


def test_a_worker_needs_no_employer_for_an_account() -> None:
    worker = registered("Bo")
    made = invite(kind="worker", worker=worker, invited_by=None, invited_at=NOW)
    assert accept(token=made.token, username="bo", password=PASSWORD, accepted_at=NOW).worker == worker


def test_an_invitation_is_used_once() -> None:
    made = invited_inspector()
    accept(token=made.token, username="first", password=PASSWORD, accepted_at=NOW)
    with pytest.raises(RecordRefused) as refused:
        accept(token=made.token, username="second", password=PASSWORD, accepted_at=NOW)
    assert rules(refused) == {"an_invitation_is_accepted_once"}
    assert not Account.objects.filter(username="second").exists()


def test_an_invitation_runs_out() -> None:
    made = invited_inspector(timedelta(days=2))
    with pytest.raises(RecordRefused) as refused:
        accept(token=made.token, username="late", password=PASSWORD, accepted_at=NOW + timedelta(days=2, minutes=1))
    assert rules(refused) == {"an_invitation_is_accepted_in_time"}


def test_a_wrong_token_opens_nothing() -> None:
    made = invited_inspector()
    for token in ("", made.token[:-1], made.invitation.token_hash):
        with pytest.raises(RecordRefused) as refused:
            open_invitation(token=token, at=NOW)
        assert rules(refused) == {"invitation_is_known"}


def test_a_taken_user_name_leaves_the_invitation_open(dispatcher: Account) -> None:
    made = invited_inspector()
    with pytest.raises(RecordRefused) as refused:
        accept(token=made.token, username="PLANNER", password=PASSWORD, accepted_at=NOW)
    assert [each.field for each in refused.value.problems] == ["username"]
    accept(token=made.token, username="another", password=PASSWORD, accepted_at=NOW)


def test_a_dispatcher_invites_the_workers_it_employs(employer: Employer, dispatcher: Account) -> None:
    worker = employed(employer)
    made = invite(kind="worker", worker=worker, invited_by=dispatcher, invited_at=NOW)
    assert invitations.invitations_of(dispatcher, most=9) == [made.invitation]


@pytest.mark.parametrize("which", ["stranger", "left long ago", "another employer", "inspector", "registrar"])
def test_a_dispatcher_invites_nobody_else(employer: Employer, dispatcher: Account, which: str) -> None:
    other = services.register_employer(name="Other Works", jurisdiction="US", recorded_at=NOW)
    asked = {
        "stranger": lambda: {"kind": "worker", "worker": registered("Cy")},
        "left long ago": lambda: {"kind": "worker", "worker": employed(employer, days_ago=90, days=30)},
        "another employer": lambda: {"kind": "employer", "employer": other},
        "inspector": lambda: {"kind": "inspector"},
        "registrar": lambda: {"kind": "registrar"},
    }[which]()
    with pytest.raises(RecordRefused) as refused:
        invite(**asked, invited_by=dispatcher, invited_at=NOW)  # type: ignore[arg-type]
    assert rules(refused) == {"dispatchers_invite_their_own"}
    assert not Invitation.objects.exists()


def test_inspectors_and_registrars_are_invited_by_a_named_registrar(employer: Employer, dispatcher: Account) -> None:
    first = invite(kind="registrar", invited_by=None, invited_at=NOW)
    registrar = accept(token=first.token, username="keeper", password="a-very-long-word", accepted_at=NOW)
    rule = "an_act_of_the_registrar_names_the_registrar"
    for kind in ("inspector", "registrar"):
        assert invite(kind=kind, invited_by=registrar, invited_at=NOW).invitation.invited_by == registrar
        with pytest.raises(RecordRefused) as refused:
            invite(kind=kind, invited_by=None, invited_at=NOW)
        assert rules(refused) == {rule}
        assert refused_by_the_database(by_hand(kind, "NULL")) == rule
        assert refused_by_the_database(by_hand(kind, dispatcher.pk)) == "only_the_registrar_invites_inspectors"
    with pytest.raises(CommandError, match="Only a registrar does this"):
        call_command("invite", kind="inspector", registrar=dispatcher.username)
    call_command("invite", kind="inspector", registrar="keeper", stdout=StringIO())


def by_hand(kind: str, inviter: object) -> str:
    """An invitation written past the pages."""
    return (
        "INSERT INTO people_invitation (token_hash, kind, invited_by_id, invited_at, expires_at)"
        f" VALUES (repeat('a', 64), '{kind}', {inviter}, now(), now() + interval '1 day')"
    )


@pytest.mark.parametrize("kind", ["inspector", "worker"])
def test_nobody_but_a_dispatcher_invites_from_the_pages(kind: str) -> None:
    worker = registered("Ana") if kind == "worker" else None
    account = services.open_account(username="somebody", password=None, kind=kind, worker=worker)
    with pytest.raises(RecordRefused) as refused:
        invite(kind="worker", worker=registered("Bo"), invited_by=account, invited_at=NOW)
    assert rules(refused) == {"only_dispatchers_invite"}


def test_a_worker_with_an_account_is_not_invited_again(employer: Employer, dispatcher: Account) -> None:
    worker = employed(employer)
    services.open_account(username="ana", password=None, kind="worker", worker=worker)
    with pytest.raises(RecordRefused) as refused:
        invite(kind="worker", worker=worker, invited_by=dispatcher, invited_at=NOW)
    assert rules(refused) == {"a_worker_has_one_open_account"}


def refused_by_the_database(statement: str) -> str | None:
    with pytest.raises(DatabaseError) as error, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    return constraint_of(error.value)


OPEN_AGAIN = "UPDATE people_invitation SET accepted_at = NULL, account_id = NULL"
ACCEPT = "UPDATE people_invitation SET accepted_at = now(), account_id = (SELECT id FROM people_account LIMIT 1)"


def test_the_database_lets_no_used_invitation_be_used_again() -> None:
    accept(token=invited_inspector().token, username="first", password=PASSWORD, accepted_at=NOW)
    assert refused_by_the_database(OPEN_AGAIN) == "an_invitation_is_accepted_once"


def test_the_database_lets_no_late_invitation_be_used() -> None:
    past = NOW - timedelta(days=9)
    invite(kind="inspector", invited_by=None, invited_at=past)
    services.open_account(username="late", password=None, kind="inspector")
    assert refused_by_the_database(ACCEPT) == "an_invitation_is_accepted_in_time"


def test_the_database_opens_no_account_of_another_kind() -> None:
    invited_inspector()
    services.open_account(username="registrar", password=None, kind="registrar")
    assert refused_by_the_database(ACCEPT) == "an_invitation_opens_the_account_it_is_for"


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ("expires_at = expires_at + interval '1 day'", "records_are_never_changed"),
        ("kind = 'registrar'", "records_are_never_changed"),
        ("token_hash = repeat('a', 64)", "records_are_never_changed"),
    ],
)
def test_the_database_keeps_an_invitation_as_it_was_sent(change: str, rule: str) -> None:
    invited_inspector()
    assert refused_by_the_database(f"UPDATE people_invitation SET {change}") == rule


def test_the_application_cannot_remove_an_invitation() -> None:
    invited_inspector()
    with pytest.raises(DatabaseError, match="permission denied"), connection.cursor() as cursor:
        cursor.execute("DELETE FROM people_invitation")


def test_the_database_keeps_no_clear_token_and_no_long_invitation() -> None:
    row = "INSERT INTO people_invitation (token_hash, kind, invited_at, expires_at) VALUES "
    clear = refused_by_the_database(f"{row} ('in-the-clear', 'inspector', now(), now() + interval '1 day')")
    assert clear == "invitation_keeps_only_the_tokens_sha256"
    long = refused_by_the_database(f"{row} (repeat('a', 64), 'inspector', now(), now() + interval '31 days')")
    assert long == "invitation_lasts_at_most_30_days"


def test_the_command_prints_a_link_that_opens(employer: Employer) -> None:
    said = StringIO()
    call_command("invite", kind="inspector", address="https://registry.example/", stdout=said)
    (token,) = re.findall(r"^https://registry\.example/invitations/([\w-]+)/$", said.getvalue(), flags=re.MULTILINE)
    assert open_invitation(token=token, at=NOW + timedelta(minutes=1)).kind == "inspector"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"kind": "employer", "employer": "Nobody"}, "no employer"),
        ({"kind": "worker", "worker": "W-999999"}, "no worker"),
        ({"kind": "worker"}, "does not fit its kind"),
        ({"kind": "inspector", "days": 31}, "30 days at most"),
    ],
)
def test_the_command_says_what_is_wrong(asked: dict[str, object], said: str) -> None:
    with pytest.raises(CommandError, match=said):
        call_command("invite", **asked)
