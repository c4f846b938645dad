"""``SECRET_KEY`` is changed: what it sealed is opened by the key before, and nothing by a key that is gone."""

from __future__ import annotations

import re
from io import BytesIO, StringIO
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from cryptography.fernet import InvalidToken
from django.core import mail
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.http import QueryDict
from django.test import Client
from django.utils.datastructures import MultiValueDict
from PIL import Image

from registry.demo import scenario
from registry.people import services as people
from registry.people.models import Account
from registry.people.second_factor import enrol_authenticator_app
from registry.web.records.fields import ScanForm
from tests.world import World

PASSWORD = "a long enough phrase"
SECRET = "INVENTEDFORTESTS"
NEXT = "the next key of this installation, as long as a key ought to be"


@pytest.fixture
def account(world: World) -> Account:
    made = people.open_account(username="planner", password=PASSWORD, kind="employer", employer=world.employer)
    made.email = "planner@registry.example"
    made.save()
    enrol_authenticator_app(account=made, secret=SECRET)
    return made


def change_key(settings: Any, *, keep_old: bool = True) -> None:
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY] if keep_old else []
    settings.SECRET_KEY = NEXT


def first_step() -> Client:
    client = Client()
    client.post("/sign-in/", {"login": "planner", "password": PASSWORD})
    return client


def sign_in(client: Client, code: str | None = None) -> bool:
    client.post("/sign-in/", {"login": "planner", "password": PASSWORD})
    given = {"code": code or scenario.shown_by_app(SECRET)[1]}
    return client.post("/sign-in/second-step/", given).status_code == 302


def test_authenticator_apps_and_recovery_codes_go_on_working(account: Account, settings: Any) -> None:
    codes = RecoveryCodes.activate(account).generate_codes()
    change_key(settings)
    assert sign_in(Client())
    assert sign_in(Client(), codes[0])


def test_a_session_goes_on(account: Account, settings: Any) -> None:
    client = Client()
    assert sign_in(client)
    change_key(settings)
    assert client.get("/").status_code == 200


def test_a_session_ends_with_its_key(account: Account, settings: Any) -> None:
    client = Client()
    assert sign_in(client)
    change_key(settings, keep_old=False)
    assert client.get("/").status_code == 302


def test_a_mailed_link_goes_on_working(account: Account, settings: Any) -> None:
    client = Client()
    client.post("/account/password/forgotten/", {"email": account.email})
    (link,) = re.findall(r"http://testserver(/account/password/new/\S+)", str(mail.outbox[0].body))
    change_key(settings)
    assert "This link does not work" not in client.get(link, follow=True).text
    change_key(settings, keep_old=False)
    settings.SECRET_KEY = "another"
    assert "This link does not work" in Client().get(link, follow=True).text


def test_a_known_device_stays_known(account: Account, settings: Any) -> None:
    device = Client()
    assert sign_in(device)
    device.post("/sign-out/")
    change_key(settings)
    for _each in range(6):
        Client().post("/sign-in/", {"login": "planner", "password": "wrong"})
    answer = device.post("/sign-in/", {"login": "planner", "password": PASSWORD})
    assert answer.headers["Location"] == "/sign-in/second-step/"


def test_a_scan_kept_beside_a_form_stays_kept(account: Account, world: World, settings: Any) -> None:
    picture = BytesIO()
    Image.new("RGB", (60, 18), "white").save(picture, "PNG")
    scan = SimpleUploadedFile("scan.png", picture.getvalue())
    form = ScanForm(QueryDict(), MultiValueDict({"document": [scan]}), account=account)
    stored = form.keep_scan(world.now)
    change_key(settings)
    shown_again = ScanForm(form.data, account=account)
    assert shown_again.is_valid()
    assert stored is not None
    assert shown_again.scan == stored
    change_key(settings, keep_old=False)
    settings.SECRET_KEY = "another"
    assert not ScanForm(form.data, account=account).is_valid()


def test_sealing_again_makes_the_old_key_needless(account: Account, settings: Any) -> None:
    codes = RecoveryCodes.activate(account).generate_codes()
    change_key(settings)
    told = StringIO()
    call_command("reseal_second_factors", stdout=told)
    assert told.getvalue() == "2 authenticators are sealed under the key of today.\n"
    settings.SECRET_KEY_FALLBACKS = []
    assert sign_in(Client())
    assert sign_in(Client(), codes[0])


def test_without_sealing_again_the_old_key_is_needed(account: Account, settings: Any) -> None:
    change_key(settings, keep_old=False)
    with pytest.raises(InvalidToken):
        sign_in(Client())


def test_a_passkey_holds_nothing_that_is_sealed(account: Account, settings: Any) -> None:
    passkey = Authenticator.objects.create(user=account, type="webauthn", data={"name": "Phone", "credential": {}})
    call_command("reseal_second_factors", stdout=StringIO())
    passkey.refresh_from_db()
    assert passkey.data == {"name": "Phone", "credential": {}}
