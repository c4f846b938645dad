"""The rival firm, step by step, on the pages and through the interface: it learns nothing and bars nobody."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.test import Client

from registry.crews import services as crews
from registry.evidence import services as evidence
from registry.evidence.models import Assessment, StandDown, StandDownSuspension
from registry.people import services as people
from registry.people.models import Employment, EmploymentConsent, EmploymentDecline, EmploymentRequest, Worker
from tests.web.records.test_adding_and_correcting import photo
from tests.world import World

AsWorker = Callable[[Worker], Client]
NEW = "/records/people/new/"
OWN = "/own/employers/"


@pytest.fixture(autouse=True)
def _nothing_asked_yet(db: None) -> None:
    cache.clear()


@pytest.fixture
def mira(world: World) -> Worker:
    return world.worker("Mira", "Sandoval")


@pytest.fixture
def registrar(world: World, signed_in: Callable[..., Client]) -> Client:
    return signed_in(people.open_account(username="registrar", password=None, kind="registrar"))


def asking(number: str, **other: str) -> dict[str, str]:
    given = {"number": number, "family_name": "Sandoval", "date_of_birth": "1985-05-05", "start": "2026-01-01"} | other
    return {"do": "ask"} | {f"ask-{name}": value for name, value in given.items()}


def test_a_rival_hears_the_same_whoever_it_asks_about(another_employer: Client, mira: Worker) -> None:
    answers = set()
    for asked in (
        asking(mira.number),
        asking("W-999999"),
        asking(mira.number, family_name="Sandovel"),
        asking(mira.number, date_of_birth="1985-05-06"),
    ):
        sent = another_employer.post(NEW, asked, follow=True)
        assert sent.redirect_chain == [(NEW, 302)]
        answers.add(sent.text.split('class="messages"')[1].split("</div>")[0])
    assert len(answers) == 1
    assert "they have been asked" in answers.pop()
    for address in (f"/workers/{mira.pk}/", f"/records/people/{mira.pk}/", f"/workers/{mira.pk}/transcript/"):
        assert another_employer.get(address).status_code == another_employer.get("/workers/999999/").status_code == 404
    assert mira.number not in another_employer.get("/workers/?q=Sandoval").text


def test_the_person_accepts_on_their_own_page(another_employer: Client, as_worker: AsWorker, mira: Worker) -> None:
    own = as_worker(mira)
    another_employer.post(NEW, asking(mira.number.lower()))
    (asked,) = EmploymentRequest.objects.all()
    assert "Cormorant Lift Yard" in own.get("/own/").text
    assert "Cormorant Lift Yard" in own.get(OWN).text
    assert own.post(f"{OWN}{asked.pk}/", {"do": "nothing"}, follow=True).status_code == 200
    assert not EmploymentConsent.objects.exists()
    assert own.post(f"{OWN}{asked.pk}/", {"do": "accept"}).status_code == 302
    assert another_employer.get(f"/records/people/{mira.pk}/").status_code == 200


def test_the_person_declines_and_the_rival_is_not_told(
    another_employer: Client, as_worker: AsWorker, mira: Worker
) -> None:
    another_employer.post(NEW, asking(mira.number))
    before = another_employer.get(NEW).text.split("<h3>")[1]
    (asked,) = EmploymentRequest.objects.all()
    as_worker(mira).post(f"{OWN}{asked.pk}/", {"do": "decline"})
    assert EmploymentDecline.objects.get().request == asked
    assert mira.number in before
    assert another_employer.get(NEW).text.split("<h3>")[1].split("</section>")[0] == before.split("</section>")[0]


def test_nobody_answers_for_another(
    world: World, another_employer: Client, dispatcher: Client, as_worker: AsWorker, mira: Worker
) -> None:
    another_employer.post(NEW, asking(mira.number))
    (asked,) = EmploymentRequest.objects.all()
    assert as_worker(world.assessor).post(f"{OWN}{asked.pk}/", {"do": "accept"}).status_code == 404
    for client in (another_employer, dispatcher):
        assert client.post(f"{OWN}{asked.pk}/", {"do": "accept"}).status_code == 403
        assert client.get(OWN).status_code == 403
    assert not EmploymentConsent.objects.exists()


def test_a_code_is_made_handed_over_and_typed_once(another_employer: Client, as_worker: AsWorker, mira: Worker) -> None:
    made = as_worker(mira).post(OWN, {"employer": "", "start": "2026-01-01"}).text
    code = made.split("<code>")[1].split("</code>")[0]
    typed = {"do": "code", "code-code": code, "code-start": "2026-01-05"}
    wrong = another_employer.post(NEW, typed | {"code-code": "ABCD-EFGH-JKMN"})
    assert wrong.status_code == 422
    assert "This code cannot be used." in wrong.text
    taken_on = another_employer.post(NEW, typed)
    assert taken_on.headers["Location"] == f"/records/people/{mira.pk}/"
    assert "This code cannot be used." in another_employer.post(NEW, typed).text


@pytest.mark.parametrize("do", ["ask", "code"])
def test_questions_are_counted_before_they_are_looked_at(
    world: World, another_employer: Client, as_worker: AsWorker, mira: Worker, do: str
) -> None:
    code = as_worker(mira).post(OWN, {"employer": "", "start": "2026-01-01"}).text.split("<code>")[1].split("<")[0]
    wrong = {"ask": asking("W-999999"), "code": {"do": "code", "code-code": "ABCD", "code-start": "2026-01-05"}}[do]
    right = {"ask": asking(mira.number), "code": wrong | {"code-code": code}}[do]
    for _each in range(10):
        assert another_employer.post(NEW, wrong).status_code in (302, 422)
    late = another_employer.post(NEW, right)
    assert late.status_code == 429
    assert "Too many questions" in late.text
    assert not EmploymentRequest.objects.filter(worker=mira).exists()
    assert not Employment.objects.filter(worker=mira).exclude(employer=world.employer).exists()


def test_another_account_of_the_firm_does_not_begin_anew(
    world: World, signed_in: Callable[..., Client], another_employer: Client
) -> None:
    firm = people.Employer.objects.get(name="Cormorant Lift Yard")
    colleagues = [
        signed_in(people.open_account(username=f"c{each}", password=None, kind="employer", employer=firm))
        for each in range(3)
    ]
    answers = [each.post(NEW, asking("W-999999")).status_code for each in colleagues for _again in range(10)]
    assert answers == [302] * 30
    assert another_employer.post(NEW, asking("W-999999")).status_code == 429


def test_a_namesake_of_another_firms_person_is_registered_and_told_to_nobody(
    another_employer: Client, mira: Worker
) -> None:
    given = {"given_name": "Mira", "family_name": "Sandoval", "date_of_birth": "1985-05-05", "start": "2026-01-01"}
    sent = another_employer.post(NEW, given, follow=True)
    assert mira.number not in sent.text
    assert Employment.objects.filter(worker=mira).count() == 1


def test_an_assessor_is_named_by_number_and_family_name_and_by_no_number_alone(
    world: World, dispatcher: Client, mira: Worker
) -> None:
    address = f"/records/people/{mira.pk}/add/third-party-assessment/"
    given = {
        "third_party": "Norrland Board",
        "role": "erector",
        "model": world.model.pk,
        "operations": ["dismantling"],
        "assessed_at": "2024-05-04T07:00",
        "clock": world.site.time_zone,
        "outcome": "pass",
        "lines": "6",
    }
    said = set()
    for number, name in (("W-999999", "Lindqvist"), (world.assessor.number, "Lindquist"), ("W-999999", "Lindquist")):
        sent = dispatcher.post(address, given | {"assessor": number, "assessor_family_name": name, "document": photo()})
        assert sent.status_code == 422
        assert "Petra" not in sent.text
        said.add(sent.text.split('id="id_assessor_error"')[1].split("</div>")[0])
    assert len(said) == 1
    right = {"assessor": world.assessor.number, "assessor_family_name": "LINDQVIST", "document": photo()}
    assert dispatcher.post(address, given | right).status_code == 302
    assert Assessment.objects.get(worker=mira).assessor == world.assessor
    for _each in range(20):
        sent = dispatcher.post(address, given | {"assessor": "W-999999", "assessor_family_name": "Lindqvist"})
    assert sent.status_code == 429
    assert "Nobody in the register" not in sent.text


def test_the_registrar_records_an_employment(
    world: World, registrar: Client, dispatcher: Client, another_employer: Client, mira: Worker
) -> None:
    firm = people.Employer.objects.get(name="Cormorant Lift Yard")
    given = {"number": mira.number, "family_name": "Sandoval", "employer": firm.pk, "start": "2026-01-01"}
    for client in (dispatcher, another_employer):
        assert client.post("/register/employment/", given | {"reason": "mine"}).status_code == 403
    assert registrar.post("/register/employment/", given).status_code == 422
    assert registrar.post("/register/employment/", given | {"reason": "Both signed."}).status_code == 302
    assert EmploymentConsent.objects.get(worker=mira).reason == "Both signed."


def test_a_rivals_stand_down_bars_at_the_rival_alone_and_is_read_by_person_and_registrar(
    world: World, another_employer: Client, registrar: Client, as_worker: AsWorker, mira: Worker
) -> None:
    own = as_worker(mira)
    another_employer.post(NEW, asking(mira.number))
    (asked,) = EmploymentRequest.objects.all()
    bar = {"start": "2026-01-02T07:00", "reason": "Worked unhooked", "clock": world.site.time_zone}
    address = f"/records/people/{mira.pk}/add/stand-down/"
    assert another_employer.post(address, bar | {"occasion": "none"}).status_code == 403
    own.post(f"{OWN}{asked.pk}/", {"do": "accept"})
    shift = evidence.record_hours(
        new=evidence.NewHours(
            worker=mira,
            model=world.model,
            operation="dismantling",
            start=world.now - timedelta(hours=9),
            end=world.now - timedelta(hours=1),
            employer=world.employer,
            site=world.site,
        ),
        recorded_at=world.now,
        recorded_by=None,
    )
    assert another_employer.post(address, bar).status_code == 422
    assert another_employer.post(address, bar | {"occasion": f"shift:{shift.pk}"}).status_code == 422
    done = another_employer.post(address, bar | {"occasion": "none"}, follow=True)
    assert "It bars at your firm alone." in done.text
    barred = StandDown.objects.get()
    assert barred.employer != world.employer
    for reader in (own.get("/own/"), registrar.get("/register/stand-downs/")):
        assert "Worked unhooked" in reader.text
        assert "Bars at Cormorant Lift Yard alone" in reader.text
    suspending = f"/register/stand-downs/{barred.pk}/suspend/"
    resting = {"start": "2026-01-03T07:00", "reason": "Nobody else saw it", "clock": world.site.time_zone}
    for client in (another_employer, own):
        assert client.post(suspending, resting).status_code == 403
    assert registrar.post(suspending, resting).status_code == 302
    assert "Nobody else saw it" in own.get("/own/").text
    ending = f"/register/suspensions/{StandDownSuspension.objects.get().pk}/end/"
    assert own.post(ending).status_code == 403
    assert registrar.post(ending).status_code == 302
    assert "Nobody else saw it" not in own.get("/own/").text


def test_a_stand_down_says_what_it_put_on_hold(world: World, dispatcher: Client, mira: Worker) -> None:
    world.make_erector(mira)
    job = world.job(["erector"])
    outcome: crews.Outcome = world.assign(job.slots.get(), mira)
    assert outcome.permitted
    page = dispatcher.get(f"/records/people/{mira.pk}/add/stand-down/").text
    occasion = page.split('value="shift:')[1].split('"')[0]
    assert 'value="none" checked' not in page
    bar = {"start": "2026-11-30T07:00", "reason": "Unhooked", "clock": world.site.time_zone}
    start = world.now.strftime("%Y-%m-%dT%H:%M")
    done = dispatcher.post(
        f"/records/people/{mira.pk}/add/stand-down/",
        bar | {"occasion": f"shift:{occasion}", "start": start},
        follow=True,
    )
    assert "It bars everywhere." in done.text
    assert "Put on hold: erector" in done.text


def test_who_left_is_read_as_of_their_last_day_on_pages_documents_and_transcript(
    world: World, dispatcher: Client, mira: Worker
) -> None:
    employment = Employment.objects.get(worker=mira)
    last = (world.now - timedelta(days=30)).date()
    evidence.correct(employment, end=last, recorded_at=world.now, recorded_by=None)
    scan = evidence.attach_document(
        name="later.pdf",
        media_type="application/pdf",
        content=b"%PDF-1.7 later",
        recorded_at=world.now,
        recorded_by=None,
    )
    evidence.record_instruction(
        worker=mira,
        topic="tandem lifts",
        provider="third_party",
        completed_at=world.now - timedelta(days=2),
        document=scan,
        recorded_at=world.now,
        recorded_by=None,
    )
    for address in (f"/workers/{mira.pk}/", f"/records/people/{mira.pk}/"):
        page = dispatcher.get(address)
        assert page.status_code == 200
        assert "andem lifts" not in page.text
    assert "This person left your books." in dispatcher.get(f"/workers/{mira.pk}/").text
    assert dispatcher.get(f"/documents/{scan.pk}/").status_code == 404
    assert dispatcher.get(f"/workers/{mira.pk}/role/").status_code == 403
    printed = dispatcher.post(f"/workers/{mira.pk}/transcript/", {"language": "en", "paper": "A4"})
    assert printed.status_code == 200
    assert mira.transcripts_issued.get().evidence_version == 0
