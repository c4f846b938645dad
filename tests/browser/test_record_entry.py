"""Putting records into the register in a real browser: desk and phone, with and without scripts."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from PIL import Image

from registry.evidence.models import (
    Assessment,
    AssessmentSignature,
    Certification,
    Countersignature,
    EntryObjection,
    HoursEntry,
)
from registry.people.models import Account, Worker
from registry.people.second_factor import enrol_authenticator_app
from registry.people.services import open_account
from tests.world import World

pytest.importorskip("playwright", reason="Playwright is not installed")
from playwright import sync_api

from tests.browser.conftest import Opened
from tests.browser.looking import DESK, PHONE, finds_nothing_wrong

BOTH = [pytest.param(DESK, True, id="desk"), pytest.param(PHONE, False, id="phone, without scripts")]

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


@pytest.fixture
def world(address: str) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


def as_worker(worker: Worker) -> Account:
    account = open_account(username=f"w{worker.pk}", password=None, kind="worker", worker=worker)
    # With a password alone nobody signs.
    enrol_authenticator_app(account=account, secret="INVENTEDFORTESTS")
    return account


@pytest.mark.parametrize(("size", "scripts"), BOTH[1:])
def test_a_crews_shift_goes_onto_one_sheet_and_is_countersigned(
    opened: Opened, world: World, size: sync_api.ViewportSize, scripts: bool
) -> None:
    crew = [world.worker("Ada", f"Weir{number:02}") for number in range(14)]
    signer = world.worker("Petra", "Holm")
    dispatcher = opened(world.dispatcher(), "/records/", viewport=size, scripts=scripts)
    dispatcher.get_by_role("link", name="Hours of a crew").click()
    dispatcher.get_by_role("button", name="More lines").click()
    dispatcher.get_by_label("Site", exact=True).select_option(label="Quillon Wharf")
    dispatcher.get_by_label("Crane", exact=True).select_option(index=1)
    dispatcher.get_by_label("Operation").select_option("dismantling")
    dispatcher.get_by_label("Worked as", exact=True).select_option("erector")
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
    sync_api.expect(dispatcher.locator("#id_person_2_error")).to_contain_text("Several people may be meant")
    sync_api.expect(person).to_have_attribute("aria-invalid", "true")
    sync_api.expect(dispatcher.get_by_label("Own start 2", exact=True)).to_have_value("09:15")
    finds_nothing_wrong(dispatcher, "sheet-refused", scripts=scripts)
    person.fill(crew[2].number)
    dispatcher.get_by_role("button", name="Record these hours").click()
    dispatcher.get_by_text("Recorded: the hours of 13 people.").wait_for()
    finds_nothing_wrong(dispatcher, "queue-waiting", scripts=scripts)
    assert HoursEntry.objects.count() == 13

    page = opened(as_worker(signer), "/", viewport=size, scripts=scripts)
    page.get_by_role("link", name="To countersign (13)").click()
    finds_nothing_wrong(page, "to-countersign", scripts=scripts)
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
    finds_nothing_wrong(page, "declined", scripts=scripts)
    assert Countersignature.objects.filter(by=signer).count() == 12
    assert EntryObjection.objects.get().entry.worker == crew[4]
    dispatcher.goto("/records/countersigning/")
    sync_api.expect(dispatcher.get_by_text("She was on the other crane")).to_be_visible()
    finds_nothing_wrong(dispatcher, "queue-declined", scripts=scripts)


def photograph() -> dict[str, object]:
    file = io.BytesIO()
    Image.new("RGB", (400, 300), "white").save(file, "JPEG")
    return {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_certificate_is_photographed_on_a_phone(opened: Opened, world: World, scripts: bool) -> None:
    mira = world.worker("Mira", "Sandoval")
    page = opened(world.dispatcher(), f"/records/people/{mira.pk}/", viewport=PHONE, scripts=scripts)
    page.get_by_role("link", name="Certificate", exact=True).click()
    page.get_by_label("Not on the list: its name").fill("Tower rigging")
    page.get_by_label("Issued by").fill("Norrland Board")
    page.get_by_label("Issued on").fill("2024-03-01")
    camera = page.get_by_label("Scan or photograph")
    sync_api.expect(camera).to_have_attribute("capture", "environment")
    camera.set_input_files(photograph())  # type: ignore[arg-type]
    page.get_by_role("button", name="Add to the record").click()
    sync_api.expect(page.get_by_text("Kept: IMG_0001.jpg")).to_be_visible()
    finds_nothing_wrong(page, "certificate-refused", scripts=scripts)
    page.get_by_label("Number").fill("R-77")
    page.get_by_role("button", name="Add to the record").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="Save IMG_0001.jpg").click()
    assert download.value.suggested_filename == "IMG_0001.jpg"
    finds_nothing_wrong(page, "person-with-scan", scripts=scripts)
    document = Certification.objects.get(worker=mira).document
    assert document
    assert document.media_type == "image/jpeg"


def test_an_assessor_signs_by_hand(opened: Opened, world: World) -> None:
    mira = world.worker("Mira", "Sandoval")
    page = opened(as_worker(world.assessor), f"/records/assessments/{mira.pk}/", viewport=PHONE)
    page.get_by_label("Assessed as").select_option("erector")
    page.get_by_label("Crane model").select_option(index=1)
    page.get_by_label("erection", exact=True).check()
    page.get_by_label("Assessed", exact=True).fill((world.now - timedelta(days=3)).strftime("%Y-%m-%dT10:00"))
    page.get_by_label("Task 1", exact=True).fill("Rigs a mast section")
    page.get_by_label("Met 1", exact=True).select_option("met")
    page.get_by_label("Outcome").select_option("pass")
    canvas = page.get_by_role("img", name="Drawn signature")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    assert box
    page.mouse.move(box["x"] + 20, box["y"] + 20)
    page.mouse.down()
    page.mouse.move(box["x"] + 90, box["y"] + 50, steps=5)
    page.mouse.up()
    finds_nothing_wrong(page, "assess-signed")
    page.get_by_role("button", name="Record the assessment").click()
    page.get_by_text("The assessment is recorded.").wait_for()
    drawn = AssessmentSignature.objects.get(assessment=Assessment.objects.get(worker=mira)).image
    picture = Image.open(io.BytesIO(bytes(drawn.content)))
    dark = sum(1 for value in picture.convert("L").tobytes() if value < 128)
    assert dark > 50
