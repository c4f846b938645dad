"""A worker's own pages in a real browser, at desktop and phone size, checked by axe-core; and what a link shows."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from registry.evidence import countersigning
from registry.evidence import services as evidence
from registry.people import services as people
from registry.people.models import Worker
from tests.own_log import keep_log_in
from tests.world import World

pytest.importorskip("playwright", reason="Playwright is not installed")
from playwright import sync_api

from tests.browser.conftest import Opened
from tests.browser.looking import ONE_LOOK, finds_nothing_wrong

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


@pytest.fixture
def mira(address: str) -> Worker:
    """Somebody on a crew, with hours that wait and papers that run out."""
    world = World(datetime.now(UTC).replace(second=0, microsecond=0))
    worker = world.worker("Mira", "Sandoval")
    world.make_erector(worker)
    evidence.record_certification(
        worker=worker,
        scheme="rigging",
        number="R-41",
        issuer="Norrland Board",
        issued=world.now.date() - timedelta(days=300),
        expires=world.now.date() + timedelta(days=64),
        recorded_at=world.now,
        recorded_by=None,
    )
    start = (world.now - timedelta(days=3)).replace(hour=15, minute=0)
    new = evidence.NewHours(
        worker=worker,
        model=world.model,
        operation="climbing",
        start=start,
        end=start + timedelta(hours=6),
        employer=world.employer,
        site=world.site,
        crane=world.crane,
    )
    entry = evidence.record_hours(new=new, recorded_at=world.now, recorded_by=None)
    countersigning.ask_for_countersignature(entries=[entry], of=world.assessor, recorded_at=world.now, recorded_by=None)
    assert world.assign(world.job(["erector"]).slots.get(), worker).permitted
    return worker


@pytest.mark.parametrize(("size", "scheme"), ONE_LOOK)
def test_a_worker_does_everything_from_the_own_page_and_somebody_looks_through_a_link(
    opened: Opened,
    browser: sync_api.Browser,
    mira: Worker,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    size: sync_api.ViewportSize,
    scheme: str,
) -> None:
    keep_log_in(tmp_path, monkeypatch)
    account = people.open_account(username="mira", password=None, kind="worker", worker=mira)
    page = opened(account, "/", viewport=size, color_scheme=scheme)
    finds_nothing_wrong(page, "own home", heading="Mira Sandoval")
    assert page.get_by_role("img", name=re.compile("documents? runs? out from")).is_visible()
    page.get_by_role("link", name="See my record").click()
    page.get_by_text("The figures of this chart").click()
    finds_nothing_wrong(page, "own record", heading="Mira Sandoval")
    page.get_by_role("link", name="What is missing for a role").click()
    page.get_by_label("Role", exact=True).select_option("erection_supervisor")
    page.get_by_role("button", name="What is missing?").click()
    assert page.get_by_role("heading", name="What would cure it").is_visible()
    finds_nothing_wrong(page, "own role", heading="What is missing for a role")
    page.goto("/own/")
    page.get_by_role("link", name="Share my record by a link").click()
    page.get_by_label("For whom").fill("Cormorant Lift Yard")
    page.get_by_role("button", name="Make a link").click()
    finds_nothing_wrong(page, "own sharing", heading="Share my record")
    link = page.locator(".link-once code").inner_text()

    stranger = browser.new_context(bypass_csp=True, viewport=size, color_scheme=scheme).new_page()  # type: ignore[arg-type]
    stranger.goto(link)
    finds_nothing_wrong(stranger, "own shared", heading="Mira Sandoval")
    with stranger.expect_download() as kept:
        stranger.get_by_role("button", name="Download the training transcript").click()
    assert kept.value.suggested_filename == f"transcript-{mira.number}.pdf"
    stranger.get_by_role("button", name="Français").click()
    assert stranger.locator("html").get_attribute("lang") == "fr"

    page.goto("/looks/")
    assert page.get_by_text("somebody who was not signed in").count() == 3
    finds_nothing_wrong(page, "own looks", heading="Who looked")
    page.goto("/sharing/")
    page.get_by_role("button", name="End this link now").click()
    assert page.get_by_text("Ended by you").is_visible()
    assert stranger.goto(link).status == 410  # type: ignore[union-attr]
    finds_nothing_wrong(stranger, "own closed")
    stranger.context.close()
