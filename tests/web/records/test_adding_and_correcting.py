"""Records about one person: added with a scan, corrected, withdrawn, asked about; documents and who may save them."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Callable
from datetime import UTC, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pikepdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from PIL import Image

from registry.database.errors import RecordRefused
from registry.evidence.kinds import RECORDS
from registry.evidence.models import (
    Appointment,
    Assessment,
    AssessmentSignature,
    Certification,
    CertificationStatus,
    CorrectionRequest,
    Document,
    HoursEntry,
    Instruction,
    StandDown,
)
from registry.evidence.services import correct
from registry.people.models import Account, Employer, Employment, LanguageSkill, Worker
from registry.people.services import employ, open_account
from tests.world import World

AsWorker = Callable[[Worker], Client]


def photo(name: str = "IMG_0001.jpg") -> SimpleUploadedFile:
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(file, "JPEG")
    return SimpleUploadedFile(name, file.getvalue(), content_type="text/html")


def a_certificate(**more: Any) -> dict[str, Any]:
    given = {"scheme": "Tower rigging", "number": "R-77", "issuer": "Norrland Board", "issued": "2024-03-01"}
    return {**given, "expires": "2031-02-28", "scope": "slings, signals", **more}


@pytest.fixture
def mira(world: World) -> Worker:
    return world.worker("Mira", "Sandoval")


def add(client: Client, worker: Worker, what: str, **given: Any) -> Any:
    return client.post(f"/records/people/{worker.pk}/add/{what}/", given)


def test_a_certificate_with_a_photographed_scan(world: World, dispatcher: Client, mira: Worker) -> None:
    response = add(dispatcher, mira, "certificate", **a_certificate(document=photo(), models=[world.model.pk]))
    assert response.headers["Location"] == f"/records/people/{mira.pk}/"
    recorded = Certification.objects.get(worker=mira)
    assert recorded.scope == ["slings", "signals"]
    assert recorded.covers_models == [world.model.pk]
    assert recorded.document
    assert (recorded.document.name, recorded.document.media_type) == ("IMG_0001.jpg", "image/jpeg")


def test_a_scan_stays_although_another_field_is_refused(dispatcher: Client, mira: Worker) -> None:
    refused = add(dispatcher, mira, "certificate", **a_certificate(document=photo(), expires="2020-01-01"))
    assert refused.status_code == 422
    assert re.search(r'id="id_expires_error".*?would expire before it was issued', refused.text, re.S)
    assert 'value="R-77"' in refused.text
    assert "Kept: IMG_0001.jpg" in refused.text
    kept = re.search(r'name="kept" value="([^"]+)"', refused.text)
    assert kept
    add(dispatcher, mira, "certificate", **a_certificate(kept=kept[1]))
    assert Document.objects.filter(name="IMG_0001.jpg").count() == 1
    document = Certification.objects.get(worker=mira).document
    assert document
    assert document.name == "IMG_0001.jpg"


def test_a_kept_scan_is_nobody_elses(
    dispatcher: Client, another_employer: Client, world: World, mira: Worker, signed_in: Any
) -> None:
    refused = add(dispatcher, mira, "certificate", **a_certificate(document=photo(), number=""))
    kept = re.search(r'name="kept" value="([^"]+)"', refused.text)
    assert kept
    colleague = signed_in(open_account(username="c", password=None, kind="employer", employer=world.employer))
    add(colleague, mira, "certificate", **a_certificate(kept=kept[1]))
    assert Certification.objects.get(worker=mira).document is None
    forged = add(dispatcher, mira, "certificate", **a_certificate(kept="WzEsMV0:forged", number="other"))
    assert forged.status_code == 422


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("scan.pdf", b"<html><script>alert(1)</script></html>"),
        ("scan.pdf.exe", b"%PDF-1.7\n%%EOF"),
        ("scan.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
    ],
)
def test_a_refused_upload_says_why_beside_its_field(
    dispatcher: Client, mira: Worker, name: str, content: bytes
) -> None:
    upload = SimpleUploadedFile(name, content, content_type="application/pdf")
    refused = add(dispatcher, mira, "certificate", **a_certificate(document=upload))
    assert refused.status_code == 422
    assert 'id="id_document_error"' in refused.text
    assert not Certification.objects.filter(worker=mira).exists()
    assert not Document.objects.filter(name__startswith="scan").exists()


def test_every_other_record_has_its_form(world: World, dispatcher: Client, mira: Worker) -> None:
    clock = world.site.time_zone
    add(dispatcher, mira, "certificate", **a_certificate())
    certificate = Certification.objects.get(worker=mira)
    for what, given in (
        (
            "certificate-status",
            {"certification": certificate.pk, "status": "suspended", "effective_at": "2024-05-01T08:00"},
        ),
        ("instruction", {"topic": "rescue", "provider": "employer", "completed_at": "2024-05-02T16:00"}),
        ("appointment", {"kind": "duty", "duty": "Erection supervisor", "start": "2024-05-03T07:00"}),
        ("stand-down", {"start": "2024-05-04T07:00", "reason": "Worked unhooked", "occasion": "none"}),
        ("employment", {"start": "2030-01-01"}),
        ("language", {"language": "fr"}),
    ):
        response = add(dispatcher, mira, what, clock=clock, **given)
        assert response.status_code == 302, (what, response.text)
    status = CertificationStatus.objects.get(worker=mira)
    assert status.status == "suspended"
    # The clock on the site shows 08:00 Pacific daylight time, seven hours behind UTC (IANA time zone data).
    assert (status.effective_at.astimezone(UTC).hour, status.effective_at.minute) == (15, 0)
    assert Instruction.objects.filter(worker=mira, topic="rescue").exists()
    appointment = Appointment.objects.get(worker=mira)
    assert (appointment.duty, appointment.employer) == ("erection_supervisor", world.employer)
    assert StandDown.objects.get(worker=mira).reason == "Worked unhooked"
    assert Employment.objects.filter(worker=mira, employer=world.employer).count() == 2
    assert LanguageSkill.objects.filter(worker=mira, language="fr").exists()


@pytest.mark.parametrize("day", ["0001-01-01", "1899-12-31", "2200-01-01", "9999-12-31"])
def test_a_day_in_a_year_nobody_means_is_refused_beside_its_field(dispatcher: Client, mira: Worker, day: str) -> None:
    for what, given, field in (
        ("employment", {"start": day}, "start"),
        ("employment", {"start": "2024-01-01", "end": day}, "end"),
        ("certificate", a_certificate(issued=day), "issued"),
        ("certificate", a_certificate(expires=day), "expires"),
    ):
        refused = add(dispatcher, mira, what, **given)
        assert refused.status_code == 422
        assert "Enter a valid date." in refused.context["form"].errors[field]


def test_a_founding_appointment_needs_its_document(world: World, dispatcher: Client, mira: Worker) -> None:
    given = {
        "kind": "founding",
        "duty": "assessor",
        "start": "2024-05-03T07:00",
        "appointed_by": "Ines Okoro",
        "clock": world.site.time_zone,
    }
    refused = add(dispatcher, mira, "appointment", **given)
    assert refused.status_code == 422
    assert 'id="id_document_error"' in refused.text
    assert add(dispatcher, mira, "appointment", **given, document=photo()).status_code == 302


def test_a_new_person_comes_onto_the_books(world: World, dispatcher: Client) -> None:
    given = {"given_name": "Oda", "family_name": "Renn", "date_of_birth": "1990-04-05", "start": "2024-01-01"}
    dispatcher.post("/records/people/new/", given)
    assert Employment.objects.get(worker__family_name="Renn").employer == world.employer
    assert "same name" in dispatcher.post("/records/people/new/", given).text


def test_nobody_records_about_another_employers_people(
    another_employer: Client, inspector: Client, as_worker: AsWorker, mira: Worker
) -> None:
    for client in (another_employer, inspector, as_worker(mira)):
        assert add(client, mira, "language", language="fr").status_code == 403
    assert LanguageSkill.objects.filter(worker=mira).count() == 1


def test_a_later_employer_does_not_answer_for_what_was_recorded_before_it(
    world: World, another_employer: Client, mira: Worker
) -> None:
    world.make_erector(mira, days=0)
    held = Certification.objects.get(worker=mira)
    theirs = Employer.objects.get(name="Cormorant Lift Yard")
    employ(worker=mira, employer=theirs, start=world.now.date(), recorded_at=world.now, recorded_by=None)
    refused = another_employer.post(f"/records/certification/{held.pk}/withdraw/", {"because": "a rival's"})
    assert refused.status_code == 403
    assert Certification.objects.current().filter(pk=held.pk).exists()


def test_a_former_employer_records_what_lies_in_its_time_and_no_more(
    world: World, mira: Worker, dispatcher: Client
) -> None:
    left = (world.now - timedelta(days=60)).date()
    correct(Employment.objects.get(worker=mira), end=left, recorded_at=world.now, recorded_by=None)
    clock = world.site.time_zone
    after, before = (left + timedelta(days=each) for each in (30, -30))
    act = {"kind": "duty", "duty": "rigger", "clock": clock}
    refused = add(dispatcher, mira, "appointment", start=f"{after}T07:00", **act)
    assert refused.status_code == 422
    assert "not on your books now, nor was on the day" in refused.text
    assert add(dispatcher, mira, "appointment", start=f"{before}T07:00", **act).status_code == 302
    barred = add(dispatcher, mira, "stand-down", start=f"{before}T07:00", reason="Unhooked", clock=clock)
    assert barred.status_code == 422, "whoever has left is no longer theirs to bar"
    world.hours(mira, days=1)
    worked = HoursEntry.objects.get()
    with pytest.raises(RecordRefused, match="not on your books"):
        correct(
            worked,
            start=worked.start + timedelta(days=1),
            end=worked.end + timedelta(days=1),
            recorded_at=world.now,
            recorded_by=Account.objects.get(kind="employer"),
        )


def test_papers_are_recorded_of_somebody_who_is_still_to_come(world: World, mira: Worker, dispatcher: Client) -> None:
    begins = (world.now + timedelta(days=20)).date()
    correct(Employment.objects.get(worker=mira), start=begins, recorded_at=world.now, recorded_by=None)
    assert add(dispatcher, mira, "language", language="fr").status_code == 302


# Assessments


def an_assessment(world: World, **more: Any) -> dict[str, Any]:
    given: dict[str, Any] = {
        "role": "erector",
        "model": world.model.pk,
        "operations": ["erection", "climbing"],
        "assessed_at": (world.now - timedelta(days=3)).strftime("%Y-%m-%dT10:00"),
        "clock": world.site.time_zone,
        "outcome": "pass",
        "lines": "6",
        "task_0": "Rigs a mast section",
        "met_0": "met",
        "task_1": "Checks the collar",
        "met_1": "met",
    }
    return given | more


def drawn() -> str:
    file = io.BytesIO()
    Image.new("RGB", (60, 18), "white").save(file, "PNG")
    return "data:image/png;base64," + base64.b64encode(file.getvalue()).decode()


def test_an_assessor_records_their_own_assessment_with_a_task_list_and_a_drawn_signature(
    world: World, mira: Worker, as_worker: AsWorker
) -> None:
    assessor = as_worker(world.assessor)
    assert "Mira Sandoval" in assessor.get("/records/assessments/").text
    response = assessor.post(f"/records/assessments/{mira.pk}/", an_assessment(world, drawn=drawn(), document=photo()))
    assert response.status_code == 302, response.text
    recorded = Assessment.objects.get(worker=mira)
    assert recorded.assessor == world.assessor
    assert recorded.employer == world.employer
    assert recorded.tasks == [{"task": "Rigs a mast section", "met": True}, {"task": "Checks the collar", "met": True}]
    assert AssessmentSignature.objects.get(assessment=recorded).image.media_type == "image/png"


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({}, "signature"),
        ({"signature": "Somebody Else"}, "signature"),
        ({"signature": "P. Lindqvist", "met_1": "unmet"}, None),
        ({"signature": "P. Lindqvist", "met_1": ""}, "met_1"),
        ({"signature": "P. Lindqvist", "drawn": "data:image/svg+xml;base64,PHN2Zy8+"}, "drawn"),
    ],
)
def test_an_assessment_that_is_unsigned_or_contradicts_its_task_list_is_refused(
    world: World, mira: Worker, as_worker: AsWorker, more: dict[str, str], field: str | None
) -> None:
    refused = as_worker(world.assessor).post(f"/records/assessments/{mira.pk}/", an_assessment(world, **more))
    assert refused.status_code == 422
    assert 'value="Rigs a mast section"' in refused.text
    if field:
        assert f'id="id_{field}_error"' in refused.text
    else:
        assert "A pass needs every task of the list met." in refused.text
    assert not Assessment.objects.exists()


def test_more_task_lines_keep_everything(world: World, mira: Worker, as_worker: AsWorker) -> None:
    given = an_assessment(world, more="1", document=photo())
    shown = as_worker(world.assessor).post(f"/records/assessments/{mira.pk}/", given).text
    assert 'id="id_task_13"' in shown
    assert 'value="Checks the collar"' in shown
    assert "Kept: IMG_0001.jpg" in shown
    assert re.search(r'value="climbing"[^>]*checked', shown)


def test_only_an_appointed_assessor_finds_anybody_to_assess(world: World, mira: Worker, as_worker: AsWorker) -> None:
    other = as_worker(world.worker("Odo", "Brand"))
    assert "Mira Sandoval" not in other.get("/records/assessments/").text
    assert other.post(f"/records/assessments/{mira.pk}/", an_assessment(world, signature="Odo")).status_code == 404


def test_a_third_partys_assessment_needs_its_paper_and_its_assessors_number(
    world: World, mira: Worker, dispatcher: Client
) -> None:
    paper = {"third_party": "Norrland Board", "assessor_family_name": "Lindqvist"}
    given = an_assessment(world, assessor=world.assessor.number, **paper)
    refused = add(dispatcher, mira, "third-party-assessment", **given)
    assert 'id="id_document_error"' in refused.text
    assert add(dispatcher, mira, "third-party-assessment", **given, document=photo()).status_code == 302
    assert Assessment.objects.get(worker=mira).employer is None
    unknown = an_assessment(world, assessor="W-999999", document=photo(), **paper)
    assert 'id="id_assessor_error"' in add(dispatcher, mira, "third-party-assessment", **unknown).text


def test_the_dispatcher_cannot_change_an_assessors_judgement_and_the_assessor_assesses_again(
    world: World, mira: Worker, dispatcher: Client, as_worker: AsWorker
) -> None:
    world.assess(mira, "erector", outcome="not_yet_competent")
    found = Assessment.objects.get(worker=mira)
    path = f"/records/assessment/{found.pk}/correct/"
    assert dispatcher.get(path).status_code == 403
    assert dispatcher.post(f"/records/assessment/{found.pk}/withdraw/", {"because": "x"}).status_code == 403
    assessor = as_worker(world.assessor)
    given = an_assessment(world, signature="Petra Lindqvist", because="Wrong box ticked")
    refused = assessor.post(path, given)
    assert refused.status_code == 422
    assert "A correction does not turn" in refused.text
    assert assessor.post(f"/records/assessments/{mira.pk}/", given).status_code == 302
    assert Assessment.objects.current().filter(worker=mira).latest("id").outcome == "pass"


# Corrections


@pytest.fixture
def hours(world: World, mira: Worker) -> HoursEntry:
    world.hours(mira, days=1)
    return HoursEntry.objects.get(worker=mira)


def as_recorded(entry: HoursEntry, **more: Any) -> dict[str, Any]:
    zone = ZoneInfo(entry.site.time_zone)
    return {
        "site": entry.site_id,
        "model": entry.model_id,
        "crane": entry.crane_id,
        "operation": entry.operation,
        "capacity": entry.capacity,
        "start": entry.start.astimezone(zone).strftime("%Y-%m-%dT%H:%M"),
        "end": entry.end.astimezone(zone).strftime("%Y-%m-%dT%H:%M"),
        "clock": entry.site.time_zone,
        **more,
    }


def test_a_worker_asks_and_the_employer_corrects(
    mira: Worker, hours: HoursEntry, as_worker: AsWorker, dispatcher: Client
) -> None:
    worker = as_worker(mira)
    asking = {"what_is_wrong": "I was trainee that day", "what_it_should_be": "trainee"}
    assert worker.post(f"/records/hoursentry/{hours.pk}/ask/", asking).status_code == 302
    request = CorrectionRequest.objects.get()
    assert "I was trainee that day" in dispatcher.get("/records/requests/").text
    shown = dispatcher.get(f"/records/requests/{request.pk}/").text
    assert f"/records/hoursentry/{hours.pk}/correct/?request={request.pk}" in shown
    given = as_recorded(hours, capacity="trainee", because="Pay sheet agrees", request=str(request.pk))
    assert dispatcher.post(f"/records/hoursentry/{hours.pk}/correct/", given).status_code == 302
    assert HoursEntry.objects.current().get(worker=mira).capacity == "trainee"
    answered = worker.get(f"/records/people/{mira.pk}/").text
    assert "Pay sheet agrees" in answered
    assert "corrected or withdrawn" in answered


def test_the_employer_declines_with_a_reason_the_worker_reads(
    mira: Worker, hours: HoursEntry, as_worker: AsWorker, dispatcher: Client
) -> None:
    worker = as_worker(mira)
    worker.post(f"/records/hoursentry/{hours.pk}/ask/", {"what_is_wrong": "Too short"})
    request = CorrectionRequest.objects.get()
    assert dispatcher.post(f"/records/requests/{request.pk}/", {"because": ""}).status_code == 422
    dispatcher.post(f"/records/requests/{request.pk}/", {"because": "The gate log agrees with us"})
    assert "The gate log agrees with us" in worker.get(f"/records/people/{mira.pk}/").text
    assert dispatcher.get(f"/records/requests/{request.pk}/").status_code == 403


def test_a_correction_without_a_reason_or_a_change_is_refused(hours: HoursEntry, dispatcher: Client) -> None:
    path = f"/records/hoursentry/{hours.pk}/correct/"
    without = dispatcher.post(path, as_recorded(hours, capacity="rigger", because=""))
    assert without.status_code == 422
    assert 'id="id_because_error"' in without.text
    assert re.search(r'value="rigger" selected', without.text)
    assert "Nothing is different." in dispatcher.post(path, as_recorded(hours, because="x")).text
    assert HoursEntry.objects.count() == 1


def test_the_form_of_a_correction_begins_with_the_record_as_it_stands(
    mira: Worker, hours: HoursEntry, dispatcher: Client
) -> None:
    shown = dispatcher.get(f"/records/hoursentry/{hours.pk}/correct/").text
    assert f'value="{as_recorded(hours)["start"]}"' in shown
    add(dispatcher, mira, "certificate", **a_certificate())
    certificate = Certification.objects.get(worker=mira)
    shown = dispatcher.get(f"/records/certification/{certificate.pk}/correct/").text
    assert 'value="slings, signals"' in shown
    changed = a_certificate(number="R-78", because="Misread")
    assert dispatcher.post(f"/records/certification/{certificate.pk}/correct/", changed).status_code == 302
    assert Certification.objects.current().get(worker=mira).number == "R-78"


@pytest.mark.parametrize("kind", sorted(set(RECORDS) - {"standdown", "certificationstatus"}))
def test_a_kind_of_record_can_be_looked_at_and_withdrawn(
    kind: str, world: World, mira: Worker, dispatcher: Client, as_worker: AsWorker
) -> None:
    clock = world.site.time_zone
    world.make_erector(mira, days=1)
    add(dispatcher, mira, "appointment", kind="duty", duty="rigger", start="2024-05-03T07:00", clock=clock)
    record = RECORDS[kind].objects.filter(worker=mira).last()
    by = as_worker(world.assessor) if kind == "assessment" else dispatcher
    assert by.get(f"/records/{kind}/{record.pk}/correct/").status_code == 200
    assert (
        by.post(f"/records/{kind}/{record.pk}/withdraw/", {"because": "Entered for somebody else"}).status_code == 302
    )
    assert not RECORDS[kind].objects.current().filter(pk=record.pk).exists()
    assert CorrectionRequest.objects.get().what_is_wrong == "Entered for somebody else"


def test_nobody_takes_back_what_keeps_somebody_off_the_crews(
    world: World, mira: Worker, dispatcher: Client, as_worker: AsWorker
) -> None:
    bar = {"start": "2024-05-04T07:00", "reason": "Unhooked", "occasion": "none", "clock": world.site.time_zone}
    add(dispatcher, mira, "stand-down", **bar)
    barred = StandDown.objects.get()
    for what in ("correct", "withdraw"):
        answer = dispatcher.get(f"/records/standdown/{barred.pk}/{what}/")
        assert answer.status_code == 403
        assert "the registrar takes it back" in answer.content.decode()
    shown = dispatcher.get(f"/records/people/{mira.pk}/").content.decode()
    assert f"/records/standdown/{barred.pk}/ask/" in shown
    assert f"/records/standdown/{barred.pk}/withdraw/" not in shown
    assert "still missing: retraining with its paper" in shown
    as_worker(mira).post(f"/records/standdown/{barred.pk}/ask/", {"what_is_wrong": "I was not there"})
    asked = dispatcher.get(f"/records/requests/{CorrectionRequest.objects.get().pk}/")
    assert asked.status_code == 403
    assert "The registrar answers this request." in asked.content.decode()


def test_nobody_else_corrects_or_asks(
    world: World, hours: HoursEntry, another_employer: Client, inspector: Client, as_worker: AsWorker
) -> None:
    stranger = as_worker(world.assessor)
    for client in (another_employer, inspector, stranger):
        assert client.get(f"/records/hoursentry/{hours.pk}/correct/").status_code == 403
        assert client.get(f"/records/hoursentry/{hours.pk}/ask/").status_code == 403
    assert stranger.get("/records/nonsense/1/ask/").status_code == 403


# Documents


def test_a_document_is_saved_never_opened_and_only_by_who_may_see_its_record(
    world: World, mira: Worker, dispatcher: Client, another_employer: Client, inspector: Client, as_worker: AsWorker
) -> None:
    add(dispatcher, mira, "certificate", **a_certificate(document=photo("caf\u00e9 1.jpg")))
    document = Certification.objects.get(worker=mira).document
    assert document
    path = f"/documents/{document.pk}/"
    for client in (dispatcher, inspector, as_worker(mira)):
        saved = client.get(path)
        assert saved.content == bytes(document.content)
        assert saved.headers["Content-Disposition"].startswith("attachment")
        assert saved.headers["X-Content-Type-Options"] == "nosniff"
        assert saved.headers["Content-Security-Policy"] == "sandbox; default-src 'none'"
    for client in (another_employer, as_worker(world.worker("Odo", "Brand"))):
        assert client.get(path).status_code == 404
    assert Client().get(path).status_code == 302


def test_a_persons_page_costs_as_many_statements_with_many_records(
    world: World, mira: Worker, dispatcher: Client
) -> None:
    counts = []
    for some in range(2):
        for number in range(4 if some else 1):
            document = {"document": photo()}
            add(dispatcher, mira, "certificate", **a_certificate(number=f"{some}-{number}", **document))
        world.hours(mira, days=3 if some else 1, operation="erection" if some else "climbing")
        with CaptureQueriesContext(connection) as captured:
            assert dispatcher.get(f"/records/people/{mira.pk}/").status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_the_pages_of_an_empty_register_say_so(dispatcher: Client, mira: Worker, as_worker: AsWorker) -> None:
    assert "Nothing waits." in dispatcher.get("/records/countersigning/").text
    assert "None waits." in dispatcher.get("/records/requests/").text
    assert "None waits." in dispatcher.get("/records/").text
    assert "Nothing waits for your signature." in as_worker(mira).get("/records/to-countersign/").text


def test_pdf_scans_are_accepted_too(dispatcher: Client, mira: Worker) -> None:
    made = pikepdf.new()
    made.add_blank_page()
    file = io.BytesIO()
    made.save(file)
    given = {"topic": "x", "provider": "maker", "completed_at": "2024-05-02T16:00", "clock": "America/Vancouver"}
    add(dispatcher, mira, "instruction", document=SimpleUploadedFile("letter", file.getvalue()), **given)
    document = Instruction.objects.get(worker=mira).document
    assert document
    assert document.name == "letter.pdf"


def test_whoever_withdraws_the_only_employment_is_not_led_to_a_page_that_is_gone(
    world: World, mira: Worker, dispatcher: Client
) -> None:
    employment = Employment.objects.get(worker=mira)
    withdrawn = dispatcher.post(
        f"/records/employment/{employment.pk}/withdraw/", {"because": "Another Mira"}, follow=True
    )
    assert withdrawn.status_code == 200
    assert "The withdrawal is recorded." in withdrawn.text
    assert withdrawn.redirect_chain[-1][0] == "/workers/"
