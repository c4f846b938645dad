"""Pages are read through row-level security by whoever opens them, and nobody's reading outlasts their request."""

from __future__ import annotations

from collections.abc import Callable
from unittest.mock import patch

import pytest
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory

from registry.crews import access
from registry.database.readers import PUBLIC, account_reader
from registry.people import services as people
from registry.people.models import Account, Worker
from registry.web.reading import read_as_the_account
from tests.world import World

SignedIn = Callable[[Account], Client]


def reader() -> str:
    """The reader that the database knows of."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT coalesce(current_setting('registry.reader', true), '')")
        (value,) = cursor.fetchone()
        return str(value)


def answered(request: HttpRequest) -> HttpResponse:
    """An answer that says for whom it was read."""
    return HttpResponse(reader())


@pytest.mark.parametrize("method", ["get", "head", "options"])
def test_what_only_reads_is_read_as_the_account(world: World, method: str) -> None:
    seen = []

    def view(request: HttpRequest) -> HttpResponse:
        seen.append(reader())
        return HttpResponse()

    request = getattr(RequestFactory(), method)("/")
    request.user = world.dispatcher()
    read_as_the_account(view)(request)
    assert seen == [account_reader(request.user.pk)]
    assert reader() == ""


def test_what_writes_runs_as_the_register(world: World) -> None:
    request = RequestFactory().post("/")
    request.user = world.dispatcher()
    assert read_as_the_account(answered)(request).text == ""


def test_the_reader_is_given_back_when_a_view_fails(world: World) -> None:
    def failing(request: HttpRequest) -> HttpResponse:
        raise ZeroDivisionError

    request = RequestFactory().get("/")
    request.user = world.dispatcher()
    with pytest.raises(ZeroDivisionError):
        read_as_the_account(failing)(request)
    assert reader() == ""


def test_no_request_leaves_its_reader_to_the_next(world: World, dispatcher: Client) -> None:
    seen = []
    shown = access.visible_jobs

    def noted(account: Account) -> object:
        seen.append(reader())
        return shown(account)

    with patch("registry.crews.access.visible_jobs", noted):
        assert dispatcher.get("/jobs/").status_code == 200
    (as_dispatcher,) = set(seen)
    assert as_dispatcher.startswith("account:")
    assert reader() == ""
    with patch("registry.web.papers.views.transcript_standing", lambda *_, **__: seen.append(reader())):
        Client().get("/check/", {"number": "TE-1"})
    assert seen[-1] == PUBLIC
    assert reader() == ""


def test_a_page_that_forgets_to_ask_shows_nobody_of_another_employer(
    world: World, another_employer: Client, dispatcher: Client
) -> None:
    somebody = world.worker("Ada", "Quist")
    world.make_erector(somebody, days=2)
    address = f"/workers/{somebody.pk}/"
    number = f"E-{somebody.pk}"
    assert number in dispatcher.get(address).text
    with patch("registry.crews.access.visible_workers", lambda _account: Worker.objects.all()):
        careless = another_employer.get(address)
    assert careless.status_code == 200
    assert number not in careless.text
    assert "Halvorsby" not in careless.text


def test_an_inspector_reads_everything(world: World, inspector: Client) -> None:
    somebody = world.worker("Ada", "Quist")
    world.make_erector(somebody, days=2)
    assert f"E-{somebody.pk}" in inspector.get(f"/workers/{somebody.pk}/").text


def test_the_public_learns_from_a_check_what_it_always_does(world: World) -> None:
    somebody = world.worker("Ada", "Quist")
    world.make_erector(somebody, days=2)
    shown = Client().get("/check/", {"number": f"E-{somebody.pk}"}).text
    assert "Norrland Board" in shown
    assert "Quist" not in shown


def test_programs_are_answered_from_the_same_rows(world: World, signed_in: SignedIn) -> None:
    other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    account = people.open_account(username="other", password=None, kind="employer", employer=other)
    seen = []
    shown = access.visible_jobs

    def noted(account: Account) -> object:
        seen.append(reader())
        return shown(account)

    with patch("registry.crews.access.visible_jobs", noted):
        assert signed_in(account).get("/api/jobs/").status_code == 200
    assert set(seen) == {account_reader(account.pk)}
