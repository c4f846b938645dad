"""Long words and web addresses break where they must; nothing makes a page wider than a phone."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.utils import timezone

from registry.demo import scenario
from registry.evidence import corrections
from registry.evidence import services as evidence
from registry.people import services as people
from tests.own_log import keep_log_in
from tests.pages import ASSESSOR, NOBODY, PAGES
from tests.scene import scene

pytest.importorskip("playwright", reason="Playwright is not installed")
from tests.browser.conftest import Opened
from tests.browser.looking import PHONE, SIDEWAYS, keep

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

ADDRESS = "https://papers.marrow-quay.example/" + "crane-papers/" * 4 + "sheet-07"
LONG_WORD = "e" * 5000
# Cells, buttons and states keep their short words whole; a phone hides the heads of tables.
LETTERS = """() => [...document.querySelectorAll("td, tbody th, .state, button, .button")]
  .filter(each => each.offsetWidth > 2 && each.innerText.trim().length > 3 && !/\\S{40}/.test(each.innerText))
  .filter(each => {
    const range = document.createRange();
    const texts = document.createTreeWalker(each, NodeFilter.SHOW_TEXT);
    for (let text; (text = texts.nextNode());)
      for (const word of text.data.matchAll(/[\\p{L}]{2,}/gu)) {
        range.setStart(text, word.index);
        range.setEnd(text, word.index + word[0].length);
        if (new Set([...range.getClientRects()].map(box => Math.round(box.top))).size > 1) return true;
      }
    return false;
  })
  .map(each => each.innerText)"""


def test_no_page_is_wider_than_a_phone_and_no_short_word_is_broken(
    opened: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep_log_in(tmp_path, monkeypatch)
    running = scene()
    now = timezone.now()
    dispatcher = running.account(scenario.DISPATCHER.username)
    for worker in (running.worker, running.job.assignment_states.get(slot__role="erection_supervisor").worker):
        evidence.stand_down(
            worker=worker,
            start=now,
            reason=LONG_WORD,
            employer=dispatcher.employer,
            recorded_at=now,
            recorded_by=dispatcher,
        )
    corrections.request_correction(
        record=people.record_language(worker=running.worker, language="de", recorded_at=now, recorded_by=dispatcher),
        what_is_wrong=ADDRESS,
        what_it_should_be=ADDRESS,
        recorded_at=now,
        recorded_by=running.account(scenario.WORKER.username),
    )
    wrong = {}
    for by in dict.fromkeys(each.by for each in PAGES if each.by not in (NOBODY, ASSESSOR)):
        page = opened(running.account(by), "/check/", viewport=PHONE)
        for each in PAGES:
            if each.by == by:
                page.goto(each.path(running.numbers()))
                found = max(page.evaluate(SIDEWAYS), 0), page.evaluate(LETTERS)
                keep(page, f"long words {each}")
                if found != (0, []):
                    wrong[str(each)] = found
    assert wrong == {}
