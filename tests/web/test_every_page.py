"""What holds for every page: it is listed, it opens, and its SQL statements do not grow with the register."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, get_resolver

from tests.own_log import keep_log_in
from tests.pages import NO_PAGES, PAGES, STEPS
from tests.scene import Scene, scene
from tests.web.test_inspection_pages import addresses
from tests.world import sign_in

WHOLE_LOG = "log_verification"
"""Reads every record on purpose."""


@pytest.fixture
def running(db: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Scene:
    keep_log_in(tmp_path, monkeypatch)
    return scene()


def name_of(address: URLPattern) -> str:
    return address.name or ""


def test_every_address_is_a_page_in_the_list_or_said_to_be_none() -> None:
    named = {name_of(each) for each in addresses(get_resolver()) if "api" not in each.callback.__module__.split(".")[0]}
    listed = {each.name for each in PAGES}
    assert listed <= named
    api = {each for each in named if each.endswith(("-list", "-detail")) or each in {"schema", "api-root", ""}}
    assert named - listed - set(NO_PAGES) - STEPS - api == set()


def test_statements_do_not_grow_with_what_the_register_holds(running: Scene) -> None:
    clients: dict[str, Client] = {"": Client()}
    for by in {each.by for each in PAGES if each.by}:
        clients[by] = Client()
        sign_in(clients[by], running.account(by))
    running.grow(1)
    # The first time fetches what a process fetches once.
    statements(running, clients)
    few = statements(running, clients)
    running.grow(4)
    more = statements(running, clients)
    assert {page: (few[page], more[page]) for page in few if more[page] != few[page]} == {}


def statements(running: Scene, clients: dict[str, Client]) -> dict[str, int]:
    """How many statements each page takes."""
    numbers = running.numbers()
    found = {}
    for page in (each for each in PAGES if each.name != WHOLE_LOG):
        path = page.path(numbers)
        with CaptureQueriesContext(connection) as made:
            answer = clients[page.by].get(path)
        assert answer.status_code == 200, (path, answer.status_code, answer.text[:2000])
        found[f"{page} {page.query}"] = len(made)
    return found
