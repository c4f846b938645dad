"""Inviting by mail and by a code on paper, from the inviter's side and the person's, and what is not shown to whom."""

from __future__ import annotations

import logging
import re
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from registry.demo import scenario
from registry.evidence import countersigning
from registry.evidence.models import HoursEntry
from registry.people import services as people
from registry.people.invitations import accept, hash_of, invite
from registry.people.models import Account, AccountEvent, IdentityCheck, Invitation, Worker
from registry.web.security import SECOND_FACTOR_OF
from tests.web.conftest import SignedIn
from tests.world import World

PASSWORD = "braced on all four sides"
INVITE = "/account/invitations/"


def mailed_link() -> str:
    (link,) = re.findall(r"http://testserver(/invitations/\S+/)", str(mail.outbox[-1].body))
    return link


def posted(client: Client, worker: Worker, address: str = "mira@post.example") -> Any:
    return client.post(INVITE, {"kind": "worker", "worker": worker.number.lower(), "address": address}, follow=True)


def entered(link: str, username: str = "mira") -> Client:
    """Somebody who followed a link, and chose a user name and a password."""
    client = Client()
    assert client.get(link).headers["Location"] == "/invitations/accept/"
    given = {"username": username, "password": PASSWORD, "password_again": PASSWORD}
    assert client.post("/invitations/accept/", given).status_code == 302
    return client


@pytest.fixture
def mira(world: World) -> Worker:
    return world.worker("Mira", "Sandoval")


@pytest.fixture
def registrar(world: World, signed_in: SignedIn) -> Client:
    return signed_in(people.open_account(username="registrar", password=None, kind="registrar"))


def test_the_link_goes_to_the_person_and_to_no_page_or_log_of_the_inviter(
    mira: Worker, dispatcher: Client, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.DEBUG):
        shown = posted(dispatcher, mira)
        link = mailed_link()
        token = link.split("/")[2]
        client = entered(link)
    assert "on its way to the person, by mail" in shown.text
    for page in (shown.text, dispatcher.get(INVITE).text, dispatcher.get("/account/dispatchers/").text):
        assert token not in page
        assert "/invitations/" not in page.replace(INVITE, "")
    assert token not in caplog.text
    assert token not in str(dict(client.session))
    account = Account.objects.get(username="mira")
    assert (account.worker, account.email) == (mira, "mira@post.example")
    assert Client().get(link).status_code == 410


def test_a_wrong_form_on_the_way_in_leaves_no_token_in_the_log(
    mira: Worker, dispatcher: Client, caplog: pytest.LogCaptureFixture
) -> None:
    posted(dispatcher, mira)
    link, client = mailed_link(), Client()
    client.get(link)
    with caplog.at_level(logging.DEBUG):
        assert client.post("/invitations/accept/", {"username": "mira", "password": "short"}).status_code == 422
    assert link.split("/")[2] not in caplog.text


def test_a_dispatcher_reaches_no_account_by_their_own_address(mira: Worker, world: World, dispatcher: Client) -> None:
    Account.objects.filter(employer=world.employer).update(email="planner@halvorsby.example")
    shown = posted(dispatcher, mira, "Planner+mira@halvorsby.example")
    assert shown.status_code == 422
    assert "No invitation can go to this address" in shown.text
    assert 'value="Planner+mira@halvorsby.example"' in shown.text
    assert mail.outbox == []


def test_nobody_learns_from_the_page_who_is_registered(world: World, dispatcher: Client) -> None:
    elsewhere = people.register_worker(
        given_name="Cai", family_name="Orlo", recorded_at=world.now, recorded_by=None, date_of_birth=None
    )
    for number in (elsewhere.number, "W-987654"):
        shown = dispatcher.post(INVITE, {"kind": "worker", "worker": number, "address": "x@post.example"})
        assert "You can invite dispatchers of your own employer and workers on your books today" in shown.text
        assert "Orlo" not in shown.text


def test_answers_to_invitations_are_counted(dispatcher: Client) -> None:
    asked = {"kind": "worker", "worker": "W-987654", "address": "x@post.example"}
    answers = [dispatcher.post(INVITE, asked).status_code for _ in range(21)]
    assert (answers[19], answers[20]) == (422, 429)


def test_without_a_mail_server_the_page_says_so(dispatcher: Client, mira: Worker, settings: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    assert "This registry sends no mail" in dispatcher.get(INVITE).text
    assert posted(dispatcher, mira).status_code == 422
    assert not Invitation.objects.exists()


@pytest.mark.parametrize("by", ["registrar", "inspector"])
def test_a_code_on_paper_is_shown_once_and_opens_the_account(
    mira: Worker, by: str, request: pytest.FixtureRequest
) -> None:
    giver: Client = request.getfixturevalue(by)
    made = giver.post(INVITE, {"kind": "worker", "worker": mira.number})
    assert "no-store" in made.headers["Cache-Control"]
    assert "hand it to the person yourself" in made.text
    (code,) = re.findall(r"<kbd>((?:\w{4}-){5}\w{4})</kbd>", made.text)
    again = giver.get(INVITE).text
    assert code not in again
    assert "Mira Sandoval" in again
    client = Client()
    wrong = client.post("/invitations/", {"code": code[:-1] + "0"})
    assert (wrong.status_code, "There is no such invitation" in wrong.text) == (422, True)
    assert client.post("/invitations/", {"code": code.lower()}).headers["Location"] == "/invitations/accept/"
    assert "Mira Sandoval" in client.get("/invitations/accept/").text


def test_codes_are_not_for_dispatchers_or_workers(mira: Worker, dispatcher: Client, as_worker: Any) -> None:
    assert as_worker(mira).get(INVITE).status_code == 403
    assert dispatcher.post(INVITE, {"kind": "worker", "worker": mira.number}).status_code == 422
    assert not Invitation.objects.exists()


def test_the_registrar_hands_a_code_to_a_firms_first_dispatcher(world: World, registrar: Client) -> None:
    made = registrar.post(INVITE, {"kind": "employer", "employer": world.employer.pk})
    assert "Halvorsby Tower Works" in made.text
    assert Invitation.objects.get().kind == "employer"


def test_too_many_wrong_codes_are_told_to_wait(world: World) -> None:
    client = Client()
    answers = [client.post("/invitations/", {"code": f"{each:024}"}).status_code for each in range(31)]
    assert (answers[29], answers[30]) == (422, 429)


# Opened by the firm, and signing with a password only


def waiting_for(world: World, signer: Worker) -> HoursEntry:
    worker = world.worker("Rafe", "Osei")
    world.hours(worker, days=1)
    entry = HoursEntry.objects.get(worker=worker)
    countersigning.ask_for_countersignature(entries=[entry], of=signer, recorded_at=world.now, recorded_by=None)
    return entry


def test_a_password_only_countersigns_nothing_and_the_page_leads_to_a_second_factor_and_back(
    world: World,
    mira: Worker,
    dispatcher: Client,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    entry = waiting_for(world, mira)
    posted(dispatcher, mira)
    client = entered(mailed_link())
    page = client.get("/records/to-countersign/")
    assert "A password alone signs nothing" in page.text
    refused = client.post("/records/to-countersign/", {"entries": entry.pk, "do": "sign"})
    assert refused.status_code == 422
    assert entry.countersignatures.filter(by=mira).count() == 0
    assert "A password alone signs nothing" in client.get("/account/?back=to_countersign").text
    secret = re.findall(r'<kbd class="secret">(\w+)</kbd>', client.get("/account/authenticator-app/").text)[0]
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/authenticator-app/", {"code": scenario.shown_by_app(secret)[1]})
    # The session was saved before this test's transaction let the note be made.
    session = client.session
    session[SECOND_FACTOR_OF] = Account.objects.get(username="mira").pk
    session.save()
    assert 'href="/records/to-countersign/"' in client.get("/account/recovery-codes/").text
    assert 'href="/records/to-countersign/"' in client.get("/account/").text
    assert client.post("/records/to-countersign/", {"entries": entry.pk, "do": "sign"}).status_code == 302
    assert entry.countersignatures.filter(by=mira).count() == 1
    assert "second_factor_added" in AccountEvent.objects.values_list("what", flat=True)


def test_the_mark_is_shown_until_somebody_outside_saw_the_person(
    world: World, mira: Worker, dispatcher: Client, registrar: Client, inspector: Client, signed_in: SignedIn
) -> None:
    entry = waiting_for(world, mira)
    planner = Account.objects.get(employer=world.employer)
    made = invite(
        kind="worker", worker=mira, address="mira@post.example", invited_by=planner, invited_at=timezone.now()
    )
    account = accept(token_hash=hash_of(made.token), username="mira", password=PASSWORD, accepted_at=timezone.now())
    said = "invited by Halvorsby Tower Works, identity not checked outside the firm"
    assert said in dispatcher.get("/records/countersigning/").text
    signed_in(account).post("/records/to-countersign/", {"entries": entry.pk, "do": "sign"})
    pages = (f"/workers/{mira.pk}/", f"/workers/{entry.worker_id}/", f"/records/people/{entry.worker_id}/")
    for client in (dispatcher, inspector):
        for path in pages:
            assert said in client.get(path).text, path
    listed = registrar.get("/account/identities/").text
    assert "mira@post.example" in listed
    check = f"/account/identities/{account.pk}/"
    assert registrar.post(check, {"looked_at": ""}).status_code == 422
    assert registrar.post(check, {"looked_at": "passport, photo compared"}).status_code == 302
    assert IdentityCheck.objects.get().account == account
    assert registrar.get(check).status_code == 404
    for path in pages:
        assert said not in dispatcher.get(path).text


def test_dispatchers_and_workers_confirm_nobody(mira: Worker, dispatcher: Client, as_worker: Any) -> None:
    posted(dispatcher, mira)
    entered(mailed_link())
    path = f"/account/identities/{Account.objects.get(username='mira').pk}/"
    for client in (dispatcher, Client()):
        assert client.get("/account/identities/").status_code in (302, 403)
        assert client.post(path, {"looked_at": "passport"}).status_code in (302, 403)
    assert not IdentityCheck.objects.exists()


def test_what_was_signed_in_ones_name_is_listed_and_denied(world: World, as_worker: Any, inspector: Client) -> None:
    worker = world.worker("Rafe", "Osei")
    world.hours(worker, days=1)
    client = as_worker(world.assessor)
    page = client.get("/account/in-your-name/")
    assert "Hours countersigned" in page.text
    assert "by the registrar, at the machine of the registry" in page.text
    (path,) = re.findall(r'href="(/account/in-your-name/countersignature/\d+/)"', page.text)
    assert client.post(path, {"reason": ""}).status_code == 422
    assert client.post(path, {"reason": "I was on leave."}).status_code == 302
    assert "You said that this is not yours: I was on leave." in client.get("/account/in-your-name/").text
    assert as_worker(worker).get(path).status_code == 404
    assert "I was on leave." in inspector.get("/account/identities/").text
    assert "the signer says that this signature is not theirs" in inspector.get(f"/workers/{worker.pk}/").text


def test_an_address_is_changed_by_its_holder_who_confirms_first(mira: Worker) -> None:
    people.open_account(username="mira", password=PASSWORD, kind="worker", worker=mira, email="mira@post.example")
    client = Client()
    client.post("/sign-in/", {"login": "mira", "password": PASSWORD})
    session = client.session
    session["account_authentication_methods"] = []
    session.save()
    asked = client.post("/account/address/", {"email": "thief@post.example"})
    assert asked.headers["Location"].startswith("/account/confirm/")
    assert Account.objects.get(username="mira").email == "mira@post.example"
    client.post("/account/confirm/?next=/account/", {"password": PASSWORD})
    assert client.post("/account/address/", {"email": "mira.s@post.example"}).status_code == 302
    assert Account.objects.get(username="mira").email == "mira.s@post.example"
    assert AccountEvent.objects.latest("pk").what == "address_changed"


@pytest.mark.parametrize("path", ["/account/passkeys/add/", "/account/authenticator-app/"])
def test_a_second_factor_is_added_by_whoever_confirms_first(mira: Worker, path: str) -> None:
    people.open_account(username="mira", password=PASSWORD, kind="worker", worker=mira)
    client = Client()
    client.post("/sign-in/", {"login": "mira", "password": PASSWORD})
    session = client.session
    session["account_authentication_methods"] = []
    session.save()
    assert client.get(path).headers["Location"].startswith("/account/confirm/")


def test_the_password_is_changed_and_told(mira: Worker) -> None:
    account = people.open_account(
        username="mira", password=PASSWORD, kind="worker", worker=mira, email="mira@post.example"
    )
    client = Client()
    client.post("/sign-in/", {"login": "mira", "password": PASSWORD})
    new = "climbed another section"
    client.post("/account/password/", {"oldpassword": PASSWORD, "password1": new, "password2": new})
    event = AccountEvent.objects.get()
    assert (event.what, event.recorded_by) == ("password_changed", account)
    assert "password changed" in client.get("/account/in-your-name/", follow=True).text


def test_the_language_chosen_is_that_of_the_mail(mira: Worker) -> None:
    account = people.open_account(username="mira", password=PASSWORD, kind="worker", worker=mira)
    client = Client()
    client.post("/sign-in/", {"login": "mira", "password": PASSWORD})
    client.post("/language/", {"language": "fr", "next": "/account/"})
    account.refresh_from_db()
    assert account.language == "fr"
    client.post("/language/", {"language": "xx", "next": "/account/"})
    account.refresh_from_db()
    assert account.language == "fr"
