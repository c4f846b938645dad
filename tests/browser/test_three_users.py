"""A dispatcher, a worker and an inspector in a real browser, on the demonstration."""

from __future__ import annotations

import pytest

from registry.web import demo

pytest.importorskip("playwright", reason="Playwright is not installed")
from playwright import sync_api

from tests.browser.looking import DESK, PHONE, fits, keep

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


def sign_in(page: sync_api.Page, address: str, account: demo.DemoAccount) -> None:
    page.goto(address)
    # The demonstration says how.
    page.get_by_text(account.password).wait_for()
    page.get_by_label("Username").fill(account.username)
    page.get_by_label("Password").fill(account.password)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.get_by_label("Code").fill(page.locator("section.note kbd").inner_text())
    page.get_by_role("button", name="Sign in", exact=True).click()


def try_somebody(page: sync_api.Page, place: str, name: str, *, scripts: bool) -> None:
    page.get_by_role("link", name=f"Fill this place : {place}").click()
    page.get_by_label("Search by name or number").fill(name.split()[-1])
    page.get_by_role("button", name="Search").click()
    page.get_by_label(name).check()
    page.get_by_role("button", name="Decide, and fill the place if permitted").click()
    if scripts:
        # The answer has come in place; without scripts it is a page at once.
        page.get_by_role("link", name="This decision on a page of its own").click()


@pytest.mark.parametrize(
    ("size", "scripts"),
    [pytest.param(DESK, True, id="desk, with scripts"), pytest.param(PHONE, False, id="phone, without scripts")],
)
def test_a_dispatcher_is_refused_and_then_fills_the_place(
    browser: sync_api.Browser, demonstration: str, size: sync_api.ViewportSize, scripts: bool
) -> None:
    context = browser.new_context(viewport=size, java_script_enabled=scripts)
    page = context.new_page()
    sign_in(page, demonstration, demo.DISPATCHER)
    # Among what needs somebody, and on the board.
    page.get_by_role("link", name="Dismantling, Marrow Quay").first.click()
    keep(page, "phone" if size is PHONE else "job", whole=False)
    fits(page)
    try_somebody(page, "erector 2", "Jory Pennavale", scripts=scripts)
    assert "REFUSED" in page.get_by_role("heading", level=1).inner_text()
    why = page.get_by_role("region", name="Why it is refused")
    assert "119 h missing" in why.inner_text()
    assert "79 h missing" in why.inner_text()
    assert page.get_by_role("region", name="What would cure it").is_visible()
    if size is DESK:
        keep(page, "refusal", whole=False)
    fits(page)
    page.get_by_role("link", name="Back to the crew").click()
    try_somebody(page, "erector 2", "Ines Halvarro", scripts=scripts)
    assert "PERMITTED" in page.get_by_role("heading", level=1).inner_text()
    fits(page)
    page.get_by_role("link", name="Back to the crew").click()
    assert page.get_by_role("link", name="Ines Halvarro", exact=True).is_visible()
    assert page.get_by_role("link", name="Fill this place").count() == 1
    context.close()


def test_a_worker_reads_the_own_record_and_an_inspector_changes_nothing(
    browser: sync_api.Browser, demonstration: str
) -> None:
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    sign_in(page, demonstration, demo.WORKER)
    page.get_by_role("link", name="My record", exact=True).click()
    assert "Jory Pennavale" in page.get_by_role("heading", level=1).inner_text()
    assert page.get_by_role("cell", name="1 h", exact=True).is_visible()
    fits(page)
    page.get_by_role("button", name="Sign out").click()
    sign_in(page, demonstration, demo.INSPECTOR)
    page.get_by_role("link", name="Dismantling, Marrow Quay").click()
    page.get_by_role("link", name="Jory Pennavale as erector").click()
    assert "REFUSED" in page.get_by_role("heading", level=1).inner_text()
    assert page.get_by_role("link", name="Try somebody else").count() == 0
    context.close()


def test_the_keyboard_alone_reaches_the_content_and_shows_where_it_is(
    browser: sync_api.Browser, demonstration: str
) -> None:
    context = browser.new_context(viewport=DESK)
    page = context.new_page()
    sign_in(page, demonstration, demo.DISPATCHER)
    page.wait_for_load_state("load")
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="Skip to the content")
    assert skip.evaluate("each => each === document.activeElement && each.getBoundingClientRect().left >= 0")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert outline == "3px"
    assert page.evaluate("document.querySelector('main').contains(document.activeElement)")
    context.close()
