"""The page on which a dispatcher closes a colleague's account, and what a closed account can still do: nothing."""

from __future__ import annotations

import pytest
from allauth.usersessions.models import UserSession
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from registry.demo import scenario
from registry.people import services as people
from registry.people.closing import close_account
from registry.people.models import Account, ClosedAccount
from registry.people.second_factor import enrol_authenticator_app
from tests.web.conftest import SignedIn
from tests.world import World

PASSWORD = "a long enough phrase"
SECRET = "INVENTEDFORTESTS"
LIST = "/account/dispatchers/"


@pytest.fixture
def colleague(world: World) -> Account:
    return people.open_account(username="colleague", password=PASSWORD, kind="employer", employer=world.employer)


def closing_page(account: Account) -> str:
    return f"{LIST}{account.pk}/close/"


def signed_in_by_both_steps(account: Account) -> Client:
    """A session as people open one, so that it is kept among the account's sessions."""
    enrol_authenticator_app(account=account, secret=SECRET)
    client = Client()
    client.post("/sign-in/", {"login": account.username, "password": PASSWORD})
    client.post("/sign-in/second-step/", {"code": scenario.shown_by_app(SECRET)[1]})
    return client


def test_the_accounts_of_the_employer_are_listed(world: World, dispatcher: Client, colleague: Account) -> None:
    other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    people.open_account(username="stranger", password=None, kind="employer", employer=other)
    shown = dispatcher.get(LIST).text
    assert "colleague" in shown
    assert "Has not signed in yet." in shown
    assert "no second factor" in shown
    assert "second factor set up" in shown
    assert "Last signed in" in shown
    assert "stranger" not in shown
    assert f'href="{closing_page(colleague)}"' in shown
    assert shown.count("/close/") == 1, "nobody is offered to close their own"
    assert LIST in dispatcher.get("/account/invitations/").text


def test_an_account_is_closed_from_its_page(dispatcher: Client, colleague: Account) -> None:
    page = closing_page(colleague)
    assert "Close the account colleague" in dispatcher.get(page).text
    assert not ClosedAccount.objects.exists(), "opening the page closes nothing"
    done = dispatcher.post(page, {"reason": "Has left the firm."}, follow=True)
    assert done.redirect_chain == [(LIST, 302)]
    assert "The account colleague is closed." in done.text
    assert "Closed by dispatcher on" in done.text
    assert "Has left the firm." in done.text
    closing = ClosedAccount.objects.get()
    assert (closing.account, closing.recorded_by.username) == (colleague, "dispatcher")  # type: ignore[union-attr]


def test_a_missing_reason_is_told_beside_its_field(dispatcher: Client, colleague: Account) -> None:
    for reason, said in ((" ", "Say why the account is closed."), ("x" * 501, "at most 500 characters")):
        page = dispatcher.post(closing_page(colleague), {"reason": reason})
        assert page.status_code == 422
        assert 'id="id_reason_error"' in page.text
        assert said in page.text
    assert "x" * 501 in page.text, "what was typed is kept"
    assert not ClosedAccount.objects.exists()


def test_one_that_is_not_the_dispatchers_to_close_is_refused(
    world: World, dispatcher: Client, another_employer: Client, colleague: Account
) -> None:
    own = Account.objects.get(username="dispatcher")
    page = dispatcher.get(closing_page(own))
    assert (page.status_code, "Nobody closes their own account" in page.text) == (409, True)
    for method in ("get", "post"):
        asked = getattr(another_employer, method)(closing_page(colleague), {"reason": "x"})
        assert (asked.status_code, "not an account of your employer" in asked.text) == (403, True)
    close_account(account=colleague, closed_at=world.now, closed_by=None, reason="Left.")
    again = dispatcher.post(closing_page(colleague), {"reason": "Left."})
    assert (again.status_code, "This account is closed already." in again.text) == (409, True)


@pytest.mark.parametrize("path", [LIST, f"{LIST}1/close/"])
def test_the_pages_are_the_dispatchers_alone(inspector: Client, path: str) -> None:
    assert inspector.get(path).status_code == 403
    assert Client().get(path).headers["Location"].startswith("/sign-in/")


def test_a_live_session_is_refused_at_once(world: World, dispatcher: Client, colleague: Account) -> None:
    theirs = signed_in_by_both_steps(colleague)
    assert theirs.get("/").status_code == 200
    assert theirs.get("/api/jobs/").status_code == 200
    (session,) = UserSession.objects.filter(user=colleague)
    dispatcher.post(closing_page(colleague), {"reason": "Has left the firm."})
    assert theirs.get("/").headers["Location"].startswith("/sign-in/")
    assert theirs.get("/api/jobs/").status_code == 403
    assert theirs.post("/jobs/plan/", {}).status_code == 302
    assert not UserSession.objects.filter(user=colleague).exists()
    assert not Session.objects.filter(session_key=session.session_key).exists()
    assert dispatcher.get("/").status_code == 200


def test_a_session_that_nobody_kept_a_list_of_is_refused_too(
    world: World, signed_in: SignedIn, colleague: Account
) -> None:
    theirs = signed_in(colleague)
    close_account(account=colleague, closed_at=world.now, closed_by=None, reason="Left.")
    assert theirs.get("/").headers["Location"].startswith("/sign-in/")
    assert theirs.get("/api/jobs/").status_code == 403


def test_nobody_signs_in_with_a_closed_account(world: World, colleague: Account) -> None:
    half_way = Client()
    enrol_authenticator_app(account=colleague, secret=SECRET)
    half_way.post("/sign-in/", {"login": "colleague", "password": PASSWORD})
    close_account(account=colleague, closed_at=timezone.now(), closed_by=None, reason="Left.")
    half_way.post("/sign-in/second-step/", {"code": scenario.shown_by_app(SECRET)[1]})
    assert half_way.get("/").headers["Location"].startswith("/sign-in/")
    anew = Client().post("/sign-in/", {"login": "colleague", "password": PASSWORD}, follow=True)
    assert "This account is closed" in anew.text


def test_no_new_password_is_sent_to_a_closed_account(
    world: World, colleague: Account, mailoutbox: list[object]
) -> None:
    colleague.email = "colleague@registry.example"
    colleague.save()
    close_account(account=colleague, closed_at=timezone.now(), closed_by=None, reason="Left.")
    Client().post("/account/password/forgotten/", {"email": colleague.email})
    assert mailoutbox == []


def test_an_invitation_that_ended_is_shown_as_such(
    world: World, dispatcher: Client, signed_in: SignedIn, colleague: Account
) -> None:
    signed_in(colleague).post("/account/invitations/", {"kind": "employer", "address": "next@post.example"})
    assert "open until" in dispatcher.get("/account/invitations/").text
    dispatcher.post(closing_page(colleague), {"reason": "Left."})
    shown = dispatcher.get("/account/invitations/").text
    assert "ended, since an account was closed" in shown
    assert "open until" not in shown
