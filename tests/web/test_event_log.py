"""Lines of the log: each thing that happens leaves one, and none holds what is somebody's own."""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Callable, Iterator
from typing import Any
from unittest.mock import patch

import pytest
from django.test import Client, RequestFactory

from registry.demo import scenario
from registry.people import services as people
from registry.people.models import Account
from registry.people.second_factor import enrol_authenticator_app
from registry.web.bodies import Bodies
from registry.web.log_lines import formatter
from tests.world import World

PASSWORD = "a long enough phrase"
SECRET = "INVENTEDFORTESTS"
WRONG = "not the phrase at all"
ADDRESS = "198.51.100.7"
# What no line may hold: names, what was typed, tokens, addresses.
NEVER = ("somebody", "Sandoval", "Mira", PASSWORD, WRONG, SECRET, ADDRESS, "a-token", "/", "W-0")
Said = Callable[..., list[dict[str, Any]]]


@pytest.fixture
def said() -> Iterator[Said]:
    """The events of one kind, as they are written."""
    written = io.StringIO()
    handler = logging.StreamHandler(written)
    handler.setFormatter(formatter())
    logging.getLogger().addHandler(handler)

    def events(kind: str, *, paths: bool = False) -> list[dict[str, Any]]:
        lines = written.getvalue().splitlines()
        for each in lines:
            found = [text for text in NEVER if text in each and not (paths and text == "/")]
            assert not found, f"{found} in {each}"
        return [line for line in map(json.loads, lines) if line["event"] == kind]

    yield events
    logging.getLogger().removeHandler(handler)


@pytest.fixture
def account(world: World) -> Account:
    made = people.open_account(
        username="somebody", password=PASSWORD, kind="worker", worker=world.worker("Mira", "Sandoval")
    )
    enrol_authenticator_app(account=made, secret=SECRET)
    return made


@pytest.fixture
def client() -> Client:
    return Client(REMOTE_ADDR=ADDRESS)


def signed_in(client: Client) -> Client:
    client.post("/sign-in/", {"login": "somebody", "password": PASSWORD})
    client.post("/sign-in/second-step/", {"code": scenario.shown_by_app(SECRET)[1]})
    return client


def test_signing_in_and_out(account: Account, client: Client, said: Said) -> None:
    signed_in(client).post("/sign-out/")
    (sign_in,) = said("signed_in")
    (sign_out,) = said("signed_out")
    assert (sign_in["account"], sign_in["by"], sign_in["level"]) == (account.pk, ["password", "totp"], "info")
    assert sign_out["account"] == account.pk
    assert sign_in["client"] == sign_out["client"]
    assert sign_in["request"] != sign_out["request"]
    assert sign_in["at"].endswith("Z")


def test_failed_sign_ins(account: Account, client: Client, said: Said) -> None:
    client.post("/sign-in/", {"login": "somebody", "password": WRONG})
    client.post("/sign-in/", {"login": "sombody", "password": PASSWORD})
    client.post("/sign-in/", {"login": "somebody", "password": PASSWORD})
    client.post("/sign-in/second-step/", {"code": "000"})
    client.post("/sign-in/second-step/", {"credential": '{"id": "AAAA"}'})
    Client(REMOTE_ADDR=ADDRESS).post("/sign-in/passkey/", {"credential": '{"id": "AAAA"}'})
    told = [(each["account"], each["by"], each["known_device"]) for each in said("sign_in_failed")]
    assert told == [
        (account.pk, "password", False),
        (None, "password", False),
        (account.pk, "totp", False),
        (account.pk, "webauthn", False),
        (None, "webauthn", False),
    ]


def test_a_failed_confirmation_is_told_as_such(account: Account, client: Client, said: Said) -> None:
    signed_in(client).post("/account/confirm/", {"password": WRONG})
    client.post("/account/password/", {"oldpassword": WRONG, "password1": "x", "password2": "x"})
    client.post("/account/confirm/code/", {"code": "000"})
    told = [(each["by"], each["confirming"], each["known_device"]) for each in said("sign_in_failed")]
    assert told == [("password", True, True), ("password", True, True), ("totp", True, True)]


def test_a_limit_that_was_reached(account: Account, client: Client, said: Said) -> None:
    for _each in range(6):
        client.post("/sign-in/", {"login": "somebody", "password": WRONG})
    (reached,) = said("limit_reached")
    assert (reached["limit"], reached["level"]) == ("password_from_address_at_name", "warning")


def test_a_flood(client: Client, db: None, said: Said) -> None:
    for each in range(31):
        client.post("/sign-in/", {"login": f"n{each}", "password": WRONG})
    assert [each["limit"] for each in said("limit_reached")][-1] == "sign_in_from_address"
    assert said("too_many_requests")


def test_a_shared_link_that_is_tried_out(client: Client, db: None, said: Said) -> None:
    for each in range(31):
        client.get(f"/shared/a-token-{each}/")
    assert [each["limit"] for each in said("limit_reached")] == ["wrong_shared_link"]


def test_refusals_of_access(account: Account, world: World, client: Client, said: Said) -> None:
    signed_in(client)
    other = world.worker("Ilse", "Brandt")
    assert client.get("/account/invitations/").status_code == 403
    assert client.get(f"/workers/{other.pk}/").status_code == 404
    assert client.get(f"/api/jobs/{other.pk}/").status_code == 404
    assert Client(REMOTE_ADDR=ADDRESS).get("/api/jobs/").status_code in (401, 403)
    strict = Client(enforce_csrf_checks=True, REMOTE_ADDR=ADDRESS)
    assert strict.post("/sign-in/", {"login": "somebody"}).status_code == 403
    assert Client(REMOTE_ADDR=ADDRESS).get("/no-such-page/a-token/").status_code == 404
    told = [(each["account"], each["page"], each["status"] % 100) for each in said("access_refused")]
    assert told == [
        (account.pk, "invite", 3),
        (account.pk, "worker", 4),
        (account.pk, "job-detail", 4),
        (None, "job-list", 3),
        (None, "sign_in", 3),
    ]


def test_a_failure_tells_where_and_not_what(account: Account, client: Client, said: Said) -> None:
    client.raise_request_exception = False

    def fail(*given: object, **more: object) -> None:
        try:
            raise KeyError("Mira Sandoval, born 1990-01-02")
        except KeyError as error:
            raise ValueError(f"{WRONG}: somebody") from error

    signed_in(client)
    with patch("registry.web.own.views.render", fail), patch("registry.web.own.views.own_page", fail, create=True):
        assert client.get("/own/?a-token").status_code == 500
    (failed,) = said("failed", paths=True)
    assert (failed["account"], failed["page"], failed["level"]) == (account.pk, "own", "error")
    assert [each["error"] for each in failed["failed"]] == ["builtins.KeyError", "builtins.ValueError"]
    assert any("registry/web/own/views.py:" in line for line in failed["failed"][1]["lines"])


def test_a_librarys_message_is_told_by_its_place_alone(said: Said) -> None:
    try:
        raise ValueError("somebody")
    except ValueError:
        logging.getLogger("a.library").exception("Sandoval asked for /shared/a-token/")
    (message,) = said("library_message", paths=True)
    assert (message["logger"], message["level"]) == ("a.library", "error")
    assert message["said_at"].startswith("test_event_log.py:")
    assert message["failed"][0]["error"] == "builtins.ValueError"


def test_what_the_database_lacks_is_said(said: Said) -> None:
    logging.getLogger("registry.database.serving").warning("%s differs", "the guard of an assignment")
    (message,) = said("library_message", paths=True)
    assert message["said"] == "the guard of an assignment differs"


def test_djangos_own_lines_with_addresses_are_not_written(client: Client, db: None, said: Said) -> None:
    client.get("/no-such-page/a-token/")
    client.get("/sign-in/", headers={"Host": "a-token.example"})
    assert [each["logger"] for each in said("library_message", paths=True)] == ["django.security.DisallowedHost"]


def test_a_name_with_line_breaks_makes_no_line_of_its_own(client: Client, db: None, said: Said) -> None:
    client.post("/sign-in/", {"login": 'x"}\n{"event": "signed_in"}', "password": WRONG})
    assert said("signed_in") == []
    assert len(said("sign_in_failed")) == 1


@pytest.mark.parametrize(
    ("path", "page", "declared", "status"),
    [
        ("/shared/a-token/", "shared_record", 10**9, 413),
        ("/api/jobs/", "job-list", 10**9, 413),
        ("/nothing-here/", None, 10**9, 413),
        ("/sign-in/", "sign_in", "ten", 400),
    ],
)
def test_a_body_that_is_refused_before_anything_else_looks_at_it(
    said: Said, path: str, page: str | None, declared: object, status: int
) -> None:
    sent = {"CONTENT_LENGTH": str(declared), "wsgi.input": io.BytesIO()}
    asked = RequestFactory(REMOTE_ADDR=ADDRESS).post(path).environ | sent
    Bodies(lambda environ, start_response: pytest.fail("the application was asked"))(asked, lambda *answer: None)
    (line,) = said("body_refused")
    assert (line["status"], line["page"], line["account"], line["method"]) == (status, page, None, "POST")
    assert line["client"]
    assert line["request"]
