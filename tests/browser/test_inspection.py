"""A worker carries the transcript away and anybody checks it, in a real browser."""

from __future__ import annotations

from pathlib import Path

import pytest

from registry.demo import scenario
from registry.people.models import Account
from registry.transcripts.models import IssuedTranscript
from tests.own_log import keep_log_in

pytest.importorskip("playwright", reason="Playwright is not installed")
from playwright import sync_api

from tests.browser.conftest import Opened
from tests.browser.looking import PHONE, finds_nothing_wrong

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


@pytest.fixture(autouse=True)
def _log_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, demonstration: str) -> None:
    keep_log_in(tmp_path, monkeypatch)


def account_of(known: scenario.DemoAccount) -> Account:
    return Account.objects.get(username=known.username)


def test_a_worker_carries_the_transcript_away_and_anybody_checks_it(
    opened: Opened, browser: sync_api.Browser, demonstration: str
) -> None:
    account = account_of(scenario.WORKER)
    page = opened(account, f"/workers/{account.worker_id}/", viewport=PHONE)
    page.get_by_role("link", name="Download the training transcript").click()
    finds_nothing_wrong(page, "transcript", heading="Training transcript")
    page.get_by_label("Paper").select_option("Letter")
    with page.expect_download() as kept:
        page.get_by_role("button", name="Download the transcript").click()
    assert kept.value.path().read_bytes().startswith(b"%PDF")
    context = browser.new_context(viewport=PHONE, base_url=demonstration, bypass_csp=True)
    public = context.new_page()
    public.goto("/check/")
    public.get_by_label("Number").fill(IssuedTranscript.objects.get().code.lower())
    public.locator("input[type=file]").set_input_files(kept.value.path())
    public.get_by_role("button", name="Check").click()
    sync_api.expect(public.get_by_text("The file is the very one that was given out.")).to_be_visible()
    sync_api.expect(public.get_by_text("Pennavale")).to_have_count(0)
    finds_nothing_wrong(public, "check", heading="Is it genuine?")
    context.close()
