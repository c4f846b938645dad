"""An inspector's whole job, and what worker, employer and public see of it, in a real browser."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from registry.crews.models import Job
from registry.evidence import services as evidence
from registry.people.models import Account
from registry.transcripts.models import IssuedTranscript
from registry.web import demo
from tests.own_log import keep_log_in

pytest.importorskip("playwright", reason="Playwright is not installed")
from playwright import sync_api

from tests.browser.conftest import Opened
from tests.browser.looking import PHONE, finds_nothing_wrong

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


@pytest.fixture(autouse=True)
def _log_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, demonstration: str) -> None:
    keep_log_in(tmp_path, monkeypatch)


def account_of(known: demo.DemoAccount) -> Account:
    return Account.objects.get(username=known.username)


@pytest.fixture
def job() -> Job:
    """The dismantling; since a minute ago its erector is barred, which the register did not know before."""
    job = Job.objects.get(site__name__startswith="Marrow Quay")
    erector = job.assignment_states.get(worker__family_name="Lindqvar").worker
    now = timezone.now()
    evidence.stand_down(
        worker=erector, start=now - timedelta(hours=3), reason="unclipped at height", recorded_at=now, recorded_by=None
    )
    return job


@pytest.mark.parametrize(("size", "scripts"), [pytest.param(PHONE, False, id="phone, without scripts")])
def test_who_was_qualified_then_and_who_is_now(
    opened: Opened, job: Job, size: sync_api.ViewportSize, scripts: bool
) -> None:
    page = opened(account_of(demo.INSPECTOR), f"/jobs/{job.pk}/", viewport=size, scripts=scripts)
    page.get_by_role("link", name="Who was qualified, by what was known then").click()
    page.get_by_label("As known at").fill(f"{timezone.now() - timedelta(days=2):%Y-%m-%dT%H:%M}")
    page.get_by_role("button", name="Show").click()
    assert page.get_by_text("The register did not know this plan at that instant").is_visible()
    finds_nothing_wrong(page, "as known", scripts=scripts)
    link = f"/slots/{job.slots.filter(role='erector').order_by('id')[0].pk}/as-known/?worker="
    erector = job.assignment_states.get(worker__family_name="Lindqvar").worker_id
    page.goto(f"{link}{erector}&at={timezone.now() - timedelta(days=2):%Y-%m-%dT%H:%M}")
    assert page.get_by_text("permitted. By what it knows now: refused").is_visible()
    assert page.get_by_text("the stand-down was recorded only after that instant").is_visible()
    finds_nothing_wrong(page, "as known person", scripts=scripts)


def test_a_worker_carries_the_transcript_away_and_anybody_checks_it(
    opened: Opened, browser: sync_api.Browser, demonstration: str
) -> None:
    account = account_of(demo.WORKER)
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
    assert public.get_by_text("The file is the very one that was given out.").is_visible()
    assert public.get_by_text("Pennavale").count() == 0
    finds_nothing_wrong(public, "check", heading="Is it genuine?")
    context.close()
