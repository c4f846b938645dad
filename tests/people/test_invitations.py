"""Invitations: who may send them, that the link reaches the person alone, and that it opens one account, once."""

from __future__ import annotations

import logging
import re
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from registry.database.errors import RecordRefused, constraint_of
from registry.people import invitations, services
from registry.people.closing import close_account
from registry.people.invitations import NewInvitation, accept, hash_of, in_groups, invite, invite_by_mail
from registry.people.models import Account, Employer, Invitation, Worker

pytestmark = pytest.mark.django_db

NOW = timezone.now()
PASSWORD = "braced on all four sides"


@pytest.fixture
def employer() -> Employer:
    return services.register_employer(name="Northern Hoist", jurisdiction="US", recorded_at=NOW)


@pytest.fixture
def dispatcher(employer: Employer) -> Account:
    return services.open_account(
        username="planner", password=None, kind="employer", employer=employer, email="planner@hoist.example"
    )


@pytest.fixture
def registrar() -> Account:
    return services.open_account(username="registrar", password=None, kind="registrar")


def registered(given: str) -> Worker:
    return services.register_worker(given_name=given, family_name="Lind", recorded_at=NOW, recorded_by=None)


def employed(employer: Employer, given: str = "Ana", *, days_ago: int = 30, days: int | None = None) -> Worker:
    worker, start = registered(given), (NOW - timedelta(days=days_ago)).date()
    end = None if days is None else start + timedelta(days=days)
    services.employ(worker=worker, employer=employer, start=start, end=end, recorded_at=NOW, recorded_by=None)
    return worker


def invited_inspector(valid_for: timedelta = invitations.VALID_FOR) -> NewInvitation:
    return invite(kind="inspector", invited_by=None, invited_at=NOW, valid_for=valid_for)


def to_worker(worker: Worker, by: Account | None, address: str = "ana@post.example") -> NewInvitation:
    return invite(kind="worker", worker=worker, address=address if by else "", invited_by=by, invited_at=NOW)


def accepted(made: NewInvitation, username: str, **more: Any) -> Account:
    return accept(
        token_hash=hash_of(made.token), username=username, password=PASSWORD, accepted_at=more.pop("at", NOW), **more
    )


def opened(made: NewInvitation) -> Invitation:
    return invitations.open_invitation(token_hash=hash_of(made.token), at=NOW)


def rules(refused: pytest.ExceptionInfo[RecordRefused]) -> set[str]:
    return {each.rule for each in refused.value.problems}


def test_the_token_is_kept_nowhere() -> None:
    made = invited_inspector()
    with connection.cursor() as cursor:
        cursor.execute("SELECT invitation::text FROM people_invitation invitation")
        ((row,),) = cursor.fetchall()
    assert made.token not in row
    assert opened(made) == made.invitation


def test_accepting_opens_the_account_it_is_for(employer: Employer, dispatcher: Account) -> None:
    made = invite(
        kind="employer", employer=employer, address="next@post.example", invited_by=dispatcher, invited_at=NOW
    )
    account = accepted(made, "second")
    assert (account.kind, account.employer, account.check_password(PASSWORD)) == ("employer", employer, True)
    made.invitation.refresh_from_db()
    assert (made.invitation.account, made.invitation.accepted_at) == (account, NOW)


def test_a_mailed_account_is_written_to_where_the_mail_went(employer: Employer, dispatcher: Account) -> None:
    made = to_worker(employed(employer), dispatcher)
    account = accepted(made, "ana", email="planner@hoist.example", language="fr")
    assert (account.email, account.language) == ("ana@post.example", "fr")


def test_a_worker_needs_no_employer_for_an_account() -> None:
    worker = registered("Bo")
    assert accepted(to_worker(worker, None), "bo").worker == worker


def test_an_invitation_is_used_once() -> None:
    made = invited_inspector()
    accepted(made, "first")
    with pytest.raises(RecordRefused) as refused:
        accepted(made, "second")
    assert rules(refused) == {"an_invitation_is_accepted_once"}
    assert not Account.objects.filter(username="second").exists()


def test_an_invitation_runs_out() -> None:
    made = invited_inspector(timedelta(days=2))
    with pytest.raises(RecordRefused) as refused:
        accepted(made, "late", at=NOW + timedelta(days=2, minutes=1))
    assert rules(refused) == {"an_invitation_is_accepted_in_time"}


def test_a_wrong_token_opens_nothing() -> None:
    made = invited_inspector()
    for token in ("", made.token[:-1], made.invitation.token_hash):
        with pytest.raises(RecordRefused) as refused:
            invitations.open_invitation(token_hash=hash_of(token), at=NOW)
        assert rules(refused) == {"invitation_is_known"}


def test_a_taken_user_name_leaves_the_invitation_open(dispatcher: Account) -> None:
    made = invited_inspector()
    with pytest.raises(RecordRefused) as refused:
        accepted(made, "PLANNER")
    assert [each.field for each in refused.value.problems] == ["username"]
    accepted(made, "another")


def test_a_dispatcher_invites_the_workers_it_employs(employer: Employer, dispatcher: Account) -> None:
    made = to_worker(employed(employer), dispatcher)
    assert invitations.invitations_of(dispatcher, most=9) == [made.invitation]


@pytest.mark.parametrize("which", ["stranger", "left long ago", "another employer", "inspector", "registrar"])
def test_a_dispatcher_invites_nobody_else(employer: Employer, dispatcher: Account, which: str) -> None:
    other = services.register_employer(name="Other Works", jurisdiction="US", recorded_at=NOW)
    asked = {
        "stranger": lambda: {"kind": "worker", "worker": employed(other, "Cy")},
        "left long ago": lambda: {"kind": "worker", "worker": employed(employer, days_ago=90, days=30)},
        "another employer": lambda: {"kind": "employer", "employer": other},
        "inspector": lambda: {"kind": "inspector"},
        "registrar": lambda: {"kind": "registrar"},
    }[which]()
    with pytest.raises(RecordRefused) as refused:
        invite(**asked, address="x@post.example", invited_by=dispatcher, invited_at=NOW)  # type: ignore[arg-type]
    assert rules(refused) == {"dispatchers_invite_their_own"}
    assert not Invitation.objects.exists()


def test_inspectors_and_registrars_are_invited_by_a_named_registrar(employer: Employer, dispatcher: Account) -> None:
    first = invite(kind="registrar", invited_by=None, invited_at=NOW)
    registrar = accepted(first, "keeper")
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
        "INSERT INTO people_invitation (token_hash, kind, invited_by_id, way, address, invited_at, expires_at)"
        f" VALUES (repeat('a', 64), '{kind}', {inviter}, 'printed', '', now(), now() + interval '1 day')"
    )


def test_somebody_elsewhere_and_nobody_are_answered_alike(employer: Employer, dispatcher: Account) -> None:
    other = services.register_employer(name="Other Works", jurisdiction="US", recorded_at=NOW)
    elsewhere = employed(other, "Cy")
    accepted(to_worker(elsewhere, None), "cy")
    answers = set()
    for worker in (None, elsewhere, registered("Dag")):
        with pytest.raises(RecordRefused) as refused:
            invite(kind="worker", worker=worker, address="x@post.example", invited_by=dispatcher, invited_at=NOW)
        answers.add(tuple((each.field, each.rule, each.message) for each in refused.value.problems))
    assert len(answers) == 1


@pytest.mark.parametrize("kind", ["inspector", "worker"])
def test_a_worker_invites_nobody_and_an_inspector_no_dispatcher(employer: Employer, kind: str) -> None:
    worker = registered("Ana") if kind == "worker" else None
    account = services.open_account(username="somebody", password=None, kind=kind, worker=worker)
    with pytest.raises(RecordRefused) as refused:
        invite(kind="employer", employer=employer, invited_by=account, invited_at=NOW)
    assert rules(refused) == {"workers_invite_nobody"}


# Nobody's account is taken over


def test_a_dispatcher_gets_no_link_without_a_mail(employer: Employer, dispatcher: Account) -> None:
    with pytest.raises(RecordRefused) as refused:
        to_worker(employed(employer), dispatcher, address=" ")
    assert rules(refused) == {"an_employers_invitation_goes_by_mail"}


OWN_ADDRESSES = ["planner@hoist.example", "Planner@Hoist.Example", "planner+ana@hoist.example"]


@pytest.mark.parametrize("address", OWN_ADDRESSES)
def test_a_dispatcher_does_not_invite_to_their_own_address(
    employer: Employer, dispatcher: Account, address: str
) -> None:
    with pytest.raises(RecordRefused) as refused:
        to_worker(employed(employer), dispatcher, address)
    assert rules(refused) == {"an_invitation_goes_to_the_persons_own_address"}
    sentence = str(refused.value)
    assert "planner" not in sentence
    assert "Hoist" not in sentence


def test_an_address_serves_one_person(employer: Employer, dispatcher: Account) -> None:
    ana, bo = employed(employer), employed(employer, "Bo")
    to_worker(ana, dispatcher)
    for attempt in (
        lambda: to_worker(bo, dispatcher, "ANA+bo@post.example"),
        lambda: invite(
            kind="employer", employer=employer, address="ana@post.example", invited_by=dispatcher, invited_at=NOW
        ),
    ):
        with pytest.raises(RecordRefused) as refused:
            attempt()
        assert rules(refused) == {"an_invitation_goes_to_the_persons_own_address"}
    assert to_worker(ana, dispatcher, "ana@post.example")


def test_inviting_again_ends_the_earlier_invitation(employer: Employer, dispatcher: Account) -> None:
    ana = employed(employer)
    earlier, later = to_worker(ana, dispatcher), to_worker(ana, dispatcher, "ana.lind@post.example")
    for attempt in (lambda: opened(earlier), lambda: accepted(earlier, "ana")):
        with pytest.raises(RecordRefused) as refused:
            attempt()
        assert rules(refused) == {"an_invitation_ends_with_the_next_one"}
    again = [
        invite(kind="employer", employer=employer, address=each, invited_by=dispatcher, invited_at=NOW)
        for each in ("next@post.example", "next+2@post.example")
    ]
    with pytest.raises(RecordRefused):
        opened(again[0])
    assert accepted(later, "ana").worker == ana
    assert opened(again[1])


def test_a_worker_with_an_account_is_not_invited_again(employer: Employer, dispatcher: Account) -> None:
    worker = employed(employer)
    services.open_account(username="ana", password=None, kind="worker", worker=worker)
    for by in (dispatcher, None):
        with pytest.raises(RecordRefused) as refused:
            to_worker(worker, by)
        assert rules(refused) == {"a_worker_has_one_open_account"}


def test_whoever_had_an_account_is_let_in_again_by_the_registrar(
    employer: Employer, dispatcher: Account, registrar: Account
) -> None:
    worker = employed(employer)
    before = services.open_account(username="ana", password=None, kind="worker", worker=worker)
    close_account(account=before, closed_at=NOW, closed_by=registrar, reason="Left.")
    inspector = services.open_account(username="inspector", password=None, kind="inspector")
    for by, address in ((dispatcher, "ana@post.example"), (inspector, "")):
        with pytest.raises(RecordRefused) as refused:
            invite(kind="worker", worker=worker, address=address, invited_by=by, invited_at=NOW)
        assert rules(refused) == {"the_registrar_lets_in_again"}
    later = NOW + timedelta(minutes=1)
    made = invite(kind="worker", worker=worker, invited_by=registrar, invited_at=later)
    assert accepted(made, "ana-again", at=later).worker == worker


# Mail and paper


def test_the_mail_holds_the_link_and_the_inviter_gets_none(
    employer: Employer, dispatcher: Account, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.DEBUG):
        invitation = invite_by_mail(
            kind="worker",
            worker=employed(employer),
            address="ana@post.example",
            invited_by=dispatcher,
            invited_at=NOW,
            link_to=lambda token: f"https://registry.example/invitations/{token}/",
            language="fr",
        )
    (sent,) = mail.outbox
    assert sent.recipients() == ["ana@post.example"]
    (token,) = re.findall(r"/invitations/([\w-]+)/", str(sent.body))
    assert hash_of(token) == invitation.token_hash
    assert token not in caplog.text
    assert token not in repr(vars(invitation))


def test_a_mail_that_is_not_taken_is_told_and_says_nothing_of_the_address(
    employer: Employer, dispatcher: Account, settings: Any, caplog: pytest.LogCaptureFixture
) -> None:
    settings.EMAIL_BACKEND = "tests.people.refusing_mail.Refusing"
    with pytest.raises(RecordRefused) as refused:
        invite_by_mail(
            kind="worker",
            worker=employed(employer),
            address="ana@post.example",
            invited_by=dispatcher,
            invited_at=NOW,
            link_to=str,
        )
    assert rules(refused) == {"mail_is_sent"}
    assert "mail_not_sent" in caplog.text
    assert "ana@" not in caplog.text


@pytest.mark.parametrize("backend", ["console", "dummy", "filebased"])
def test_without_a_mail_server_nobody_is_invited_by_mail(
    employer: Employer, dispatcher: Account, settings: Any, backend: str
) -> None:
    settings.EMAIL_BACKEND = f"django.core.mail.backends.{backend}.EmailBackend"
    with pytest.raises(RecordRefused) as refused:
        invite_by_mail(
            kind="worker",
            worker=employed(employer),
            address="ana@post.example",
            invited_by=dispatcher,
            invited_at=NOW,
            link_to=str,
        )
    assert rules(refused) == {"this_registry_sends_mail"}
    assert not Invitation.objects.exists()


def test_a_code_on_paper_opens_however_it_is_typed(registrar: Account) -> None:
    made = invite(kind="worker", worker=registered("Bo"), invited_by=registrar, invited_at=NOW)
    assert made.invitation.way == "paper"
    printed = in_groups(made.token)
    assert re.fullmatch(r"([2-9A-HJKMNP-TV-Z]{4}-){5}[2-9A-HJKMNP-TV-Z]{4}", printed)
    assert {hash_of(each) for each in (printed, printed.lower(), printed.replace("-", " "))} == {
        made.invitation.token_hash
    }


# The database


def refused_by_the_database(statement: str, *values: Any) -> str | None:
    with pytest.raises(DatabaseError) as error, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)
    return constraint_of(error.value)


OPEN_AGAIN = "UPDATE people_invitation SET accepted_at = NULL, account_id = NULL"
ACCEPT = "UPDATE people_invitation SET accepted_at = now(), account_id = (SELECT id FROM people_account LIMIT 1)"
INVITE = """
INSERT INTO people_invitation
    (token_hash, kind, worker_id, employer_id, invited_by_id, way, address, invited_at, expires_at)
VALUES (repeat('a', 64), %s, %s, %s, %s, %s, %s, now(), now() + interval '1 day')
"""


def test_the_database_holds_the_same_rules(employer: Employer, dispatcher: Account) -> None:
    ana, stranger = employed(employer), registered("Cy")
    to_worker(employed(employer, "Bo"), dispatcher, "bo@post.example")
    had = employed(employer, "Dag")
    before = services.open_account(username="dag", password=None, kind="worker", worker=had)
    close_account(account=before, closed_at=NOW, closed_by=None, reason="Left.")
    open_one = employed(employer, "Eli")
    mine = services.open_account(username="eli", password=None, kind="worker", worker=open_one)
    by = dispatcher.pk
    for values, rule in (
        (("worker", ana.pk, None, by, "paper", ""), "an_employers_invitation_goes_by_mail"),
        (("worker", ana.pk, None, by, "printed", ""), "an_employers_invitation_goes_by_mail"),
        (("worker", ana.pk, None, by, "mail", ""), "an_invitation_says_which_way_it_goes"),
        (
            ("worker", ana.pk, None, by, "mail", "Planner+1@hoist.example"),
            "an_invitation_goes_to_the_persons_own_address",
        ),
        (("worker", ana.pk, None, by, "mail", "bo@post.example"), "an_invitation_goes_to_the_persons_own_address"),
        (("worker", stranger.pk, None, by, "mail", "x@post.example"), "dispatchers_invite_their_own"),
        (("worker", had.pk, None, by, "mail", "x@post.example"), "the_registrar_lets_in_again"),
        (("worker", open_one.pk, None, by, "mail", "x@post.example"), "a_worker_has_one_open_account"),
        (("worker", ana.pk, None, mine.pk, "mail", "x@post.example"), "workers_invite_nobody"),
    ):
        assert refused_by_the_database(INVITE, *values) == rule, values


def test_the_database_accepts_no_invitation_that_a_later_one_ended(employer: Employer, dispatcher: Account) -> None:
    ana = employed(employer)
    earlier, _later = to_worker(ana, dispatcher), to_worker(ana, dispatcher)
    account = services.open_account(username="ana", password=None, kind="worker", worker=ana)
    accept_it = "UPDATE people_invitation SET accepted_at = now(), account_id = %s WHERE id = %s"
    rule = refused_by_the_database(accept_it, account.pk, earlier.invitation.pk)
    assert rule == "an_invitation_ends_with_the_next_one"


def test_the_database_lets_no_used_invitation_be_used_again() -> None:
    accepted(invited_inspector(), "first")
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
        ("address = 'own@post.example'", "records_are_never_changed"),
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
    row = "INSERT INTO people_invitation (token_hash, kind, way, address, invited_at, expires_at) VALUES "
    clear = refused_by_the_database(
        f"{row} ('in-the-clear', 'inspector', 'printed', '', now(), now() + interval '1 day')"
    )
    assert clear == "invitation_keeps_only_the_tokens_sha256"
    long = refused_by_the_database(
        f"{row} (repeat('a', 64), 'inspector', 'printed', '', now(), now() + interval '31 days')"
    )
    assert long == "invitation_lasts_at_most_30_days"


def test_the_command_prints_a_link_that_opens(employer: Employer) -> None:
    said = StringIO()
    call_command("invite", kind="inspector", address="https://registry.example/", stdout=said)
    (token,) = re.findall(r"^https://registry\.example/invitations/([\w-]+)/$", said.getvalue(), flags=re.MULTILINE)
    found = invitations.open_invitation(token_hash=hash_of(token), at=NOW + timedelta(minutes=1))
    assert (found.kind, found.way) == ("inspector", "printed")


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
