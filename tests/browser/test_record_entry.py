"""Putting records into the register in a real browser: desk and phone, with and without scripts."""

from __future__ import annotations

import io
import os
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest.mock import patch
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings as django_settings
from django.test import Client, TransactionTestCase
from PIL import Image
from pytest_django.live_server_helper import LiveServer

from registry.evidence.models import (
    Assessment,
    AssessmentSignature,
    Certification,
    Countersignature,
    EntryObjection,
    HoursEntry,
)
from registry.people.models import Account, Worker
from registry.people.services import open_account
from tests.world import World, sign_in

pytest.importorskip("playwright", reason="Playwright is not installed")
from axe_playwright_python.sync_playwright import Axe
from playwright import sync_api

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
DESK: sync_api.ViewportSize = {"width": 1280, "height": 900}
PHONE: sync_api.ViewportSize = {"width": 360, "height": 760}
BOTH = [pytest.param(DESK, True, id="desk"), pytest.param(PHONE, False, id="phone, without scripts")]
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
WCAG = {
    "resultTypes": ["violations"],
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
}

pytestmark = [
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
]
Opened = Callable[..., sync_api.Page]


@pytest.fixture(scope="module", autouse=True)
def _emptying_is_left_to_the_owner() -> Iterator[None]:
    """Append-only tables refuse Django's own flush; tests/conftest.py empties them instead."""
    # Playwright's event loop runs in this thread while the tests use the database outside it.
    with (
        patch.object(TransactionTestCase, "_fixture_teardown"),
        patch.dict(os.environ, {"DJANGO_ALLOW_ASYNC_UNSAFE": "1"}),
    ):
        yield


@pytest.fixture(scope="module")
def browser() -> Iterator[sync_api.Browser]:
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def world(settings: object, committed_database: None) -> World:
    # The test server speaks plain http.
    settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = False  # type: ignore[attr-defined]
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def opened(browser: sync_api.Browser, live_server: LiveServer, world: World) -> Iterator[Opened]:
    """A page of somebody signed in, by the session's cookie."""
    contexts = []

    def open_as(
        account: Account, path: str, *, size: sync_api.ViewportSize = DESK, scripts: bool = True
    ) -> sync_api.Page:
        client = Client()
        sign_in(client, account)
        context = browser.new_context(viewport=size, java_script_enabled=scripts, base_url=live_server.url)
        contexts.append(context)
        name = django_settings.SESSION_COOKIE_NAME
        context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
        page = context.new_page()
        page.goto(path)
        return page

    yield open_as
    for each in contexts:
        each.close()


def as_worker(worker: Worker) -> Account:
    return open_account(username=f"w{worker.pk}", password=None, kind="worker", worker=worker)


def looks_right(page: sync_api.Page, name: str, *, scripts: bool = True) -> None:
    """Nothing is wider than the window, and axe-core, itself a script, finds no violation of WCAG 2.2 AA."""
    page.wait_for_load_state("load")
    assert page.evaluate(SIDEWAYS) <= 0
    if folder := os.environ.get("REGISTRY_SCREENSHOTS"):
        width = page.viewport_size["width"] if page.viewport_size else 0
        page.screenshot(path=Path(folder) / f"{name}-{width}.png", full_page=True)
    if scripts:
        found = Axe().run(page, options=WCAG)
        assert found.violations_count == 0, found.generate_report()


def test_every_page_fits_and_has_no_barrier(opened: Opened, world: World) -> None:
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira, days=2)
    entry = HoursEntry.objects.filter(worker=mira)[0]
    assessor = as_worker(world.assessor)
    dispatcher = world.dispatcher()
    for size in (DESK, PHONE):
        page = opened(dispatcher, "/records/", size=size)
        looks_right(page, "records")
        for name, path in {
            "sheet": "/records/hours/",
            "queue": "/records/countersigning/",
            "requests": "/records/requests/",
            "import": "/records/import/",
            "new-person": "/records/people/new/",
            "person": f"/records/people/{mira.pk}/",
            "certificate": f"/records/people/{mira.pk}/add/certificate/",
            "appointment": f"/records/people/{mira.pk}/add/appointment/",
            "third-party": f"/records/people/{mira.pk}/add/third-party-assessment/",
            "correct": f"/records/hoursentry/{entry.pk}/correct/",
            "withdraw": f"/records/hoursentry/{entry.pk}/withdraw/",
        }.items():
            page.goto(path)
            looks_right(page, name)
        page = opened(assessor, "/records/assessments/", size=size)
        looks_right(page, "assessments")
        page.goto(f"/records/assessments/{mira.pk}/")
        looks_right(page, "assess")


@pytest.mark.parametrize(("size", "scripts"), BOTH)
def test_a_crews_shift_goes_onto_one_sheet_and_is_countersigned(
    opened: Opened, world: World, size: sync_api.ViewportSize, scripts: bool
) -> None:
    crew = [world.worker("Ada", f"Weir{number:02}") for number in range(14)]
    signer = world.worker("Petra", "Holm")
    dispatcher = opened(world.dispatcher(), "/records/", size=size, scripts=scripts)
    dispatcher.get_by_role("link", name="Hours of a crew").click()
    dispatcher.get_by_role("button", name="More lines").click()
    dispatcher.get_by_label("Site", exact=True).select_option(label="Quillon Wharf")
    dispatcher.get_by_label("Crane", exact=True).select_option(index=1)
    dispatcher.get_by_label("Operation").select_option("dismantling")
    day = (world.now - timedelta(days=2)).astimezone(ZoneInfo(world.site.time_zone)).date()
    dispatcher.get_by_label("Day the work began").fill(day.isoformat())
    dispatcher.get_by_label("Start", exact=True).fill("07:00")
    dispatcher.get_by_label("End", exact=True).fill("15:30")
    dispatcher.get_by_label("To be countersigned by").fill("petra holm")
    for number, worker in enumerate(crew):
        dispatcher.get_by_label(f"Person {number + 1}", exact=True).fill(worker.number)
    dispatcher.get_by_label("Person 3", exact=True).fill("Weir")
    dispatcher.get_by_label("Own start 2", exact=True).fill("09:15")
    dispatcher.get_by_label("Leave out 14", exact=True).check()
    dispatcher.get_by_role("button", name="Record these hours").click()
    person = dispatcher.get_by_label("Person 3", exact=True)
    assert "Several people may be meant" in dispatcher.locator("#id_person_2_error").inner_text()
    assert person.get_attribute("aria-invalid") == "true"
    assert dispatcher.get_by_label("Own start 2", exact=True).input_value() == "09:15"
    looks_right(dispatcher, "sheet-refused", scripts=scripts)
    person.fill(crew[2].number)
    dispatcher.get_by_role("button", name="Record these hours").click()
    dispatcher.get_by_text("Recorded: the hours of 13 people.").wait_for()
    looks_right(dispatcher, "queue-waiting", scripts=scripts)
    assert HoursEntry.objects.count() == 13

    page = opened(as_worker(signer), "/", size=size, scripts=scripts)
    page.get_by_role("link", name="To countersign (13)").click()
    looks_right(page, "to-countersign", scripts=scripts)
    for number in range(13):
        page.get_by_role("checkbox", name=f"Ada Weir{number:02}").check()
    page.get_by_role("checkbox", name="Ada Weir04").uncheck()
    page.get_by_role("button", name="Countersign the ticked entries").click()
    page.get_by_text("Countersigned: 12.").wait_for()
    page.get_by_role("checkbox", name="Ada Weir04").check()
    page.get_by_text("I cannot sign for the ticked entries").click()
    page.get_by_label("Why not").fill("She was on the other crane")
    page.get_by_role("button", name="Decline, and ask the employer").click()
    page.get_by_text("Declined. The employer has your question.").wait_for()
    looks_right(page, "declined", scripts=scripts)
    assert Countersignature.objects.filter(by=signer).count() == 12
    assert EntryObjection.objects.get().entry.worker == crew[4]
    dispatcher.goto("/records/countersigning/")
    assert dispatcher.get_by_text("She was on the other crane").is_visible()
    looks_right(dispatcher, "queue-declined", scripts=scripts)


def photograph() -> dict[str, object]:
    file = io.BytesIO()
    Image.new("RGB", (400, 300), "white").save(file, "JPEG")
    return {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_certificate_is_photographed_on_a_phone(opened: Opened, world: World, scripts: bool) -> None:
    mira = world.worker("Mira", "Sandoval")
    page = opened(world.dispatcher(), f"/records/people/{mira.pk}/", size=PHONE, scripts=scripts)
    page.get_by_role("link", name="Certificate", exact=True).click()
    page.get_by_label("Scheme").fill("Tower rigging")
    page.get_by_label("Issued by").fill("Norrland Board")
    page.get_by_label("Issued on").fill("2024-03-01")
    camera = page.get_by_label("Scan or photograph")
    assert camera.get_attribute("capture") == "environment"
    camera.set_input_files(photograph())  # type: ignore[arg-type]
    page.get_by_role("button", name="Add to the record").click()
    assert page.get_by_text("Kept: IMG_0001.jpg").is_visible()
    looks_right(page, "certificate-refused", scripts=scripts)
    page.get_by_label("Number").fill("R-77")
    page.get_by_role("button", name="Add to the record").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="Save IMG_0001.jpg").click()
    assert download.value.suggested_filename == "IMG_0001.jpg"
    looks_right(page, "person-with-scan", scripts=scripts)
    document = Certification.objects.get(worker=mira).document
    assert document
    assert document.media_type == "image/jpeg"


def test_an_assessor_signs_by_hand(opened: Opened, world: World) -> None:
    mira = world.worker("Mira", "Sandoval")
    page = opened(as_worker(world.assessor), f"/records/assessments/{mira.pk}/", size=PHONE)
    page.get_by_label("Assessed as").select_option("erector")
    page.get_by_label("Crane model").select_option(index=1)
    page.get_by_label("erection", exact=True).check()
    page.get_by_label("Assessed", exact=True).fill((world.now - timedelta(days=3)).strftime("%Y-%m-%dT10:00"))
    page.get_by_label("Task 1", exact=True).fill("Rigs a mast section")
    page.get_by_label("Met 1", exact=True).select_option("met")
    canvas = page.get_by_role("img", name="Drawn signature")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    assert box
    page.mouse.move(box["x"] + 20, box["y"] + 20)
    page.mouse.down()
    page.mouse.move(box["x"] + 90, box["y"] + 50, steps=5)
    page.mouse.up()
    looks_right(page, "assess-signed")
    page.get_by_role("button", name="Record the assessment").click()
    page.get_by_text("The assessment is recorded.").wait_for()
    drawn = AssessmentSignature.objects.get(assessment=Assessment.objects.get(worker=mira)).image
    picture = Image.open(io.BytesIO(bytes(drawn.content)))
    dark = sum(1 for value in picture.convert("L").tobytes() if value < 128)
    assert dark > 50
