"""A real browser, and a registry for it to look at."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING
from unittest.mock import patch

import pytest
from django.conf import settings as django_settings
from django.core.management import call_command
from django.test import Client
from pytest_django.live_server_helper import LiveServer

from registry.people.models import Account
from tests.world import sign_in

if TYPE_CHECKING:
    from playwright import sync_api

    from tests.conftest import Shelf

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
Opened = Callable[..., "sync_api.Page"]


@pytest.fixture(scope="module", autouse=True)
def _the_database_is_used_beside_the_loop() -> Iterator[None]:
    """Playwright's event loop runs in this thread while the tests use the database outside it."""
    with patch.dict(os.environ, {"DJANGO_ALLOW_ASYNC_UNSAFE": "1"}):
        yield


@pytest.fixture(scope="module")
def browser() -> Iterator[sync_api.Browser]:
    """One for a module: a loop that ran on would trouble the tests after it."""
    if CHROMIUM is None:
        pytest.skip("chromium is not installed")
    from playwright import sync_api

    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def address(
    settings: object, committed_database: None, live_server: LiveServer, monkeypatch: pytest.MonkeyPatch
) -> str:
    """The registry running as in the demonstration, with nothing in it yet."""
    # The test server speaks plain http.
    settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = False  # type: ignore[attr-defined]
    monkeypatch.setenv("REGISTRY_DEMO", "1")
    return live_server.url


@pytest.fixture
def demonstration(address: str, shelf: Shelf) -> str:
    """The address of the running registry with the demonstration in it."""
    shelf.bring("demonstration", lambda: call_command("load_demo", verbosity=0))
    return address


@pytest.fixture
def opened(browser: sync_api.Browser, address: str) -> Iterator[Opened]:
    """Opens pages for somebody signed in, by the session's cookie, or for the public."""
    contexts = []

    def open_as(account: Account | None, path: str, *, scripts: bool = True, **look: object) -> sync_api.Page:
        # axe-core is put into the page as an inline script, which the pages themselves refuse.
        context = browser.new_context(
            java_script_enabled=scripts,
            bypass_csp=True,
            base_url=address,
            **look,  # type: ignore[arg-type]
        )
        contexts.append(context)
        if account is not None:
            client = Client()
            sign_in(client, account)
            name = django_settings.SESSION_COOKIE_NAME
            context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": address}])
        page = context.new_page()
        page.goto(path)
        return page

    yield open_as
    for each in contexts:
        each.close()
