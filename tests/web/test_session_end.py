"""A session that nobody used for an hour, or that is twelve hours old, is over."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from unittest.mock import patch

import pytest
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry.web import session_end
from tests.world import World

Later = Callable[..., None]


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> Later:
    """Moves the time by which sessions end."""
    began = timezone.now()

    class Clock:
        at: datetime = began

        def now(self) -> datetime:
            return self.at

    clock = Clock()
    monkeypatch.setattr(session_end, "timezone", clock)

    def move(**given: int) -> None:
        clock.at += timedelta(**given)

    return move


def test_after_an_hour_without_use_a_page_asks_to_sign_in(dispatcher: Client, later: Later) -> None:
    key = dispatcher.session.session_key
    later(minutes=60)
    assert dispatcher.get("/").headers["Location"] == "/sign-in/?next=/"
    assert not Session.objects.filter(session_key=key).exists(), "the session is gone from the register too"


def test_after_an_hour_without_use_nothing_is_written(dispatcher: Client, world: World, later: Later) -> None:
    later(minutes=61)
    answer = dispatcher.post("/jobs/plan/", {})
    assert answer.headers["Location"].startswith("/sign-in/")
    assert dispatcher.get("/api/jobs/").status_code in (401, 403)


def test_an_old_cookie_does_not_bring_it_back(dispatcher: Client, later: Later) -> None:
    cookie = dispatcher.cookies["sessionid"].value
    later(minutes=61)
    dispatcher.get("/")
    another = Client()
    another.cookies["sessionid"] = cookie
    later(minutes=-30)
    assert another.get("/").status_code == 302


def test_use_puts_the_end_off(dispatcher: Client, later: Later) -> None:
    for _each in range(4):
        later(minutes=59)
        assert dispatcher.get("/").status_code == 200


def test_twelve_hours_are_the_end_however_busy_somebody_was(dispatcher: Client, later: Later) -> None:
    for _each in range(14):
        later(minutes=50)
        assert dispatcher.get("/").status_code == 200
    later(minutes=20)
    assert dispatcher.get("/").status_code == 302


def test_a_session_that_does_not_say_when_it_began_is_over(dispatcher: Client) -> None:
    session = dispatcher.session
    del session[session_end.SIGNED_IN_AT]
    session.save()
    assert dispatcher.get("/").status_code == 302


def test_a_session_is_written_once_a_minute_at_most(dispatcher: Client, later: Later) -> None:
    later(seconds=61)
    written = []
    for _each in range(2):
        with CaptureQueriesContext(connection) as captured:
            dispatcher.get("/account/")
        written.append(sum('UPDATE "django_session"' in each["sql"] for each in captured))
    assert written == [1, 0]


def test_what_was_in_the_session_does_not_reach_whoever_comes_next(dispatcher: Client, later: Later) -> None:
    session = dispatcher.session
    session["left"] = "behind"
    session.save()
    later(minutes=60)
    dispatcher.get("/")
    assert "left" not in dispatcher.session


def test_signing_in_makes_a_new_session(world: World) -> None:
    client = Client()
    client.get("/sign-in/")
    account = world.dispatcher()
    before = client.session.session_key
    with patch.object(session_end, "NOTED_EVERY", 0):
        client.force_login(account)
    assert client.session.session_key != before
