"""Who can be kept from an account by other people's attempts, tried as they would."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from unittest.mock import patch

import pytest
from allauth.mfa.models import Authenticator
from django.core import mail, signing
from django.test import Client

from registry.demo import scenario
from registry.people import services as people
from registry.people.models import Account
from registry.people.second_factor import enrol_authenticator_app
from registry.web import attempts, known_devices
from tests.world import World

PASSWORD = "a long enough phrase"
SECRET = "INVENTEDFORTESTS"
TOO_MANY = "Too many failed attempts"
WRONG = "The username or the password is wrong."
OWNERS = "192.0.2.1"


@pytest.fixture
def owner(world: World) -> Account:
    account = people.open_account(
        username="somebody", password=PASSWORD, kind="worker", worker=world.worker("Mira", "Sandoval")
    )
    account.email = "somebody@registry.example"
    account.save()
    return account


@pytest.fixture
def dispatcher_account(world: World) -> Account:
    account = people.open_account(username="planner", password=PASSWORD, kind="employer", employer=world.employer)
    enrol_authenticator_app(account=account, secret=SECRET)
    return account


@pytest.fixture
def clock() -> Iterator[Callable[[float], None]]:
    """Moves the time by which attempts are counted."""
    import time

    ahead = 0.0
    real = time.time

    def move(seconds: float) -> None:
        nonlocal ahead
        ahead += seconds

    with patch("allauth.core.internal.ratelimit.time.time", lambda: real() + ahead):
        yield move


def at(address: str) -> Client:
    return Client(REMOTE_ADDR=address)


def guess(client: Client, password: str = "wrong", name: str = "somebody") -> str:
    answer = client.post("/sign-in/", {"login": name, "password": password})
    return "in" if answer.status_code == 302 else answer.text


def attack(times: int, *, name: str = "somebody", network: str = "198.51.100") -> None:
    """Guesses at one name, each from another address."""
    for each in range(times):
        assert WRONG in guess(at(f"{network}.{each}"), name=name)


def code() -> str:
    return scenario.shown_by_app(SECRET)[1]


# Passwords


def test_wrong_passwords_from_one_address_keep_nobody_else_out(owner: Account) -> None:
    for _each in range(5):
        assert WRONG in guess(at("198.51.100.7"))
    assert TOO_MANY in guess(at("198.51.100.7"), PASSWORD)
    assert guess(at(OWNERS), PASSWORD) == "in"


def test_a_new_browser_at_the_same_address_is_no_new_client(owner: Account) -> None:
    for _each in range(5):
        guess(at("198.51.100.7"))
    assert TOO_MANY in guess(at("198.51.100.7"), PASSWORD)


@pytest.mark.parametrize("spelling", ["Somebody", " somebody", "SOMEBODY "])
def test_another_spelling_of_the_name_is_no_new_name(owner: Account, spelling: str) -> None:
    for _each in range(5):
        guess(at("198.51.100.7"))
    assert TOO_MANY in guess(at("198.51.100.7"), name=spelling)


def test_a_known_device_keeps_its_way_in_at_the_attackers_own_address(owner: Account) -> None:
    device = at(OWNERS)
    assert guess(device, PASSWORD) == "in"
    device.post("/sign-out/")
    for each in range(40):
        guess(at(OWNERS), name=f"n{each % 8}")
        guess(at(OWNERS))
    assert TOO_MANY in guess(at(OWNERS), PASSWORD) or "Wait one minute" in guess(at(OWNERS), PASSWORD)
    assert guess(device, PASSWORD) == "in"


def test_a_known_device_has_its_own_limit(owner: Account) -> None:
    device = at(OWNERS)
    guess(device, PASSWORD)
    device.post("/sign-out/")
    for _each in range(10):
        assert WRONG in guess(device)
    assert TOO_MANY in guess(device, PASSWORD)
    assert guess(at(OWNERS), PASSWORD) == "in", "what was counted for the device is not counted for the address"


def test_copies_of_a_devices_cookie_are_one_device(owner: Account) -> None:
    device = at(OWNERS)
    guess(device, PASSWORD)
    cookie = device.cookies["known-device"].value
    for each in range(10):
        thief = at(f"198.51.100.{each}")
        thief.cookies["known-device"] = cookie
        guess(thief)
    another = at("203.0.113.1")
    another.cookies["known-device"] = cookie
    assert TOO_MANY in guess(another)


def test_a_device_known_to_one_account_is_not_known_to_another(owner: Account, world: World) -> None:
    people.open_account(username="other", password=PASSWORD, kind="worker", worker=world.worker("Ilse", "Brandt"))
    device = at("198.51.100.7")
    assert guess(device, PASSWORD, "other") == "in"
    device.post("/sign-out/")
    for _each in range(5):
        assert WRONG in guess(device)
    assert TOO_MANY in guess(device, PASSWORD)


def test_a_desk_is_known_to_all_who_signed_in_there(owner: Account, world: World) -> None:
    people.open_account(username="other", password=PASSWORD, kind="worker", worker=world.worker("Ilse", "Brandt"))
    desk = at(OWNERS)
    for name in ("somebody", "other"):
        assert guess(desk, PASSWORD, name) == "in"
        desk.post("/sign-out/")
    for _each in range(6):
        guess(at(OWNERS)), guess(at(OWNERS), name="other")
    assert guess(desk, PASSWORD) == "in"
    desk.post("/sign-out/")
    assert guess(desk, PASSWORD, "other") == "in"


@pytest.mark.parametrize(
    "forged",
    [
        "x",
        signing.dumps([[1, "mark"]], salt="another"),
        signing.dumps([[1, "mark"]], key="another key", salt=known_devices.SALT),
    ],
    # Signed values hold the time, which differs in each process that collects the tests.
    ids=["no signature", "another salt", "another key"],
)
def test_a_forged_cookie_makes_no_device_known(owner: Account, forged: str) -> None:
    client = at("198.51.100.7")
    client.cookies["known-device"] = forged
    for _each in range(5):
        assert WRONG in guess(client)
    assert TOO_MANY in guess(client, PASSWORD)


def test_a_password_alone_makes_no_device_known_where_a_code_is_asked(dispatcher_account: Account) -> None:
    client = at("198.51.100.7")
    assert guess(client, PASSWORD, "planner") == "in"
    assert "known-device" not in client.cookies
    client.post("/sign-in/second-step/", {"code": code()})
    assert "known-device" in client.cookies


def test_the_cookie_is_out_of_reach_and_names_nobody(owner: Account) -> None:
    client = at(OWNERS)
    guess(client, PASSWORD)
    cookie = client.cookies["known-device"]
    assert (cookie["httponly"], cookie["samesite"], cookie["path"]) == (True, "Strict", "/")
    (pair,) = signing.loads(cookie.value, salt=known_devices.SALT)
    assert pair[0] == owner.pk
    assert len(pair[1]) == 22


def test_signing_in_successfully_hides_no_guesses(owner: Account, world: World) -> None:
    people.open_account(username="other", password=PASSWORD, kind="worker", worker=world.worker("Ilse", "Brandt"))
    for _each in range(5):
        guess(at("198.51.100.7"))
        assert guess(at("198.51.100.7"), PASSWORD, "other") == "in"
    assert TOO_MANY in guess(at("198.51.100.7"))


# Many addresses, one name


def test_guessing_from_many_addresses_is_slowed_and_the_owner_still_signs_in_anywhere(
    owner: Account, clock: Callable[[float], None]
) -> None:
    attack(20)
    one_of_them = at("198.51.100.3")
    assert WRONG in guess(one_of_them)
    assert TOO_MANY in guess(one_of_them), "one more, then none for an hour"
    clock(16 * 60)
    assert TOO_MANY in guess(one_of_them)
    assert guess(at(OWNERS), PASSWORD) == "in", "the first try from an address is always weighed"
    clock(60 * 60)
    assert WRONG in guess(one_of_them)


def test_a_long_attack_is_slowed_to_one_try_a_day_from_each_address(
    owner: Account, clock: Callable[[float], None]
) -> None:
    with patch.dict(attempts.ATTACKS, {"long_attack_on_name": "30/24h/key"}):
        attack(30)
        long_attack(owner, clock)


def long_attack(owner: Account, clock: Callable[[float], None]) -> None:
    one_of_them = at("198.51.100.3")
    assert WRONG in guess(one_of_them)
    clock(23 * 60 * 60)
    assert TOO_MANY in guess(one_of_them)
    assert guess(at(OWNERS), PASSWORD) == "in"


def test_a_name_that_is_nobodys_is_answered_alike(owner: Account) -> None:
    attack(20, name="nobody")
    client = at("198.51.100.3")
    assert WRONG in guess(client, name="nobody")
    assert TOO_MANY in guess(client, name="nobody")
    assert WRONG in guess(client), "another name is not attacked"


def test_the_pieces_of_one_ipv6_network_are_one_address(owner: Account) -> None:
    for each in range(5):
        assert WRONG in guess(at(f"2001:db8:1:{each:x}::1"))
    assert TOO_MANY in guess(at("2001:db8:1:ff::9"))
    assert WRONG in guess(at("2001:db8:2::1"))


def test_many_names_do_not_wash_counts_away(owner: Account) -> None:
    for _each in range(5):
        guess(at("198.51.100.7"))
    for each in range(320):
        guess(at(f"203.0.113.{each % 200}"), name=f"n{each}")
    assert TOO_MANY in guess(at("198.51.100.7"))


# Behind a proxy, and without one


def test_behind_a_proxy_the_client_counts_and_not_what_it_claims(owner: Account, settings: object) -> None:
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1  # type: ignore[attr-defined]
    proxy = Client(REMOTE_ADDR="10.0.0.1")

    def through(forwarded: str, password: str = "wrong") -> str:
        given = {"login": "somebody", "password": password}
        answer = proxy.post("/sign-in/", given, headers={"X-Forwarded-For": forwarded})
        return "in" if answer.status_code == 302 else answer.text

    for each in range(5):
        assert WRONG in through(f"203.0.113.{each}, 198.51.100.7")
    assert TOO_MANY in through("203.0.113.99, 198.51.100.7")
    assert through(OWNERS, PASSWORD) == "in"


def test_without_a_proxy_a_claimed_address_is_not_believed(owner: Account) -> None:
    client = at("198.51.100.7")
    for each in range(6):
        given = {"login": "somebody", "password": "wrong"}
        answer = client.post("/sign-in/", given, headers={"X-Forwarded-For": f"203.0.113.{each}"})
    assert TOO_MANY in answer.text


# Codes


def second_step(address: str) -> Client:
    client = at(address)
    assert guess(client, PASSWORD, "planner") == "in"
    return client


def try_code(client: Client, given: str = "000") -> str:
    answer = client.post("/sign-in/second-step/", {"code": given})
    return "in" if answer.status_code == 302 else answer.text


def test_codes_cannot_be_guessed_from_many_addresses_by_who_has_the_password(dispatcher_account: Account) -> None:
    known = second_step(OWNERS)
    assert try_code(known, code()) == "in"
    known.post("/sign-out/")
    for each in range(10):
        assert "This code is wrong" in try_code(second_step(f"198.51.100.{each}"))
    assert TOO_MANY in try_code(second_step("198.51.100.200"))
    assert guess(known, PASSWORD, "planner") == "in"
    assert "This code is wrong" in try_code(known), "a known device is asked for its code as before"


def test_who_has_the_password_is_told_of_to_its_owner_once(dispatcher_account: Account) -> None:
    dispatcher_account.email = "planner@registry.example"
    dispatcher_account.save()
    for each in range(13):
        try_code(second_step(f"198.51.100.{each}"))
    (told,) = mail.outbox
    assert told.to == ["planner@registry.example"]
    assert "/account/password/forgotten/" in str(told.body)
    assert "Somebody has your password" in told.subject


def test_a_mail_server_that_is_down_lets_nobody_in(dispatcher_account: Account) -> None:
    dispatcher_account.email = "planner@registry.example"
    dispatcher_account.save()
    for each in range(10):
        try_code(second_step(f"198.51.100.{each}"))
    with patch("registry.web.attempts.send_mail", side_effect=OSError):
        assert TOO_MANY in try_code(second_step("198.51.100.200"), code())


def test_wrong_codes_from_one_address_keep_nobody_else_out(dispatcher_account: Account) -> None:
    guessing = second_step("198.51.100.7")
    for _each in range(5):
        try_code(guessing)
    assert TOO_MANY in try_code(guessing, code())
    assert try_code(second_step(OWNERS), code()) == "in"


# Confirming, by somebody signed in


def test_confirming_is_not_kept_from_the_owner_by_anybody_else(owner: Account) -> None:
    here = at(OWNERS)
    assert guess(here, PASSWORD) == "in"
    for _each in range(35):
        guess(at(OWNERS))
    assert here.post("/account/confirm/?next=/account/", {"password": PASSWORD}).status_code == 302


@pytest.mark.parametrize(
    ("path", "wrong"),
    [
        ("/account/confirm/", {"password": "wrong"}),
        (
            "/account/password/",
            {"oldpassword": "wrong", "password1": "climbed another section", "password2": "climbed another section"},
        ),
    ],
)
def test_a_session_left_open_is_no_place_to_guess_the_password(
    owner: Account, path: str, wrong: dict[str, str]
) -> None:
    left, elsewhere = at(OWNERS), at("203.0.113.5")
    assert guess(left, PASSWORD) == guess(elsewhere, PASSWORD) == "in"
    for _each in range(10):
        assert TOO_MANY not in left.post(path, wrong).text
    assert TOO_MANY in left.post(path, wrong).text
    right = {key: PASSWORD if value == "wrong" else value for key, value in wrong.items()}
    assert elsewhere.post(path, right).status_code == 302, "the owner's other session goes on"


def test_confirming_by_code_is_counted_for_the_session(dispatcher_account: Account) -> None:
    left = second_step(OWNERS)
    try_code(left, code())
    for _each in range(5):
        assert TOO_MANY not in left.post("/account/confirm/code/", {"code": "000"}).text
    assert TOO_MANY in left.post("/account/confirm/code/", {"code": "000"}).text


# Passkeys

ODD = [
    "",
    "x",
    "{}",
    "[1]",
    '"x"',
    '{"id": "AAAA"}',
    '{"id": "AA", "rawId": "AA", "type": "public-key", "response": {}}',
    '{"id": "AA", "rawId": "AA", "type": "public-key", "response": null}',
    '{"id": "AA", "rawId": "AA", "type": "public-key", "response": {"clientDataJSON": "AA", "authenticatorData": "AA",'
    ' "signature": "AA", "userHandle": "AA"}}',
]


@pytest.mark.parametrize("odd", ODD)
def test_what_no_browser_sends_is_a_wrong_passkey_and_no_failure(dispatcher_account: Account, odd: str) -> None:
    assert at(OWNERS).post("/sign-in/passkey/", {"credential": odd}).headers["Location"] == "/sign-in/"
    client = second_step(OWNERS)
    assert client.post("/sign-in/second-step/", {"credential": odd}).status_code == 422
    try_code(client, code())
    client.post("/account/confirm/", {"password": PASSWORD})
    adding = client.post("/account/passkeys/add/", {"credential": odd, "name": "Phone"})
    assert adding.status_code in (200, 422)
    assert not Authenticator.objects.filter(user=dispatcher_account, type="webauthn").exists()


# A forgotten password


def links() -> list[str]:
    return [
        link
        for each in mail.outbox
        for link in re.findall(r"http://testserver(/account/password/new/\S+)", str(each.body))
    ]


def test_asking_for_links_in_somebodys_name_takes_no_link_from_them(owner: Account) -> None:
    answers = set()
    for each in range(12):
        answer = at(f"198.51.100.{each}").post("/account/password/forgotten/", {"email": owner.email.upper()})
        answers.add((answer.status_code, answer.headers["Location"]))
    assert len(links()) == 3, "no flood of mails either"
    own = at(OWNERS).post("/account/password/forgotten/", {"email": owner.email})
    assert answers == {(own.status_code, own.headers["Location"])}
    assert at(OWNERS).get(links()[0], follow=True).status_code == 200
    assert "This link does not work" not in at(OWNERS).get(links()[0], follow=True).text


def test_a_flood_of_requests_for_links_ends_for_its_address_and_not_for_known_devices(owner: Account) -> None:
    known = at(OWNERS)
    guess(known, PASSWORD)
    known.post("/sign-out/")
    answers = [
        at(OWNERS).post("/account/password/forgotten/", {"email": f"n{each}@registry.example"}).status_code
        for each in range(21)
    ]
    assert answers == [302] * 20 + [429]
    assert known.post("/account/password/forgotten/", {"email": owner.email}).status_code == 302


def test_a_new_password_by_link_makes_the_device_known(owner: Account) -> None:
    attack(20)
    client = at("198.51.100.3")
    assert WRONG in guess(client)
    assert TOO_MANY in guess(client, PASSWORD), "the owner, at an address that attacks"
    client.post("/account/password/forgotten/", {"email": owner.email})
    page = client.get(links()[0], follow=True)
    new = "climbed another section"
    client.post(page.request["PATH_INFO"], {"password1": new, "password2": new})
    assert guess(client, new) == "in"


def test_a_link_to_a_new_password_does_not_pass_by_the_second_factor(dispatcher_account: Account) -> None:
    dispatcher_account.email = "planner@registry.example"
    dispatcher_account.save()
    client = at(OWNERS)
    client.post("/account/password/forgotten/", {"email": dispatcher_account.email})
    page = client.get(links()[0], follow=True)
    new = "climbed another section"
    client.post(page.request["PATH_INFO"], {"password1": new, "password2": new})
    assert client.get("/").status_code == 302
    assert (
        client.post("/sign-in/", {"login": "planner", "password": new}).headers["Location"] == "/sign-in/second-step/"
    )


def test_no_limit_is_by_name_alone() -> None:
    """Whatever is counted for a name over all addresses refuses nothing; for codes see the test of codes."""
    assert set(attempts.ATTACKS) == {"attack_on_name", "long_attack_on_name"}
    from allauth.account import app_settings

    by_key = {name for name, rate in app_settings.RATE_LIMITS.items() if rate and "/key" in rate}
    # Of these no page is there: codes by mail or telephone, confirming a mail address.
    assert by_key == {"request_login_code", "confirm_email", "verify_phone"}
