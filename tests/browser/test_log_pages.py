"""The pages of the log in a real browser, at desktop and phone size, checked by axe-core."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from unittest.mock import patch

import pytest
from django.conf import settings as django_settings
from django.core.management import call_command
from django.test import Client, TransactionTestCase
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer

from registry.evidence.models import HoursEntry
from registry.ledger import here
from registry.people import services as people
from registry.people.models import Account
from registry.web import demo
from tests.own_log import keep_log_in
from tests.world import sign_in

pytest.importorskip("playwright", reason="Playwright is not installed")
from axe_playwright_python.sync_playwright import Axe
from playwright import sync_api

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
WCAG = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
LOOKS = [
    pytest.param({"width": 1280, "height": 900}, "light", id="desk, light"),
    pytest.param({"width": 360, "height": 760}, "dark", id="phone, dark"),
]

pytestmark = [
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
]


@pytest.fixture(scope="module", autouse=True)
def _emptying_is_left_to_the_owner() -> Iterator[None]:
    """Append-only tables refuse Django's own flush; tests/conftest.py empties them instead."""
    # Playwright's event loop runs in this thread while the tests use the database outside it.
    with (
        patch.object(TransactionTestCase, "_fixture_teardown"),
        patch.dict(os.environ, {"DJANGO_ALLOW_ASYNC_UNSAFE": "1"}),
    ):
        yield


@pytest.fixture
def address(
    settings: object,
    committed_database: None,
    live_server: LiveServer,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> str:
    """The running registry with the demonstration in it, and two checkpoints."""
    # The test server speaks plain http.
    settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = False  # type: ignore[attr-defined]
    keep_log_in(tmp_path, monkeypatch)
    call_command("load_demo", verbosity=0)
    here.sign(at=timezone.now() - timedelta(minutes=5))
    people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=timezone.now())
    here.sign(at=timezone.now())
    return live_server.url


@pytest.fixture(scope="module")
def browser() -> Iterator[sync_api.Browser]:
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


def visit(
    browser: sync_api.Browser, address: str, account: Account, size: sync_api.ViewportSize, scheme: str
) -> sync_api.Page:
    """A page of somebody who is signed in."""
    client = Client()
    sign_in(client, account)
    cookie = client.cookies[django_settings.SESSION_COOKIE_NAME].value
    # axe-core is put into the page as an inline script, which the pages themselves refuse.
    context = browser.new_context(
        viewport=size,
        color_scheme=scheme,  # type: ignore[arg-type]
        bypass_csp=True,
        base_url=address,
    )
    context.add_cookies([{"name": django_settings.SESSION_COOKIE_NAME, "value": cookie, "url": address}])
    return context.new_page()


def finds_nothing_wrong(page: sync_api.Page, heading: str, name: str) -> None:
    """The page is the one expected, fits the window, and axe-core finds no violation of WCAG 2.2 AA."""
    assert page.get_by_role("heading", level=1).inner_text() == heading
    if folder := os.environ.get("REGISTRY_SCREENSHOTS"):
        width = page.evaluate("innerWidth")
        page.screenshot(path=Path(folder) / f"log-{re.sub(r'[^a-z]+', '-', name)}-{width}.png", full_page=True)
    assert page.evaluate(SIDEWAYS) <= 0
    found = Axe().run(page, options=WCAG)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize(("size", "scheme"), LOOKS)
def test_every_page_of_the_log_is_accessible_and_fits(
    browser: sync_api.Browser, address: str, size: sync_api.ViewportSize, scheme: str
) -> None:
    page = visit(browser, address, Account.objects.get(kind="inspector"), size, scheme)
    page.goto("/")
    page.get_by_role("link", name="Log", exact=True).click()
    finds_nothing_wrong(page, "The log", "log")
    with page.expect_download() as kept:
        page.get_by_role("link", name="Keep a copy: checkpoint.txt").click()
    assert kept.value.suggested_filename == "checkpoint.txt"
    page.get_by_role("button", name="Prove it").click()
    assert page.get_by_text("No. Everything before A stands unchanged in B.").is_visible()
    assert page.get_by_role("img", name="goes on from checkpoint A").is_visible()
    finds_nothing_wrong(page, "The log", "growth")
    page.get_by_label("Checkpoint A: size in leaves").fill("3")
    page.get_by_role("button", name="Prove it").click()
    assert page.get_by_role("alert").is_visible()
    finds_nothing_wrong(page, "The log", "refused")
    entry = HoursEntry.objects.order_by("pk")[0]
    page.goto(f"/log/records/evidence_hoursentry/{entry.pk}/")
    assert page.get_by_role("img", name="The way from leaf").is_visible()
    finds_nothing_wrong(page, f"Hours entry {entry.pk} in the log", "record")
    page.goto("/log/verification/")
    finds_nothing_wrong(page, "Verification of the log", "verification")
    page.get_by_role("button", name="Verify everything").click()
    assert page.get_by_text("In order: nothing was found.").is_visible()
    page.context.close()


@pytest.mark.parametrize(("size", "scheme"), LOOKS)
def test_a_worker_comes_from_the_own_record_to_its_place_in_the_log(
    browser: sync_api.Browser, address: str, size: sync_api.ViewportSize, scheme: str
) -> None:
    account = Account.objects.get(username=demo.WORKER.username)
    page = visit(browser, address, account, size, scheme)
    worker = account.worker
    assert worker is not None
    page.goto(f"/workers/{worker.pk}/")
    finds_nothing_wrong(page, str(worker), "worker")
    page.get_by_role("link", name=f"log entry of worker {worker.pk}").click()
    finds_nothing_wrong(page, f"Worker {worker.pk} in the log", "own")
    page.get_by_role("link", name="What keeps these records honest: the log").click()
    finds_nothing_wrong(page, "The log", "for-a-worker")
    page.context.close()
