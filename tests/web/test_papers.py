"""Documents to take away, and the public check of them."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from datetime import timedelta

import pikepdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from pypdfium2 import PdfDocument

from registry.evidence import services as evidence
from registry.inspection.models import Look
from registry.people.models import Worker
from registry.transcripts.models import IssuedTranscript
from tests.world import World


@pytest.fixture
def erector(world: World) -> Worker:
    erector = world.worker("Ana", "Castell")
    world.make_erector(erector, days=3)
    return erector


def downloaded(client: Client, worker: Worker) -> bytes:
    page = client.post(reverse("transcript", args=[worker.pk]), {"language": "en", "paper": "Letter"})
    assert page.status_code == 200
    assert page["Content-Type"] == "application/pdf"
    return page.content


@pytest.mark.prints
def test_a_worker_downloads_a_signed_transcript_that_anybody_can_check(
    as_worker: Callable[[Worker], Client], erector: Worker, world: World
) -> None:
    content = downloaded(as_worker(erector), erector)
    issued = IssuedTranscript.objects.get()
    text = "\n".join(page.get_textpage().get_text_range() for page in PdfDocument(content))
    assert "Ana Castell" in text
    assert issued.code in text
    with pikepdf.open(io.BytesIO(content)) as pdf:
        assert "/AcroForm" in pdf.Root
    public = Client()
    answer = public.get(reverse("check_code", args=[issued.code])).text
    assert "Genuine." in answer
    assert "Current." in answer
    assert "Castell" not in answer
    assert erector.number not in answer
    same = SimpleUploadedFile("transcript.pdf", content)
    assert "the very one" in public.post(reverse("check"), {"number": issued.code, "file": same}).text
    other = SimpleUploadedFile("transcript.pdf", content + b" ")
    refused = public.post(reverse("check"), {"number": issued.code.lower(), "file": other}).text
    told = refused.split('id="answer-title"')[1].split("</section>")[0]
    assert told.index("#shape-refused") < told.index("Not genuine: this file is not the one that was given out.")
    assert "was given out on" in told
    for word in ("#shape-met", "Genuine.", "Current."):
        assert word not in told
    world.assess(erector, "rigger", at=world.now)
    assert "Not the latest." in public.get(reverse("check_code", args=[issued.code])).text


def test_an_unknown_code_is_said_to_be_unknown(db: None) -> None:
    assert "Unknown." in Client().get(reverse("check"), {"number": "AAAA-BBBB-CCCC-DDDD"}).text


def test_a_blank_number_is_told_beside_its_field(db: None) -> None:
    page = Client().post(reverse("check"), {"number": " "})
    assert page.status_code == 422
    assert "id_number_error" in page.text


@pytest.mark.parametrize(
    ("status", "said"), [("", "valid"), ("suspended", "suspended"), ("revoked", "revoked"), ("reinstated", "valid")]
)
def test_a_certificate_is_checked_by_its_number_alone(erector: Worker, world: World, status: str, said: str) -> None:
    certificate = erector.certification_records.get()
    if status:
        evidence.change_certification_status(
            certification=certificate,
            status=status,
            effective_at=world.now - timedelta(hours=1),
            reason="The board's letter",
            recorded_at=world.now,
            recorded_by=world.registrar(),
        )
    answer = Client().get(reverse("check"), {"number": certificate.number}).text
    assert f"On record{' and' if said == 'valid' else ','} {said}." in answer
    assert "Castell" not in answer


def test_a_revoked_certificate_stays_revoked_when_its_record_is_corrected(erector: Worker, world: World) -> None:
    certificate = erector.certification_records.get()
    evidence.change_certification_status(
        certification=certificate,
        status="revoked",
        effective_at=world.now - timedelta(hours=1),
        recorded_at=world.now,
        recorded_by=None,
    )
    evidence.correct(certificate, recorded_at=world.now, recorded_by=None, issuer="Norrland Board of Lifting")
    assert "On record, revoked." in Client().get(reverse("check"), {"number": certificate.number}).text


def test_nobody_else_downloads_a_transcript(
    another_employer: Client, as_worker: Callable[[Worker], Client], erector: Worker, world: World
) -> None:
    stranger = as_worker(world.worker("Bo", "Nyland"))
    for client in (another_employer, stranger):
        assert client.post(reverse("transcript", args=[erector.pk]), {}).status_code == 404
    assert not IssuedTranscript.objects.exists()


def test_paper_and_language_are_those_there_are(as_worker: Callable[[Worker], Client], erector: Worker) -> None:
    page = as_worker(erector).post(reverse("transcript", args=[erector.pk]), {"language": "xx", "paper": "A9"})
    assert page.status_code == 422


@pytest.mark.prints
def test_crew_sheet_and_refusal_notice_are_downloaded_and_seen(
    dispatcher: Client, inspector: Client, as_worker: Callable[[Worker], Client], erector: Worker, world: World
) -> None:
    slot = world.job(["erector"]).slots.get()
    refused = world.assign(slot, world.worker("Bo", "Nyland")).decision
    sheet = inspector.get(reverse("crew_sheet", args=[slot.job_id]))
    assert sheet.content.startswith(b"%PDF")
    assert Look.objects.get().what == "crew_sheet"
    assert dispatcher.get(reverse("refusal_notice", args=[refused.pk])).content.startswith(b"%PDF")
    assert as_worker(erector).get(reverse("crew_sheet", args=[slot.job_id])).status_code == 404


def test_a_worker_downloads_everything_held_about_them_and_nobody_elses(
    as_worker: Callable[[Worker], Client], dispatcher: Client, erector: Worker, world: World
) -> None:
    world.worker("Bo", "Nyland")
    held = as_worker(erector).post(reverse("own_data"))
    assert held["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(held.content)) as packed:
        text = b"".join(packed.read(each) for each in packed.namelist()).decode(errors="replace")
    assert "Castell" in text
    assert "Nyland" not in text
    assert dispatcher.post(reverse("own_data")).status_code == 403
