"""Every page in a real browser: it fits, axe-core finds no barrier, nothing jumps, little is loaded."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.own_log import keep_log_in
from tests.pages import NOBODY, PAGES
from tests.scene import scene

pytest.importorskip("playwright", reason="Playwright is not installed")
from axe_playwright_python.sync_playwright import Axe
from playwright import sync_api

from tests.browser.conftest import Opened
from tests.browser.looking import DESK, PHONE, SIDEWAYS, WCAG, keep

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

# What depends on colours and sizes is looked at again in the dark and on a phone.
OF_LOOKS = {"runOnly": {"type": "rule", "values": ["color-contrast", "target-size"]}, "resultTypes": ["violations"]}
MOST_BYTES = 100_000
SHIFTS = """() => new Promise(done => {
  let whole = 0;
  new PerformanceObserver(seen => { for (const each of seen.getEntries()) whole += each.value; })
    .observe({type: "layout-shift", buffered: true});
  requestAnimationFrame(() => setTimeout(() => done(whole), 30));
})"""
ASSETS = """() => performance.getEntriesByType("resource")
  .filter(each => /\\.(css|js|svg|woff2?)([?]|$)/.test(each.name))
  .reduce((sum, each) => sum + each.decodedBodySize, 0)"""


@pytest.mark.parametrize("part", [0, 1])
def test_every_page_fits_has_no_barrier_does_not_jump_and_loads_little(
    opened: Opened, address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, part: int
) -> None:
    keep_log_in(tmp_path, monkeypatch)
    running = scene()
    numbers = running.numbers()
    wrong: dict[str, object] = {}
    # Of a page that several accounts open, or that has several forms of one kind, the first.
    pages = list({(each.name, each.query): each for each in reversed(PAGES)}.values())[part::2]
    for by in dict.fromkeys(each.by for each in pages):
        account = None if by == NOBODY else running.account(by)
        page = opened(account, "/check/", viewport=DESK)
        for each in (each for each in pages if each.by == by):
            if found := _wrong(page, each.path(numbers), f"every {each}"):
                wrong[str(each)] = found
    assert wrong == {}


def _wrong(page: sync_api.Page, path: str, name: str) -> dict[str, object]:
    """What is wrong with a page, on a desk by day and on a phone by night."""
    page.set_viewport_size(DESK)
    page.emulate_media(color_scheme="light")
    answer = page.goto(path)
    page.wait_for_load_state("load")
    found: dict[str, object] = {
        "status": "" if answer is not None and answer.ok else answer,
        "wider than a desk": max(page.evaluate(SIDEWAYS), 0),
        "jumps by": page.evaluate(SHIFTS),
        "loads too much": max(page.evaluate(ASSETS) - MOST_BYTES, 0),
        "barriers": _barriers(page, WCAG),
    }
    keep(page, name)
    page.set_viewport_size(PHONE)
    page.emulate_media(color_scheme="dark")
    found["wider than a phone"] = max(page.evaluate(SIDEWAYS), 0)
    found["barriers on a phone by night"] = _barriers(page, OF_LOOKS)
    keep(page, name)
    return {what: how for what, how in found.items() if how}


def _barriers(page: sync_api.Page, options: dict[str, Any]) -> str:
    found = Axe().run(page, options=options)
    return found.generate_report() if found.violations_count else ""
