"""The registrar's pages for what keeps people off the crews, and what an employer's pages refuse."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from registry.evidence import services
from registry.evidence.models import (
    Assessment,
    Certification,
    CertificationStatus,
    CorrectionAnswer,
    CorrectionRequest,
    StandDown,
)
from registry.inspection.models import Look
from registry.people.models import Account, Worker
from tests.web.records.test_adding_and_correcting import photo
from tests.world import OPERATIONS, World

SignedIn = Callable[[Account], Client]


@pytest.fixture
def mira(world: World) -> Worker:
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    return mira


@pytest.fixture
def registrar(world: World, signed_in: SignedIn) -> Client:
    return signed_in(world.registrar())


def a_status(world: World, mira: Worker, status: str, **given: str) -> dict[str, object]:
    certificate = Certification.objects.get(worker=mira)
    return {
        "certification": certificate.pk,
        "status": status,
        "effective_at": "2026-05-01T08:00",
        "clock": world.site.time_zone,
        **given,
    }


def assessed(world: World, mira: Worker, outcome: str, *, days_ago: int, by: Account | None = None) -> Assessment:
    return services.record_assessment(
        worker=mira,
        role="erector",
        model=world.model,
        operations=OPERATIONS,
        assessed_at=world.now - timedelta(days=days_ago),
        outcome=outcome,
        assessor=world.assessor,
        third_party="Norrland Board",
        document=services.attach_document(
            name="board.pdf",
            media_type="application/pdf",
            content=f"%PDF- {days_ago}".encode(),
            recorded_at=world.now,
            recorded_by=None,
        ),
        recorded_at=world.now,
        recorded_by=by,
    )


def test_an_employer_is_not_offered_to_reinstate_and_cannot(world: World, mira: Worker, dispatcher: Client) -> None:
    path = f"/records/people/{mira.pk}/add/certificate-status/"
    assert dispatcher.post(path, a_status(world, mira, "suspended")).status_code == 302
    shown = dispatcher.get(path).content.decode()
    assert 'value="reinstated"' not in shown
    assert "the registrar records" in shown
    assert dispatcher.post(path, a_status(world, mira, "reinstated", reason="They called")).status_code == 422
    suspended = CertificationStatus.objects.get()
    for what in ("correct", "withdraw"):
        assert dispatcher.get(f"/records/certificationstatus/{suspended.pk}/{what}/").status_code == 403


def test_the_registrar_reinstates_with_a_reason_and_the_paper(world: World, mira: Worker, registrar: Client) -> None:
    services.change_certification_status(
        certification=Certification.objects.get(worker=mira),
        status="suspended",
        effective_at=world.now - timedelta(days=300),
        recorded_at=world.now,
        recorded_by=None,
    )
    path = f"/records/people/{mira.pk}/add/certificate-status/"
    refused = registrar.post(path, a_status(world, mira, "reinstated"))
    assert refused.status_code == 422
    assert "Say what the reinstatement rests on." in refused.content.decode()
    done = registrar.post(
        path, a_status(world, mira, "reinstated", reason="The board's letter") | {"document": photo()}
    )
    assert done.headers["Location"] == f"/bars/people/{mira.pk}/"
    recorded = CertificationStatus.objects.get(status="reinstated")
    assert recorded.recorded_by is not None
    assert recorded.recorded_by.kind == "registrar"
    assert registrar.get(f"/documents/{recorded.document_id}/").status_code == 200


def test_an_employer_asks_and_the_registrar_takes_back(
    world: World, mira: Worker, dispatcher: Client, registrar: Client
) -> None:
    setback = assessed(world, mira, "not_yet_competent", days_ago=2)
    for what in ("correct", "withdraw"):
        refused = dispatcher.get(f"/records/assessment/{setback.pk}/{what}/")
        assert refused.status_code == 403
        assert "a later pass by the same third party ends it" in refused.content.decode().replace("&#x27;", "'")
    asked = dispatcher.post(f"/records/assessment/{setback.pk}/ask/", {"what_is_wrong": "Another person"}, follow=True)
    assert "Your request is with the registrar." in asked.content.decode()
    request = CorrectionRequest.objects.get()
    assert "None waits" in dispatcher.get("/records/requests/").content.decode()
    assert "One request waits" in registrar.get("/bars/").content.decode()
    assert "Another person" in registrar.get("/bars/requests/").content.decode()
    answer = registrar.get(f"/records/requests/{request.pk}/").content.decode()
    path = f"/records/assessment/{setback.pk}/withdraw/"
    assert f"{path}?request={request.pk}" in answer
    assert registrar.post(path, {"because": " ", "request": request.pk}).status_code == 422
    done = registrar.post(path, {"because": "The board wrote", "request": request.pk})
    assert done.headers["Location"] == f"/bars/people/{mira.pk}/"
    assert CorrectionAnswer.objects.get().outcome == "withdrawn"
    assert "Registrar: The board wrote" in dispatcher.get(f"/records/people/{mira.pk}/").content.decode()
    assert not Assessment.objects.current().filter(outcome="not_yet_competent").exists()


def test_the_registrar_declines_in_words(world: World, mira: Worker, dispatcher: Client, registrar: Client) -> None:
    setback = assessed(world, mira, "not_yet_competent", days_ago=2)
    dispatcher.post(f"/records/assessment/{setback.pk}/ask/", {"what_is_wrong": "Another person"})
    request = CorrectionRequest.objects.get()
    assert dispatcher.post(f"/records/requests/{request.pk}/", {"because": "We say so"}).status_code == 403
    done = registrar.post(f"/records/requests/{request.pk}/", {"because": "The board confirms it"})
    assert done.headers["Location"] == "/bars/requests/"
    assert CorrectionAnswer.objects.get().outcome == "declined"


def test_a_pass_on_paper_after_a_setback_is_shown_to_the_registrar_who_takes_it_back(
    world: World, mira: Worker, registrar: Client
) -> None:
    assessed(world, mira, "not_yet_competent", days_ago=2)
    passed = assessed(world, mira, "pass", days_ago=1, by=world.dispatcher())
    assert "One pass on paper" in registrar.get("/bars/").content.decode()
    shown = registrar.get("/bars/papers/").content.decode()
    assert "Halvorsby Tower Works" in shown
    assert f"/documents/{passed.document_id}/" in shown
    assert registrar.get(f"/documents/{passed.document_id}/").status_code == 200
    assert registrar.post(f"/records/assessment/{passed.pk}/withdraw/", {"because": "Forged"}).status_code == 302
    assert "None recorded." in registrar.get("/bars/papers/").content.decode()


def test_the_registrar_finds_a_person_and_the_look_stays_on_record(
    world: World, mira: Worker, registrar: Client, dispatcher: Client
) -> None:
    services.stand_down(worker=mira, start=world.now, reason="Unhooked", recorded_at=world.now, recorded_by=None)
    bar = StandDown.objects.get()
    assert f"/bars/people/{mira.pk}/" in registrar.get("/bars/?q=sandoval").content.decode()
    shown = registrar.get(f"/bars/people/{mira.pk}/").content.decode()
    assert "Unhooked" in shown
    assert f"/records/standdown/{bar.pk}/withdraw/" in shown
    assert Look.objects.get(what="bars_of").worker == mira
    for path in ("/bars/", "/bars/requests/", "/bars/papers/", f"/bars/people/{mira.pk}/"):
        assert dispatcher.get(path).status_code == 403
    assert registrar.post(f"/records/standdown/{bar.pk}/withdraw/", {"because": "Another person"}).status_code == 302
    assert "Nothing on record keeps this person off" in registrar.get(f"/bars/people/{mira.pk}/").content.decode()


@pytest.mark.parametrize("what", ["certificate", "instruction", "appointment", "stand-down", "employment", "language"])
def test_the_registrar_adds_nothing_else(world: World, mira: Worker, registrar: Client, what: str) -> None:
    assert registrar.get(f"/records/people/{mira.pk}/add/{what}/").status_code == 403
