"""The pages of the log in a real browser, at desktop and phone size, checked by axe-core."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from registry.evidence.models import HoursEntry
from registry.ledger import here
from registry.people import services as people
from registry.people.models import Account
from tests.own_log import keep_log_in

pytest.importorskip("playwright", reason="Playwright is not installed")
from playwright import sync_api

from tests.browser.conftest import Opened
from tests.browser.looking import ONE_LOOK, finds_nothing_wrong

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


@pytest.fixture(autouse=True)
def _two_checkpoints(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, demonstration: str) -> None:
    """The demonstration, signed twice."""
    keep_log_in(tmp_path, monkeypatch)
    here.sign(at=timezone.now() - timedelta(minutes=5))
    people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=timezone.now())
    here.sign(at=timezone.now())


@pytest.mark.parametrize(("size", "scheme"), ONE_LOOK)
def test_every_page_of_the_log_is_accessible_and_fits(opened: Opened, size: sync_api.ViewportSize, scheme: str) -> None:
    page = opened(Account.objects.get(kind="inspector"), "/", viewport=size, color_scheme=scheme)
    page.get_by_role("link", name="Log", exact=True).click()
    finds_nothing_wrong(page, "log log", heading="The log")
    with page.expect_download() as kept:
        page.get_by_role("link", name="Keep a copy: checkpoint.txt").click()
    assert kept.value.suggested_filename == "checkpoint.txt"
    page.get_by_role("button", name="Prove it").click()
    sync_api.expect(page.get_by_text("No. Everything before A stands unchanged in B.")).to_be_visible()
    sync_api.expect(page.get_by_role("img", name="goes on from checkpoint A")).to_be_visible()
    finds_nothing_wrong(page, "log growth", heading="The log")
    page.get_by_label("Checkpoint A: size in leaves").fill("3")
    page.get_by_role("button", name="Prove it").click()
    sync_api.expect(page.get_by_role("alert")).to_be_visible()
    finds_nothing_wrong(page, "log refused", heading="The log")
    entry = HoursEntry.objects.order_by("pk")[0]
    page.goto(f"/log/records/evidence_hoursentry/{entry.pk}/")
    sync_api.expect(page.get_by_role("img", name="The way from leaf")).to_be_visible()
    finds_nothing_wrong(page, "log record", heading=f"Hours entry {entry.pk} in the log")
    page.goto("/log/verification/")
    finds_nothing_wrong(page, "log verification", heading="Verification of the log")
    page.get_by_role("button", name="Verify everything").click()
    sync_api.expect(page.get_by_text("In order: nothing was found.")).to_be_visible()
