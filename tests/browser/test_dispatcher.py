"""What appears in place on the dispatcher's pages, in a real browser; ``test_every_page`` looks at them whole."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from registry.crews.models import Job
from registry.demo import scenario
from registry.people.models import Account

pytest.importorskip("playwright", reason="Playwright is not installed")
from playwright import sync_api

from tests.browser.conftest import Opened
from tests.browser.looking import DESK, PHONE, finds_nothing_wrong, keep

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


def test_a_dispatcher_reads_the_week_and_is_answered_in_place(demonstration: str, opened: Opened) -> None:
    job = Job.objects.get(site__name__startswith="Marrow Quay", employer__name=scenario.EMPLOYER)
    next_day = job.start.astimezone(ZoneInfo(job.site.time_zone)) + timedelta(days=1)
    typed = next_day.strftime("%Y-%m-%dT%H:%M")
    page = opened(Account.objects.get(username=scenario.DISPATCHER.username), "/", viewport=DESK)
    keep(page, "board")
    page.get_by_role("link", name="Dismantling, Marrow Quay", exact=False).last.click()

    page.get_by_role("link", name="Fill this place : erector 2").click()
    people = page.get_by_role("group", name="Person")
    people.wait_for()
    sync_api.expect(people).to_be_focused()
    finds_nothing_wrong(page, "job-with-candidates")
    asked = []
    page.on("request", lambda request: asked.append(request.url) if "q=" in request.url else None)
    page.get_by_label("Search by name or number").press_sequentially("pennavale", delay=20)
    page.get_by_role("status").filter(has_text="0 permitted, 1 refused").wait_for(state="attached")
    assert len(asked) < len("pennavale"), "what is typed is sent once it pauses"
    page.get_by_role("button", name="Decide, and fill the place if permitted").click()
    page.get_by_role("alert").get_by_role("link", name="Person: Choose a person.").wait_for()
    page.get_by_label("Jory Pennavale").check()
    page.get_by_role("button", name="Decide, and fill the place if permitted").click()
    verdict = page.get_by_role("heading", name="REFUSED Jory Pennavale")
    verdict.wait_for()
    sync_api.expect(verdict).to_be_focused()
    sync_api.expect(page.get_by_role("article", name="The answer")).to_contain_text("119 h missing")
    sync_api.expect(
        page.get_by_role("region", name="Refused attempts").get_by_text("Jory Pennavale").first
    ).to_be_visible()
    finds_nothing_wrong(page, "answer-refused")
    page.get_by_role("link", name="Close").click()
    page.get_by_role("article", name="The answer").wait_for(state="detached")
    sync_api.expect(
        page.locator("h3").filter(has_text="Erector 2"), "the keyboard goes on from the place"
    ).to_be_focused()
    page.get_by_role("link", name="Fill this place : erector 2").click()
    page.get_by_label("Ines Halvarro").check()
    page.get_by_text("For part of the job only").click()
    page.locator(".window [name=start]").fill(typed)
    page.get_by_label("Search by name or number").press_sequentially("halvarro", delay=20)
    page.get_by_role("status").filter(has_text="1 permitted, 0 refused").wait_for(state="attached")
    sync_api.expect(page.get_by_label("Ines Halvarro"), "a search keeps who was chosen").to_be_checked()
    sync_api.expect(page.locator(".window [name=start]")).to_have_value(typed)
    page.get_by_role("button", name="Decide, and fill the place if permitted").click()
    page.get_by_role("heading", name="PERMITTED Ines Halvarro").wait_for()
    sync_api.expect(page.get_by_role("link", name="Ines Halvarro", exact=True)).to_be_visible()
    keep(page, "answer-permitted")
    assert "/jobs/" in page.url, "all of it happened on the page of the job"

    page.goto("/workers/")
    page.get_by_label("Search by name or number").press_sequentially("halvarro", delay=20)
    page.get_by_role("status").filter(has_text="1 person found").wait_for(state="attached")
    sync_api.expect(page.get_by_role("link", name="Jory Pennavale")).to_have_count(0)

    page.set_viewport_size(PHONE)
    page.emulate_media(color_scheme="dark")
    page.goto("/")
    page.get_by_role("link", name="Dismantling, Marrow Quay").first.click()
    page.get_by_role("link", name="Fill this place : crane operator").click()
    page.get_by_role("group", name="Person").wait_for()
    finds_nothing_wrong(page, "job-with-candidates-dark")
