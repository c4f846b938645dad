"""The pages of a job's notice, its downloads, its answer over HTTP, and who sees them."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import translation
from jsonschema import Draft202012Validator

from registry.evidence.models import Document
from registry.inspection.models import Look
from registry.language.amounts import instant
from registry.notices.content import SCHEMA
from registry.notices.models import AttachedProcedure, JobParty, NoticeParticulars, SentNotice
from registry.people.models import Worker
from tests.columbia import ZONE, Columbia
from tests.transcripts.reading import kinds, outside_margins, text_of
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def columbia(world: World) -> Columbia:
    return Columbia(world)


def at(columbia: Columbia, rest: str = "") -> str:
    return f"/jobs/{columbia.job.pk}/notice/{rest}"


def text(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200
    plain = re.sub(r"<[^>]+>", " ", response.content.decode())
    return " ".join(plain.replace("&#x27;", "'").split())


def procedure() -> SimpleUploadedFile:
    made, pdf = BytesIO(), pikepdf.new()
    pdf.add_blank_page()
    pdf.save(made)
    return SimpleUploadedFile("climbing sequence.pdf", made.getvalue(), "application/pdf")


def test_the_page_says_the_days_left_and_what_is_missing_with_where_to_cure_it(
    columbia: Columbia, dispatcher: Client
) -> None:
    said = text(dispatcher, at(columbia))
    assert "9 days left: the notice must reach the authority by" in said
    assert "Incomplete: 5 parts are missing." in said
    assert "No work procedure for this site is attached. Attach the procedure." in said
    assert "Record that it was sent" not in said
    page = dispatcher.get(at(columbia)).content.decode()
    for rest in ("parties/add/", "particulars/", "procedures/add/"):
        assert f'href="{at(columbia, rest)}' in page


def test_a_deadline_that_is_over_says_by_how_much(world: World, dispatcher: Client) -> None:
    columbia = Columbia(world, 11)
    assert "3 days too late: the notice had to reach the authority by" in text(dispatcher, at(columbia))
    columbia.complete()
    columbia.send()
    page = text(dispatcher, at(columbia))
    assert "Sent after the last day" in page
    assert "sent 3 days after the last day" in page


def test_everything_is_given_on_the_pages_and_then_recorded_as_sent(columbia: Columbia, dispatcher: Client) -> None:
    party = {"role": "employer", "name": "Halvorsby Tower Works", "phone": "555 0100"}
    assert dispatcher.post(at(columbia, "parties/add/"), party).status_code == 302
    said = {"site_address": "1 Cobble Spit Road", "scope": "Climb.", "configuration": "42 m"}
    assert dispatcher.post(at(columbia, "particulars/"), said).status_code == 302
    attached = {"title": "Climbing sequence", "document": procedure()}
    assert dispatcher.post(at(columbia, "procedures/add/"), attached).status_code == 302
    assert "Complete: everything the rule asks for is there." in text(dispatcher, at(columbia))
    form = dispatcher.get(at(columbia, "sent/add/")).content.decode()
    seen = re.search(r'name="seen" value="([0-9a-f]{64})"', form)
    assert seen is not None
    now = columbia.world.now.astimezone(ZONE)
    sending = {"how": "courier", "sent_to": "The authority", "sent_at": f"{now:%Y-%m-%dT%H:%M}", "seen": seen[1]}
    assert dispatcher.post(at(columbia, "sent/add/"), sending).status_code == 302
    notice = SentNotice.objects.get()
    assert notice.recorded_by is not None
    assert notice.sent_at == columbia.world.now
    page = text(dispatcher, at(columbia))
    assert "Sent, and nothing has changed since" in page
    assert "sent 9 days before the last day" in page
    assert dispatcher.get(at(columbia, "sent/1.json")).content.decode() == notice.content


def test_what_is_refused_stands_beside_its_field_and_what_was_typed_stays(
    columbia: Columbia, dispatcher: Client
) -> None:
    refused = dispatcher.post(at(columbia, "parties/add/"), {"role": "owner", "name": "Spit Holdings"})
    assert refused.status_code == 422
    page = refused.content.decode()
    assert 'id="id_phone_error"><p>Give a telephone number or an e-mail address.</p>' in page
    assert 'value="Spit Holdings"' in page
    script = SimpleUploadedFile("plan.pdf", b"<script>alert(1)</script>", "application/pdf")
    refused = dispatcher.post(at(columbia, "procedures/add/"), {"title": "Plan", "document": script})
    assert (refused.status_code, AttachedProcedure.objects.count()) == (422, 0)
    assert 'value="Plan"' in refused.content.decode()
    empty = dispatcher.post(at(columbia, "procedures/add/"), {"title": "Plan"})
    assert "Choose the file of the procedure." in empty.content.decode()


def test_an_incomplete_packet_is_not_recorded_even_when_the_form_is_posted(
    columbia: Columbia, dispatcher: Client
) -> None:
    assert "cannot be recorded as sent yet" in text(dispatcher, at(columbia, "sent/add/"))
    now = columbia.world.now.astimezone(ZONE)
    sending = {"how": "post", "sent_to": "x", "sent_at": f"{now:%Y-%m-%dT%H:%M}", "seen": columbia.packet().fingerprint}
    refused = dispatcher.post(at(columbia, "sent/add/"), sending)
    assert refused.status_code == 422
    assert "The site has no address." in refused.content.decode()
    assert not SentNotice.objects.exists()


def test_parties_and_procedures_are_corrected_and_taken_off_by_new_records(
    columbia: Columbia, dispatcher: Client
) -> None:
    columbia.complete()
    party, attached = JobParty.objects.get(), AttachedProcedure.objects.get()
    corrected = {"role": "employer", "name": "Halvorsby Tower Works", "email": "crane@halvorsby.example"}
    assert dispatcher.post(at(columbia, f"parties/{party.pk}/"), corrected).status_code == 302
    latest = JobParty.objects.current().get()
    assert (latest.supersedes, latest.email) == (party, "crane@halvorsby.example")
    assert dispatcher.post(at(columbia, f"parties/{latest.pk}/remove/")).status_code == 302
    assert dispatcher.post(at(columbia, f"procedures/{attached.pk}/remove/")).status_code == 302
    assert {each.part for each in columbia.packet().missing} == {"parties", "procedures"}
    assert dispatcher.get(at(columbia, f"parties/{party.pk}/")).status_code == 404
    particulars = NoticeParticulars.objects.current().get()
    assert dispatcher.post(at(columbia, "particulars/"), {"site_address": "2 Cobble Spit Road"}).status_code == 302
    assert NoticeParticulars.objects.current().get().supersedes == particulars


def test_a_change_since_sending_is_shown_with_its_clause_and_a_mistake_is_taken_back(
    columbia: Columbia, dispatcher: Client
) -> None:
    columbia.complete()
    columbia.send()
    columbia.particulars(configuration="Mast 48 m, jib 50 m, two ties")
    page = text(dispatcher, at(columbia))
    assert "Sent, and changed since: tell the authority" in page
    assert (
        "Configuration of the crane Mast 42 m, jib 50 m, two ties Mast 48 m, jib 50 m, two ties yes , clause 14.73.3"
    ) in page
    assert dispatcher.post(at(columbia, "sent/1/not-sent/")).status_code == 302
    page = text(dispatcher, at(columbia))
    assert "recorded by mistake: never sent" in page
    assert "9 days left" in page


def test_where_no_rule_is_known_the_page_says_so_and_the_packet_is_made(world: World, dispatcher: Client) -> None:
    job = world.job(["erection_supervisor"])
    page = text(dispatcher, f"/jobs/{job.pk}/notice/")
    assert "The register knows of no notice asked for in US. That is no legal advice: ask the authority." in page
    assert "Record that it was sent" in page


def test_the_first_page_of_the_pdf_is_for_posting_and_the_rest_holds_the_proof(
    columbia: Columbia, dispatcher: Client
) -> None:
    columbia.complete()
    made = dispatcher.get(at(columbia, "notice.pdf")).content
    first, *others = text_of(made)
    for each in ("Ysolde Marchetwick", "1 Cobble Spit Road", "180-7", "Mast 42 m", "555 0100", "14.73.3", "Page 1 of"):
        assert each in first
    rest = " ".join(others)
    assert "200 h 00 min" in rest
    assert "permitted" in rest
    document = Document.objects.get(name="climbing.pdf")
    assert document.sha256 in rest.replace(" ", "")
    assert outside_margins(made, 47.2) == []
    with pikepdf.open(BytesIO(made)) as pdf:
        assert kinds(pdf)["/TH"] > 10
        said = json.loads(pdf.attachments["notice.json"].get_file().read_bytes())
        assert pdf.Root.AcroForm.SigFlags
        assert [round(float(each)) for each in pdf.pages[0].MediaBox] == [0, 0, 612, 792]
    assert said["supervisors"] == columbia.packet().content["supervisors"]


def test_an_incomplete_pdf_says_so_first_and_one_as_sent_when_it_was_sent(
    columbia: Columbia, dispatcher: Client
) -> None:
    columbia.complete()
    columbia.send()
    attached = AttachedProcedure.objects.get()
    dispatcher.post(at(columbia, f"procedures/{attached.pk}/remove/"))
    now, *others = text_of(dispatcher.get(at(columbia, "notice.pdf?paper=A4")).content)
    assert "INCOMPLETE: not to be sent." in now
    assert "No work procedure for this site is attached." in " ".join(others)
    sent = text_of(dispatcher.get(at(columbia, "sent/1.pdf")).content)
    assert "As it was sent on" in sent[0]
    assert "Climbing sequence" in " ".join(sent)


def test_a_packet_drawn_up_after_a_change_says_which_notice_it_changes(columbia: Columbia, dispatcher: Client) -> None:
    columbia.complete()
    columbia.send()
    columbia.particulars(configuration="hook height 74 m")
    now = " ".join(text_of(dispatcher.get(at(columbia, "notice.pdf")).content)[0].split())
    day = instant(columbia.world.now, ZONE)
    assert f"Changes notice 1, sent {day}: configuration of the crane Not recorded as sent yet." in now
    said = json.loads(dispatcher.get(at(columbia, "notice.json")).content)
    sent_at = columbia.world.now.isoformat().replace("+00:00", "Z")
    assert said["changes"] == {"notice": 1, "sent_at": sent_at, "parts": ["configuration"]}
    assert list(Draft202012Validator(json.loads(SCHEMA.read_text())).iter_errors(said)) == []
    columbia.send()
    assert json.loads(dispatcher.get(at(columbia, "sent/2.json")).content) == {
        **said,
        "drawn_up_at": sent_at,
    }
    assert columbia.packet().content["changes"] is None


def test_the_answer_over_http_says_the_same(columbia: Columbia, dispatcher: Client) -> None:
    columbia.complete()
    columbia.send()
    columbia.particulars(scope="Climb by three sections.")
    said = dispatcher.get(f"/api/jobs/{columbia.job.pk}/notice/").json()
    assert said["content"]["work"]["scope"] == "Climb by three sections."
    assert (said["complete"], said["missing"], said["deadline"]["days_left"]) == (True, [], 9)
    [change] = said["changes_since_sent"]
    assert (change["part"], change["needs_notice"], change["clause"]) == ("scope", True, "14.73.3")
    assert [each["number"] for each in said["sent"]] == [1]


@pytest.mark.parametrize("rest", ["", "notice.pdf", "notice.json", "sent/1.json"])
def test_the_employer_and_the_inspector_see_it_and_nobody_else(
    columbia: Columbia,
    inspector: Client,
    another_employer: Client,
    as_worker: Callable[[Worker], Client],
    rest: str,
) -> None:
    columbia.complete()
    columbia.send()
    assert inspector.get(at(columbia, rest)).status_code == 200
    assert Look.objects.filter(job=columbia.job, recorded_by__kind="inspector").count() == 1
    assert another_employer.get(at(columbia, rest)).status_code == 404
    assert as_worker(columbia.supervisor).get(at(columbia, rest)).status_code == 403


def test_over_http_too(
    columbia: Columbia, inspector: Client, another_employer: Client, as_worker: Callable[[Worker], Client]
) -> None:
    address = f"/api/jobs/{columbia.job.pk}/notice/"
    assert inspector.get(address).status_code == 200
    assert Look.objects.get().what == "api"
    assert another_employer.get(address).status_code == 404
    assert as_worker(columbia.supervisor).get(address).status_code == 403


@pytest.mark.parametrize(
    "rest", ["parties/add/", "particulars/", "procedures/add/", "sent/add/", "parties/1/remove/", "sent/1/not-sent/"]
)
def test_an_inspector_changes_nothing(columbia: Columbia, inspector: Client, rest: str) -> None:
    assert inspector.post(at(columbia, rest), {"name": "x"}).status_code == 403


def test_a_procedure_is_saved_and_never_opened_within_the_page(columbia: Columbia, dispatcher: Client) -> None:
    attached = columbia.procedure()
    saved = dispatcher.get(at(columbia, f"procedures/{attached.pk}/file"))
    assert saved.content == b"%PDF-1.7 climbing"
    assert saved.headers["Content-Disposition"].startswith("attachment")
    assert saved.headers["Content-Security-Policy"] == "sandbox; default-src 'none'"
    other = columbia.planned(60)
    assert dispatcher.get(f"/jobs/{other.pk}/notice/procedures/{attached.pk}/file").status_code == 404


def test_the_page_takes_the_same_statements_however_much_was_sent(columbia: Columbia, dispatcher: Client) -> None:
    columbia.complete()
    counts: list[int] = []
    for sending in range(3):
        columbia.send()
        columbia.party(role="other", name=f"Party {sending}")
        with CaptureQueriesContext(connection) as asked:
            dispatcher.get(at(columbia))
        counts.append(len(asked))
    assert counts[0] == counts[1] == counts[2] < 45


def test_the_page_is_whole_in_french(columbia: Columbia, dispatcher: Client) -> None:
    columbia.complete()
    columbia.send()
    columbia.particulars(scope="Autre chose")
    with translation.override("en"):  # what the request activates is put back afterwards
        answer: Any = dispatcher.get(at(columbia), headers={"accept-language": "fr"})
    assert answer.status_code == 200
    assert "Autre chose" in answer.content.decode()
