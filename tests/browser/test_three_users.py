"""A dispatcher, a worker and an inspector, each through the whole job in a real browser, on the demonstration."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from registry.demo import scenario
from tests.own_log import keep_log_in

pytest.importorskip("playwright", reason="Playwright is not installed")
from playwright import sync_api

from tests.browser.looking import DESK, PHONE, fits, keep

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


def sign_in(page: sync_api.Page, address: str, account: scenario.DemoAccount) -> None:
    page.goto(address)
    # The demonstration says how.
    page.get_by_text(account.password).wait_for()
    page.get_by_label("Username").fill(account.username)
    page.get_by_label("Password").fill(account.password)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.get_by_label("Code").fill(page.locator("section.note kbd").inner_text())
    page.get_by_role("button", name="Sign in", exact=True).click()


BOTH = [pytest.param(DESK, True, id="desk, with scripts"), pytest.param(PHONE, False, id="phone, without scripts")]


@pytest.fixture(autouse=True)
def _log_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep_log_in(tmp_path, monkeypatch)


@pytest.fixture
def page(
    browser: sync_api.Browser, demonstration: str, size: sync_api.ViewportSize, scripts: bool
) -> Iterator[sync_api.Page]:
    """A browser of the size, before anybody signed in."""
    context = browser.new_context(viewport=size, java_script_enabled=scripts, base_url=demonstration)
    yield context.new_page()
    context.close()


def fill(page: sync_api.Page, place: str, name: str) -> str:
    """From the board: what comes of putting somebody into an open place."""
    page.get_by_role("region", name="What needs somebody").get_by_role("link", name=f"Fill : {place}").click()
    page.get_by_label("Search by name or number").fill(name.split()[-1])
    page.get_by_role("button", name="Search").click()
    page.get_by_label(name).check()
    page.get_by_role("button", name="Decide, and fill the place if permitted").click()
    return page.get_by_role("heading", level=1).inner_text()


def downloaded(page: sync_api.Page, name: str, role: Any = "link") -> bytes:
    """The file behind a link or a button."""
    with page.expect_download() as kept:
        page.get_by_role(role, name=name).click()
    return kept.value.path().read_bytes()


@pytest.mark.parametrize(("size", "scripts"), BOTH)
def test_a_dispatcher_fills_a_crew_swaps_somebody_in_and_looks_after_the_notice(
    page: sync_api.Page, demonstration: str, size: sync_api.ViewportSize
) -> None:
    sign_in(page, demonstration, scenario.DISPATCHER)
    if size is DESK:
        keep(page, "board", whole=False)
    assert "REFUSED" in fill(page, "erector 2", "Jory Pennavale")
    why = page.get_by_role("region", name="Why it is refused")
    sync_api.expect(why).to_contain_text("119 h missing")
    sync_api.expect(why).to_contain_text("79 h missing")
    sync_api.expect(page.get_by_role("region", name="What would cure it")).to_be_visible()
    if size is DESK:
        keep(page, "refusal", whole=False)
    fits(page)
    assert downloaded(page, "Refusal notice (PDF)").startswith(b"%PDF")

    # At six in the morning one of the erectors does not come. From the board it takes three clicks.
    page.goto("/")
    page.get_by_role("link", name="Substitute for Tobiasz Lindqvar").click()
    page.get_by_label("Ines Halvarro").check()
    page.get_by_role("button", name="Put in place, if permitted").click()
    sync_api.expect(page.get_by_role("heading", level=1)).to_contain_text("PERMITTED")
    page.get_by_role("link", name="Back to the crew").click()
    sync_api.expect(page.get_by_role("link", name="Ines Halvarro", exact=True)).to_be_visible()
    sync_api.expect(page.get_by_role("link", name="Tobiasz Lindqvar", exact=True)).to_have_count(0)
    assert downloaded(page, "Crew sheet (PDF)").startswith(b"%PDF")

    page.goto("/jobs/")
    page.get_by_role("link", name="Erection, Lantern Slip").click()
    page.get_by_role("link", name="Notice").first.click()
    sync_api.expect(page.get_by_role("heading", name="Sent, and changed since: tell the authority")).to_be_visible()
    if size is DESK:
        keep(page, "notice", whole=False)
    assert downloaded(page, "PDF, A4").startswith(b"%PDF")
    page.get_by_role("link", name="Record that it was sent").click()
    page.get_by_label("To whom").fill("The authority's office for the region")
    page.get_by_role("button", name="Record as sent").click()
    sync_api.expect(page.get_by_text("Nothing: the packet says what it said.")).to_be_visible()
    fits(page)


@pytest.mark.parametrize(("size", "scripts"), BOTH)
def test_a_worker_sees_what_is_missing_shares_the_record_and_carries_it_away(
    page: sync_api.Page, browser: sync_api.Browser, demonstration: str, size: sync_api.ViewportSize, scripts: bool
) -> None:
    sign_in(page, demonstration, scenario.WORKER)
    sync_api.expect(page.get_by_role("heading", level=1)).to_have_text("Jory Pennavale")
    if size is PHONE:
        keep(page, "own", whole=False)
    page.get_by_role("link", name="What is missing for a role").click()
    page.get_by_label("Role", exact=True).select_option("erector")
    page.get_by_label("Operation").select_option("dismantling")
    page.get_by_label("Role standard").select_option(scenario.STANDARD)
    page.get_by_role("button", name="What is missing?").click()
    sync_api.expect(page.get_by_text("79 h missing")).to_be_visible()
    fits(page)

    page.goto("/")
    page.get_by_role("link", name="Ask for a correction").click()
    page.get_by_role("link", name="Ask for a correction").first.click()
    page.get_by_label("What is wrong").fill("It was two hours, not one.")
    page.get_by_role("button", name="Send to the employer").click()
    sync_api.expect(page.get_by_text("It was two hours, not one.")).to_be_visible()

    page.goto("/sharing/")
    page.get_by_label("For whom").fill("the yard at Sable Reach")
    page.get_by_role("button", name="Make a link").click()
    link = page.locator(".link-once code").inner_text()
    context = browser.new_context(viewport=size, java_script_enabled=scripts)
    stranger = context.new_page()
    stranger.goto(link)
    sync_api.expect(stranger.get_by_role("heading", level=1)).to_have_text("Jory Pennavale")
    stranger.get_by_role("button", name="Français").click()
    sync_api.expect(stranger.locator("html")).to_have_attribute("lang", "fr")
    fits(stranger)
    page.goto("/sharing/")
    page.get_by_role("button", name="End this link now").click()
    answer = stranger.goto(link)
    assert answer is not None
    assert answer.status == 410
    context.close()

    page.goto("/looks/")
    sync_api.expect(page.get_by_text("somebody who was not signed in").first).to_be_visible()
    page.goto("/")
    page.get_by_role("link", name="Download the training transcript").click()
    assert downloaded(page, "Download the transcript", "button").startswith(b"%PDF")


@pytest.mark.parametrize(("size", "scripts"), BOTH)
def test_an_inspector_finds_the_crew_asks_what_was_known_and_takes_the_file(
    page: sync_api.Page, demonstration: str, size: sync_api.ViewportSize
) -> None:
    sign_in(page, demonstration, scenario.INSPECTOR)
    page.get_by_role("link", name="Inspection", exact=True).click()
    page.get_by_label("Person, job or crane").fill("marrow")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="Dismantling, Marrow Quay").first.click()
    sync_api.expect(page.get_by_role("link", name="Fill this place")).to_have_count(0)
    page.get_by_role("link", name="Jory Pennavale as erector").click()
    sync_api.expect(page.get_by_role("heading", level=1)).to_contain_text("REFUSED")
    sync_api.expect(page.get_by_role("link", name="Try somebody else")).to_have_count(0)
    page.go_back()
    page.get_by_role("link", name="Who was qualified, by what was known then").click()
    page.get_by_role("button", name="Show").click()
    sync_api.expect(page.get_by_role("heading", name="Known then").first).to_be_visible()
    fits(page)
    page.get_by_role("link", name="Dismantling, Marrow Quay").first.click()
    page.get_by_role("link", name="Open a file on this job").click()
    page.get_by_label("Reference").fill("PT/2026/31")
    page.get_by_label("Purpose").fill("Report of an untrained person on the mast")
    page.get_by_role("button", name="Open the file").click()
    assert downloaded(page, "Download the inspection bundle").startswith(b"PK")
    page.goto("/log/verification/")
    sync_api.expect(page.get_by_text("In order: nothing was found.")).to_be_visible()
    page.goto("/looks/")
    sync_api.expect(page.get_by_text("inspection bundle downloaded")).to_be_visible()
    fits(page)


def test_the_keyboard_alone_reaches_the_content_and_shows_where_it_is(
    browser: sync_api.Browser, demonstration: str
) -> None:
    context = browser.new_context(viewport=DESK)
    page = context.new_page()
    sign_in(page, demonstration, scenario.DISPATCHER)
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
