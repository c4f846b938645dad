"""The notice of a job in a real browser: from what is missing to what has changed since it was sent."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

pytest.importorskip("playwright", reason="Playwright is not installed")

from tests.browser.conftest import Opened
from tests.browser.looking import DESK, PHONE, finds_nothing_wrong
from tests.columbia import ZONE, Columbia
from tests.conftest import load_shipped_standards
from tests.world import World

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


def test_a_packet_is_completed_sent_and_changed(address: str, opened: Opened) -> None:
    load_shipped_standards()
    world = World(datetime.now(UTC).replace(second=0, microsecond=0))
    columbia = Columbia(world)
    dispatcher = world.dispatcher()
    columbia.particulars()
    columbia.procedure()
    path = f"/jobs/{columbia.job.pk}/notice/"

    page = opened(dispatcher, path, viewport=DESK)
    finds_nothing_wrong(page, "notice-incomplete", heading="Notice to the authority")
    page.get_by_role("link", name="Add the employer as a party").click()
    finds_nothing_wrong(page, "notice-party")
    page.get_by_label("Telephone").fill("555 0100")
    page.get_by_role("button", name="Record this").click()
    page.get_by_role("link", name="Record that it was sent").click()
    finds_nothing_wrong(page, "notice-sending")
    page.get_by_label("Sent at").fill(f"{world.now.astimezone(ZONE):%Y-%m-%dT%H:%M}")
    page.get_by_label("To whom").fill("The authority")
    page.get_by_role("button", name="Record as sent").click()
    page.get_by_role("heading", name="Sent, and nothing has changed since").wait_for()

    columbia.particulars(configuration="Mast 48 m, jib 50 m, two ties")
    phone = opened(dispatcher, path, viewport=PHONE, color_scheme="dark")
    phone.get_by_role("heading", name="Sent, and changed since: tell the authority").wait_for()
    finds_nothing_wrong(phone, "notice-changed")
