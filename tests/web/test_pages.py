"""Each page, for each kind of account."""

from __future__ import annotations

import re
from collections.abc import Callable
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils.html import escape

from registry.crews.board import Week
from registry.crews.models import Assignment, Job
from registry.engine.render import CAUTION
from registry.evidence import services as evidence
from registry.people.models import Worker
from tests.world import World

AsWorker = Callable[[Worker], Client]


def erector_on(world: World, job: Job, given: str = "Mira", family: str = "Sandoval", position: int = 1) -> Assignment:
    worker = world.worker(given, family)
    world.make_erector(worker)
    outcome = world.assign(job.slots.get(role="erector", position=position), worker)
    assert outcome.assignment is not None
    return outcome.assignment


@pytest.mark.parametrize("path", ["/", "/jobs/plan/", "/jobs/1/", "/decisions/1/", "/workers/", "/workers/1/"])
def test_strangers_are_sent_to_the_sign_in_page(client: Client, db: None, path: str) -> None:
    response = client.get(path)
    assert response.status_code == 302
    assert response.headers["Location"] == f"/sign-in/?next={path}"


def test_signing_in_and_out(world: World) -> None:
    account = world.dispatcher()
    account.set_password("a long enough phrase")
    account.save(update_fields=["password"])
    client = Client()
    assert "You are not signed in" in client.post("/sign-in/", {"login": account.username, "password": "no"}).text
    signed_in = client.post("/sign-in/", {"login": account.username, "password": "a long enough phrase"})
    assert signed_in.headers["Location"] == "/"
    assert client.get("/").headers["Location"] == "/account/", "a dispatcher sets up a second factor first"
    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/").headers["Location"] == "/sign-in/"
    assert client.get("/").status_code == 302


def test_passwords_are_shown_only_while_the_demonstration_runs(
    client: Client, db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("REGISTRY_DEMO", raising=False)
    assert "level-the-mast" not in client.get("/sign-in/").text
    monkeypatch.setenv("REGISTRY_DEMO", "1")
    shown = client.get("/sign-in/").text
    assert "level-the-mast" in shown
    assert "This is a demonstration" in shown


def test_an_employer_sees_its_jobs_with_readiness_in_words(world: World, dispatcher: Client) -> None:
    job = world.job(["erector", "erector"])
    erector_on(world, job)
    shown = dispatcher.get("/jobs/").text
    assert "1 of 2 places filled" in shown
    assert "1 open" in shown
    assert "America/<wbr>Vancouver" in shown


def test_the_job_page_says_who_stands_until_when_and_what_is_open(world: World, dispatcher: Client) -> None:
    job = world.job(["erector", "erector"])
    erector_on(world, job)
    shown = dispatcher.get(f"/jobs/{job.pk}/").text
    for words in ("Mira Sandoval", "stands", "Documents hold until", "open", "Fill this place", "common practice"):
        assert words in shown
    assert escape(CAUTION) in shown


def test_a_place_has_the_standards_name_and_the_glossarys_where_they_differ(world: World, dispatcher: Client) -> None:
    job = world.job(["erection_supervisor", "erector"])
    shown = dispatcher.get(f"/jobs/{job.pk}/").text
    assert re.findall(r"<h3[^>]*>([^<]+)</h3>\s*(?:<p class=\"help\">([^<]+)</p>)?", shown) == [
        ("A/D director", "Erection supervisor"),
        ("Erector", ""),
    ]


def test_a_held_place_says_why_and_may_be_decided_again(world: World, dispatcher: Client) -> None:
    job = world.job(["erector"])
    assignment = erector_on(world, job)
    world.instruct(assignment.worker, "rigging_refresher", world.now)
    shown = dispatcher.get(f"/jobs/{job.pk}/").text
    assert "the evidence of Mira Sandoval changed" in shown
    response = dispatcher.post(f"/assignments/{assignment.pk}/decide-again/", follow=True)
    assert "PERMITTED" in response.text
    assert "The place is filled by this decision." in response.text
    assert "Decide again" not in dispatcher.get(f"/jobs/{job.pk}/").text


def test_a_crew_held_by_what_was_recorded_is_decided_again_at_one_press(world: World, dispatcher: Client) -> None:
    job = world.job(["erector", "erector"])
    crew = [erector_on(world, job), erector_on(world, job, "Rafe", "Osei", 2)]
    for each in crew:
        world.instruct(each.worker, "rigging_refresher", world.now)
    assert "Decide all held places again" in dispatcher.get(f"/jobs/{job.pk}/").text
    week = f"/?week={Week.of(job.start.date())}"
    assert "Decide all held places again" in dispatcher.get(week).text
    assert "2 places stand again." in dispatcher.post(f"/jobs/{job.pk}/decide-again/", follow=True).text
    assert "Decide all held places again" not in dispatcher.get(week).text
    world.assess(crew[1].worker, "erector", outcome="not_yet_competent", at=world.now)
    shown = dispatcher.post("/jobs/decide-again/", follow=True).text
    assert "Still held: Rafe Osei as erector, Quillon Wharf. The documents fall short" in shown


def test_an_inspector_reads_everything_and_changes_nothing(world: World, inspector: Client) -> None:
    job = world.job(["erector", "erector"])
    assignment = erector_on(world, job)
    read = ("/", f"/jobs/{job.pk}/", f"/decisions/{assignment.decision_id}/")
    for path in (*read, f"/workers/{assignment.worker_id}/"):
        assert inspector.get(path).status_code == 200
    assert "Fill this place" not in inspector.get(f"/jobs/{job.pk}/").text
    slot = job.slots.get(position=2)
    for refused in (
        inspector.get("/jobs/plan/"),
        inspector.get("/outlook/"),
        inspector.get(f"/slots/{slot.pk}/fill/"),
        inspector.post(f"/slots/{slot.pk}/fill/", {"worker": assignment.worker_id}),
        inspector.post(f"/assignments/{assignment.pk}/end/", {"reason": "no"}),
        inspector.post(f"/assignments/{assignment.pk}/substitute/", {"worker": assignment.worker_id, "reason": "no"}),
        inspector.post(f"/assignments/{assignment.pk}/decide-again/"),
        inspector.post("/jobs/decide-again/"),
        inspector.post(f"/jobs/{job.pk}/decide-again/"),
    ):
        assert refused.status_code == 403
        assert "Only an employer" in refused.text
    assert Assignment.objects.count() == 1


def test_another_employer_finds_nothing(world: World, another_employer: Client) -> None:
    job = world.job(["erector"])
    assignment = erector_on(world, job)
    slot = job.slots.get()
    for path in (
        f"/jobs/{job.pk}/",
        f"/slots/{slot.pk}/fill/",
        f"/decisions/{assignment.decision_id}/",
        f"/workers/{assignment.worker_id}/",
        f"/assignments/{assignment.pk}/end/",
        f"/assignments/{assignment.pk}/substitute/",
    ):
        assert another_employer.get(path).status_code == 404
    assert another_employer.post(f"/assignments/{assignment.pk}/decide-again/").status_code == 404
    assert another_employer.post(f"/jobs/{job.pk}/decide-again/").status_code == 404
    assert "There are no jobs in this week" in another_employer.get("/").text
    assert "There are no jobs yet" in another_employer.get("/jobs/").text
    assert "Sandoval" not in another_employer.get("/workers/").text


def test_a_worker_sees_themself_and_of_the_others_only_whether_the_place_is_filled(
    world: World, as_worker: AsWorker
) -> None:
    job = world.job(["erector", "erector"])
    own = erector_on(world, job)
    other = erector_on(world, job, "Aurel", "Voskuijlen", position=2)
    client = as_worker(own.worker)
    shown = client.get(f"/jobs/{job.pk}/").text
    assert "Mira Sandoval" in shown
    assert "Voskuijlen" not in shown
    assert client.get(f"/workers/{own.worker_id}/").status_code == 200
    assert client.get(f"/decisions/{own.decision_id}/").status_code == 200
    assert client.get(f"/workers/{other.worker_id}/").status_code == 404
    assert client.get(f"/decisions/{other.decision_id}/").status_code == 404
    assert client.get(f"/slots/{job.slots.first().pk}/fill/").status_code == 403  # type: ignore[union-attr]


def test_a_record_sums_hours_and_marks_what_was_superseded(world: World, dispatcher: Client) -> None:
    worker = world.worker("Mira", "Sandoval")
    world.make_erector(worker, days=3)
    certificate = worker.certification_records.get()
    evidence.correct(certificate, recorded_at=world.now, recorded_by=None, number="E-corrected")
    evidence.stand_down(worker=worker, start=world.now, reason="Unhooked", recorded_at=world.now, recorded_by=None)
    shown = dispatcher.get(f"/workers/{worker.pk}/").text
    assert '<td class="figure">24 h</td>' in shown
    assert shown.count("superseded") == 1
    assert "E-corrected" in shown
    assert "Unhooked" in shown


def test_people_are_found_by_name(world: World, dispatcher: Client) -> None:
    world.worker("Mira", "Sandoval")
    world.worker("Aurel", "Voskuijlen")
    shown = dispatcher.get("/workers/", {"q": "sando mir"}).text
    assert "Sandoval" in shown
    assert "Voskuijlen" not in shown
    assert "Nobody on the books" in dispatcher.get("/workers/", {"q": "\0%"}).text


def test_the_job_page_takes_as_many_statements_for_a_large_crew(world: World, dispatcher: Client) -> None:
    def statements(size: int) -> int:
        job = world.job(["erector"] * (size + 1), starts_in=3 + 10 * size)
        for position in range(1, size + 1):
            erector_on(world, job, f"Given{size}", f"Family{position}", position)
        world.assign(job.slots.get(position=size + 1), world.worker(f"Newcomer{size}", "Shortfall"))
        with CaptureQueriesContext(connection) as captured:
            assert dispatcher.get(f"/jobs/{job.pk}/").status_code == 200
        return len(captured)

    assert statements(1) == statements(4)


def test_the_list_of_jobs_takes_as_many_statements_for_many(world: World, dispatcher: Client) -> None:
    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            dispatcher.get("/jobs/")
        return len(captured)

    world.job(["erector"])
    before = statements()
    for _each in range(4):
        world.job(["erector", "rigger"])
    assert statements() == before


def test_a_decision_can_be_read_for_a_worker_with_many_records(world: World, dispatcher: Client) -> None:
    job = world.job(["erector"])
    few, many = world.worker("Few", "Hours"), world.worker("Many", "Hours")
    world.hours(few, days=1)
    world.hours(many, days=20)

    def statements(worker: Worker) -> int:
        decision = world.assign(job.slots.get(), worker).decision
        with CaptureQueriesContext(connection) as captured:
            assert "REFUSED" in dispatcher.get(f"/decisions/{decision.pk}/").text
        return len(captured)

    assert statements(few) == statements(many)


def test_every_page_names_its_language_its_main_part_and_its_fields(world: World, dispatcher: Client) -> None:
    job = world.job(["erector", "trainee"])
    assignment = erector_on(world, job)
    paths = ["/", "/jobs/plan/", f"/jobs/{job.pk}/", f"/slots/{job.slots.last().pk}/fill/", "/workers/"]  # type: ignore[union-attr]
    paths += [f"/workers/{assignment.worker_id}/", f"/decisions/{assignment.decision_id}/"]
    paths += [f"/assignments/{assignment.pk}/{each}/" for each in ("end", "substitute")]
    for path in paths:
        shown = dispatcher.get(path).text
        assert '<html lang="en">' in shown
        assert shown.count("<h1") == 1, path
        assert '<main id="main"' in shown
        assert 'href="#main"' in shown


def test_times_are_by_the_clock_on_the_site(world: World, dispatcher: Client) -> None:
    job = world.job(["erector"])
    local = job.start.astimezone(ZoneInfo("America/Vancouver"))
    assert f"{local.day} {local:%b %Y, %H:%M}" in dispatcher.get(f"/jobs/{job.pk}/").text
