"""What every page is held to: it fits the window, and axe-core finds no barrier."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

pytest.importorskip("playwright", reason="Playwright is not installed")
from axe_playwright_python.sync_playwright import Axe
from playwright import sync_api

DESK: sync_api.ViewportSize = {"width": 1280, "height": 900}
PHONE: sync_api.ViewportSize = {"width": 360, "height": 760}
LOOKS = [
    pytest.param(DESK, "light", id="desk, light"),
    pytest.param(PHONE, "dark", id="phone, dark"),
]
ONE_LOOK = LOOKS[1:]
"""For what appears on the way: ``test_every_page`` looks at the pages themselves on a desk and a phone."""
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
# Only violations are told: laying out what passed takes longer than finding it.
WCAG = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"], "resultTypes": ["violations"]}


def fits(page: sync_api.Page) -> None:
    """Nothing is wider than the window."""
    page.wait_for_load_state("load")
    assert page.evaluate(SIDEWAYS) <= 0


def finds_nothing_wrong(page: sync_api.Page, name: str, *, heading: str | None = None, scripts: bool = True) -> None:
    """The page is the one expected, fits, and axe-core, itself a script, finds no violation of WCAG 2.2 AA."""
    fits(page)
    if heading is not None:
        sync_api.expect(page.get_by_role("heading", level=1)).to_have_text(heading)
    keep(page, name)
    if scripts:
        found = Axe().run(page, options=WCAG)
        assert found.violations_count == 0, found.generate_report()


def keep(page: sync_api.Page, name: str, *, whole: bool = True) -> None:
    """Keep a picture where REGISTRY_SCREENSHOTS says."""
    if folder := os.environ.get("REGISTRY_SCREENSHOTS"):
        width = page.viewport_size["width"] if page.viewport_size else 0
        plain = re.sub(r"\W+", "-", name.lower()).strip("-")
        page.screenshot(path=Path(folder) / f"{plain}-{width}.png", full_page=whole)
