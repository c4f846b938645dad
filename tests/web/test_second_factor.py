"""Signing in, the compulsory second factor, and what every response carries."""

from __future__ import annotations

import re
from datetime import timedelta
from io import StringIO

import pytest
from allauth.mfa.models import Authenticator
from django.core import mail
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry.crews import access
from registry.demo import scenario
from registry.evidence import services as evidence
from registry.people import invitations
from registry.people import services as people
from registry.people.models import Account
from registry.people.second_factor import enrol_authenticator_app
from tests.world import World, sign_in

PASSWORD = "a long enough phrase"
SECRET = "INVENTEDFORTESTS"


def opened(kind: str, world: World, *, secret: str | None = None) -> Account:
    what: dict[str, object] = {"employer": world.employer} if kind == "employer" else {}
    if kind in ("worker", "assessor"):
        what["worker"] = world.assessor if kind == "assessor" else world.worker("Mira", "Sandoval")
        kind = "worker"
    account = people.open_account(username="somebody", password=PASSWORD, kind=kind, **what)  # type: ignore[arg-type]
    if secret:
        enrol_authenticator_app(account=account, secret=secret)
    return account


def password_given(password: str = PASSWORD) -> Client:
    client = Client()
    client.post("/sign-in/", {"login": "somebody", "password": password})
    return client


def code(secret: str = SECRET) -> str:
    return scenario.shown_by_app(secret)[1]


def confirmed(client: Client) -> Client:
    client.post("/account/confirm/?next=/account/", {"password": PASSWORD})
    return client


@pytest.mark.parametrize("kind", ["employer", "inspector", "registrar", "assessor"])
def test_who_must_have_a_second_factor_reaches_only_its_set_up(world: World, kind: str) -> None:
    opened(kind, world)
    client = password_given()
    for path in ("/", "/workers/", "/jobs/plan/", "/account/invitations/", "/account/sessions/", "/account/password/"):
        assert client.get(path).headers["Location"] == "/account/", path
    assert "Set up a second factor first" in client.get("/account/").text
    assert client.get("/account/authenticator-app/").headers["Location"].startswith("/account/confirm/")
    assert client.get("/", headers={"HX-Request": "true"}).headers["HX-Redirect"] == "/account/"


def test_a_worker_who_does_not_assess_needs_none(world: World) -> None:
    opened("worker", world)
    assert password_given().get("/", follow=True).status_code == 200


def test_a_program_is_told_by_a_problem_detail(world: World) -> None:
    opened("employer", world)
    response = password_given().get("/api/jobs/")
    assert (response.status_code, response.headers["Content-Type"]) == (403, "application/problem+json")
    assert response.json()["detail"] == "Set up a second factor first."


def test_an_app_is_set_up_by_a_right_code_and_its_secret_is_encrypted(world: World) -> None:
    opened("employer", world)
    client = confirmed(password_given())
    page = client.get("/account/authenticator-app/").text
    (secret,) = re.findall(r'<kbd class="secret">(\w+)</kbd>', page)
    wrong = client.post("/account/authenticator-app/", {"code": "not it"})
    assert "This code is wrong" in wrong.text
    assert "not it" in wrong.text
    assert client.get("/").status_code == 302
    response = client.post("/account/authenticator-app/", {"code": code(secret)})
    assert response.headers["Location"] == "/account/recovery-codes/"
    assert secret not in str(Authenticator.objects.get(type="totp").data)


def test_signing_in_takes_both_steps(world: World) -> None:
    opened("employer", world, secret=SECRET)
    client = Client()
    client.post("/sign-in/", {"login": "somebody", "password": PASSWORD, "next": "/workers/"})
    assert client.get("/").headers["Location"].startswith("/sign-in/")
    assert "This code is wrong" in client.post("/sign-in/second-step/", {"code": "000"}).text
    assert client.post("/sign-in/second-step/", {"code": code()}).headers["Location"] == "/workers/"
    assert client.get("/workers/").status_code == 200


def test_a_code_works_once(world: World) -> None:
    opened("employer", world, secret=SECRET)
    used = code()
    assert password_given().post("/sign-in/second-step/", {"code": used}).status_code == 302
    assert password_given().post("/sign-in/second-step/", {"code": used}).status_code == 422


def test_a_recovery_code_stands_in_once(world: World) -> None:
    account = opened("employer", world, secret=SECRET)
    client = Client()
    sign_in(client, account)
    confirmed(client).post("/account/recovery-codes/new/")
    first = re.findall(r"<li><kbd>(.+?)</kbd></li>", client.get("/account/recovery-codes/").text)[0]
    assert password_given().post("/sign-in/second-step/", {"code": first}).headers["Location"] == "/"
    assert password_given().post("/sign-in/second-step/", {"code": first}).status_code == 422


def test_removing_the_second_factor_counts_at_once(world: World) -> None:
    account = opened("employer", world, secret=SECRET)
    client = Client()
    sign_in(client, account)
    assert client.get("/").status_code == 200
    call_command("remove_second_factor", account.username, stdout=StringIO())
    assert client.get("/").headers["Location"] == "/account/"


def test_a_session_from_before_the_second_factor_ends_with_it(world: World) -> None:
    account = opened("employer", world)
    earlier = password_given()
    enrol_authenticator_app(account=account, secret=SECRET)
    assert earlier.get("/account/").headers["Location"] == "/sign-in/"
    assert "_auth_user_id" not in earlier.session


def test_becoming_an_assessor_counts_at_once_and_until_the_appointment_ends(world: World) -> None:
    account = opened("worker", world)
    client = password_given()
    assert client.get("/own/").status_code == 200
    assert account.worker is not None
    now = timezone.now()
    evidence.appoint(
        worker=account.worker,
        duty="assessor",
        kind="duty",
        employer=world.employer,
        start=world.now - timedelta(days=1),
        end=now + timedelta(days=1),
        recorded_at=now,
        recorded_by=None,
    )
    assert client.get("/").headers["Location"] == "/account/"
    assert not access.second_factor_of(account, at=now + timedelta(days=1)).compulsory


def test_the_check_costs_one_statement(world: World) -> None:
    account = opened("assessor", world)
    with CaptureQueriesContext(connection) as captured:
        access.second_factor_of(account, at=timezone.now())
    assert len(captured) == 1


def test_failed_attempts_lock_the_name_out_and_say_for_how_long(world: World) -> None:
    opened("worker", world)
    client = Client()
    for _attempt in range(5):
        failed = client.post("/sign-in/", {"login": "somebody", "password": "wrong"})
        assert "The username or the password is wrong." in failed.text
    locked = client.post("/sign-in/", {"login": "somebody", "password": PASSWORD})
    assert "Too many failed attempts. Try again in 15 minutes." in locked.text
    assert 'value="somebody"' in locked.text
    assert PASSWORD not in locked.text
    assert client.get("/").status_code == 302


def test_failed_codes_lock_the_account_out_and_say_for_how_long(world: World) -> None:
    opened("employer", world, secret=SECRET)
    client = password_given()
    for _attempt in range(5):
        client.post("/sign-in/second-step/", {"code": "000"})
    locked = client.post("/sign-in/second-step/", {"code": code()})
    assert "Too many failed attempts. Try again in 15 minutes." in locked.text


def test_a_flood_of_attempts_is_told_to_wait(world: World) -> None:
    client = Client()
    answers = [client.post("/sign-in/", {"login": f"n{each}", "password": "wrong"}) for each in range(31)]
    assert answers[-1].status_code == 429
    assert "Wait one minute" in answers[-1].text


def test_other_sessions_are_signed_out(world: World) -> None:
    opened("worker", world)
    here, elsewhere = password_given(), password_given()
    assert elsewhere.get("/own/").status_code == 200
    assert "Sign out everywhere else" in here.get("/account/sessions/").text
    here.post("/account/sessions/")
    assert elsewhere.get("/own/").status_code == 302
    assert here.get("/own/").status_code == 200


def test_a_forgotten_password_is_set_by_a_mailed_link(world: World) -> None:
    account = opened("worker", world)
    account.email = "somebody@registry.example"
    account.save()
    client = Client()
    client.post("/account/password/forgotten/", {"email": "nobody@registry.example"})
    assert mail.outbox == [], "nobody learns which addresses are known"
    client.post("/account/password/forgotten/", {"email": account.email})
    (link,) = re.findall(r"http://testserver(/account/password/new/\S+)", str(mail.outbox[0].body))
    page = client.get(link, follow=True)
    new = "climbed another section"
    action = page.request["PATH_INFO"]
    assert client.post(action, {"password1": new, "password2": new}).status_code == 302
    assert password_given(new).get("/own/").status_code == 200
    assert "This link does not work" in Client().get(link, follow=True).text


def test_nobody_signs_up(client: Client, db: None) -> None:
    assert client.get("/sign-up/").status_code == 404
    assert "ign up" not in client.get("/sign-in/").text


def test_accepting_leads_straight_to_the_second_factor(world: World) -> None:
    made = invitations.invite(kind="inspector", invited_by=None, invited_at=timezone.now())
    client = Client()
    link, path = f"/invitations/{made.token}/", "/invitations/accept/"
    assert client.get(link).headers["Location"] == path
    wrong = client.post(path, {"username": "looker", "password": "short", "password_again": "other"})
    assert wrong.status_code == 422
    assert "at least 12 characters" in wrong.text
    assert "This is not the same password." in wrong.text
    assert 'value="looker"' in wrong.text
    given = {"username": "looker", "password": PASSWORD, "password_again": PASSWORD}
    assert client.post(path, given).headers["Location"] == "/account/"
    assert client.get("/account/authenticator-app/").status_code == 200, "the password is not asked for again"
    assert "This browser is signed in as looker" in client.get(path).text
    assert Client().get(link).status_code == 410
    assert Client().get(path).status_code == 410


def test_codes_are_shown_only_while_the_demonstration_runs(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    account = people.open_account(username=scenario.INSPECTOR.username, password=PASSWORD, kind="inspector")
    scenario.enrol_accounts()
    client = Client()
    client.post("/sign-in/", {"login": account.username, "password": PASSWORD})
    monkeypatch.delenv("REGISTRY_DEMO", raising=False)
    assert "This is a demonstration" not in client.get("/sign-in/second-step/").text
    monkeypatch.setenv("REGISTRY_DEMO", "1")
    shown = scenario.code_of(account)
    assert shown is not None
    assert f"<kbd>{shown}</kbd>" in client.get("/sign-in/second-step/").text
    assert client.post("/sign-in/second-step/", {"code": shown}).status_code == 302
    assert scenario.code_of(account) != shown, "a used code is not shown again"


def test_the_language_is_chosen_and_kept(world: World, dispatcher: Client) -> None:
    dispatcher.post("/language/", {"language": "fr", "next": "/account/"})
    assert '<html lang="fr">' in dispatcher.get("/account/").text


@pytest.mark.parametrize("path", ["/sign-in/", "/nothing-here/", "/api/jobs/"])
def test_every_response_says_where_content_may_come_from(client: Client, db: None, path: str) -> None:
    headers = client.get(path).headers
    assert "default-src 'self'" in headers["Content-Security-Policy"]
    assert "unsafe" not in headers["Content-Security-Policy"]
    assert headers["Referrer-Policy"] == "same-origin"


def test_the_session_cookie_is_out_of_reach_of_scripts(world: World) -> None:
    opened("worker", world)
    cookie = password_given().cookies["sessionid"]
    assert (cookie["httponly"], cookie["samesite"], cookie["max-age"]) == (True, "Lax", 12 * 60 * 60)
