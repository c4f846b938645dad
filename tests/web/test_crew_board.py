"""The dispatcher's pages: the board of a week, candidates, answers in place, people by what runs out, the outlook."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils.html import escape

from registry.crews.board import Week
from registry.crews.models import Assignment, Job, Refusal
from registry.crews.queries import CrewView, crew_of
from registry.engine.render import CAUTION
from registry.evidence import services as evidence
from registry.inspection.models import Look
from registry.people.models import Worker
from registry.web import job_page
from tests.world import World, sign_in

IN_PLACE = {"HX-Request": "true"}


@pytest.fixture
def erector(world: World) -> Worker:
    worker = world.worker("Mira", "Sandoval")
    world.make_erector(worker)
    return worker


@pytest.fixture
def another_erector(world: World) -> Worker:
    worker = world.worker("Aurel", "Voskuijlen")
    world.make_erector(worker)
    return worker


@pytest.fixture
def newcomer(world: World) -> Worker:
    worker = world.worker("Tomas", "Ferreira")
    world.hours(worker, days=1)
    return worker


def put_in_place(world: World, job: Job, worker: Worker) -> Assignment:
    assignment = world.assign(job.slots.first(), worker).assignment  # type: ignore[arg-type]
    assert assignment is not None
    return assignment


def board(client: Client, job: Job) -> str:
    return client.get("/", {"week": str(Week.of(job.start.date()))}).text


def world_zone(job: Job) -> ZoneInfo:
    return ZoneInfo(job.site.time_zone)


def statements(client: Client, path: str, **given: Any) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert client.get(path, given).status_code == 200
    return len(captured)


def test_the_board_says_who_stands_until_when_and_what_needs_somebody(
    world: World, dispatcher: Client, erector: Worker
) -> None:
    job = world.job(["erector", "rigger"])
    put_in_place(world, job, erector)
    shown = board(dispatcher, job)
    for words in ("What needs somebody", "Mira Sandoval", "1 of 2 places filled", "Documents hold until"):
        assert words in shown
    rigger = job.slots.get(role="rigger")
    assert shown.count(f'href="/slots/{rigger.pk}/fill/"') == 2, "in the list of what needs somebody, and on the board"
    assert escape(CAUTION) in shown
    assert "style=" not in shown


def test_a_gap_is_filled_for_the_part_that_is_open(world: World, dispatcher: Client, erector: Worker) -> None:
    job = world.job(["erector"])
    assignment = put_in_place(world, job, erector)
    middle = job.start + timedelta(days=1)
    dispatcher.post(
        f"/assignments/{assignment.pk}/end/",
        {"reason": "Other work", "ends_at": f"{middle.astimezone(world_zone(job)):%Y-%m-%dT%H:%M}"},
    )
    shown = board(dispatcher, job)
    (path,) = set(re.findall(r'href="(/slots/\d+/fill/\?start=[^"]+)"', shown))
    filling = dispatcher.get(path.replace("&amp;", "&"))
    assert f'name="start" value="{middle.astimezone(world_zone(job)):%Y-%m-%dT%H:%M}"' in filling.text


def test_weeks_are_chosen_and_what_is_no_week_is_said(world: World, dispatcher: Client) -> None:
    job = world.job(["erector"], starts_in=30)
    week = Week.of(job.start.date())
    opened = dispatcher.get("/").text
    assert f'value="{week}"' in opened, "with nothing on this week the page opens where the work is"
    assert f"?week={week.earlier}" in opened
    assert f"?week={week.later}" in opened
    this = dispatcher.get("/", {"week": str(Week.of(world.now.date()))}).text
    assert "There are no jobs in this week." in this
    assert f'href="?week={week}"' in this
    wrong = dispatcher.get("/", {"week": "<soon>"}).text
    assert "“&lt;soon&gt;” is no week" in wrong


def test_the_board_takes_as_many_statements_for_many_jobs(world: World, dispatcher: Client, erector: Worker) -> None:
    job = world.job(["erector"])
    week = str(Week.of(job.start.date()))
    put_in_place(world, job, erector)
    before = statements(dispatcher, "/", week=week)
    for _each in range(5):
        world.job(["erector", "rigger", "signal_person"])
    assert statements(dispatcher, "/", week=week) == before


def test_a_worker_and_an_inspector_keep_a_plain_list(
    world: World, inspector: Client, as_worker: Callable[[Worker], Client], erector: Worker
) -> None:
    job = world.job(["erector"])
    put_in_place(world, job, erector)
    assert "What needs somebody" not in inspector.get("/").text
    assert job.site.name in inspector.get("/").text
    assert inspector.get("/jobs/").headers["Location"] == "/", "every look of an inspector is recorded there"
    assert "What needs somebody" not in as_worker(erector).get("/").text


def test_candidates_stand_permitted_first_and_the_refused_with_what_they_lack(
    world: World, dispatcher: Client, erector: Worker, newcomer: Worker
) -> None:
    slot = world.job(["erector"]).slots.get()
    shown = dispatcher.get(f"/slots/{slot.pk}/fill/").text
    assert shown.index("Mira Sandoval") < shown.index("Tomas Ferreira")
    mira, tomas = shown.index("Mira Sandoval"), shown.index("Tomas Ferreira")
    assert "Documents hold until" in shown[mira:tomas]
    lacks = re.search(r'class="about".+?<ul>(.+?)</ul>', shown[tomas:], re.DOTALL)
    assert lacks is not None
    assert lacks[1].count("<li>") == 3
    assert "and more, as the refusal would say" in lacks[1]
    assert not Refusal.objects.exists(), "looking records nothing"
    assert dispatcher.get(f"/slots/{slot.pk}/fill/", {"q": "nobody"}).text.count("Nobody on the books") == 1


def test_people_are_listed_for_the_part_of_the_job_that_is_asked_about(
    world: World, dispatcher: Client, erector: Worker
) -> None:
    job = world.job(["erector"])
    path = f"/slots/{job.slots.get().pk}/fill/"
    local = (job.start + timedelta(days=1)).astimezone(world_zone(job))
    given = {"look": "1", "start": f"{local:%Y-%m-%dT%H:%M}", "worker": erector.pk}
    looked = dispatcher.post(path, given)
    assert looked.status_code == 200
    assert f"From {local.day} {local:%b %Y, %H:%M} until" in looked.text
    assert f'value="{erector.pk}" checked' in looked.text
    assert dispatcher.post(path, {"look": "1"}).status_code == 200, "nobody need be chosen to look"
    assert dispatcher.post(path, {"look": "1", "start": "soon"}).status_code == 422
    assert not Assignment.objects.exists()


def test_a_substitute_is_in_place_after_three_clicks(
    world: World, dispatcher: Client, erector: Worker, another_erector: Worker
) -> None:
    job = world.job(["erector"])
    leaving = put_in_place(world, job, erector)
    # One: "Substitute" at the person's place on the board.
    (path,) = re.findall(r'href="(/assignments/\d+/substitute/)"', board(dispatcher, job))
    page = dispatcher.get(path).text
    # Two: a candidate. Everything else that is sent is filled in already.
    assert f'name="worker" value="{erector.pk}"' not in page, "whoever leaves is no candidate"
    assert page.index("Aurel Voskuijlen") < page.index("refused</span>")
    ready = re.findall(r'<input type="radio" name="reason" value="(\w+)"[^>]* checked', page)
    # Three: "Put in place".
    answer = dispatcher.post(path, {"worker": another_erector.pk, "reason": ready, "from_instant": ""}, follow=True)
    assert "PERMITTED" in answer.text
    assert leaving.events.get(kind="ended").reason == "Did not come"
    assert Assignment.objects.get(worker=another_erector).start == job.start


def test_a_time_after_the_place_ends_is_refused_beside_the_time(
    world: World, dispatcher: Client, erector: Worker, another_erector: Worker
) -> None:
    job = world.job(["erector"])
    leaving = put_in_place(world, job, erector)
    late = (job.end + timedelta(days=5)).strftime("%Y-%m-%dT%H:%M")
    given = {"worker": another_erector.pk, "reason": "taken_ill", "from_instant": late}
    shown = dispatcher.post(f"/assignments/{leaving.pk}/substitute/", given)
    assert shown.status_code == 422
    assert re.search(r'id="id_from_instant_error".*?Mira Sandoval is in this position from', shown.text, re.S)
    assert re.search(r'name="from_instant"[^>]*aria-invalid="true"', shown.text)


def test_a_reason_in_own_words_must_be_said_and_is_kept(
    world: World, dispatcher: Client, erector: Worker, another_erector: Worker
) -> None:
    leaving = put_in_place(world, world.job(["erector"]), erector)
    path = f"/assignments/{leaving.pk}/substitute/"
    given = {"worker": another_erector.pk, "reason": "own_words", "own_words": ""}
    own = dispatcher.post(path, {**given, "worker": erector.pk, "reason": "taken_ill"})
    assert (own.status_code, leaving.events.count()) == (422, 0), "nobody takes over from themself"
    unsaid = dispatcher.post(path, given)
    assert unsaid.status_code == 422
    assert unsaid.text.count("Say the reason.") == 2
    assert f'value="{another_erector.pk}" checked' in unsaid.text
    assert "PERMITTED" in dispatcher.post(path, {**given, "own_words": "Ferry cancelled"}, follow=True).text
    assert leaving.events.get(kind="ended").reason == "Ferry cancelled"
    assert dispatcher.get(path).headers["Location"] == f"/jobs/{leaving.slot.job_id}/", "there is nobody to replace now"


def test_an_answer_comes_in_place_with_the_crew_as_it_is_then(
    world: World, dispatcher: Client, erector: Worker, newcomer: Worker
) -> None:
    job = world.job(["erector"])
    slot = job.slots.get()
    path = f"/slots/{slot.pk}/fill/"
    part = dispatcher.get(path, headers=IN_PLACE).text
    assert "<html" not in part
    assert f'hx-post="{path}"' in part
    refused = dispatcher.post(path, {"worker": newcomer.pk}, follow=True, headers=IN_PLACE)
    assert "<html" not in refused.text
    for words in ("REFUSED", "80 h of hands-on hours", "What would cure it", "Fill this place", "autofocus"):
        assert words in refused.text
    permitted = dispatcher.post(path, {"worker": erector.pk}, follow=True, headers=IN_PLACE).text
    assert "PERMITTED" in permitted
    assert "Fill this place" not in permitted
    seen = Look.objects.filter(what="decision").values_list("worker_id", flat=True)
    assert sorted(seen) == sorted([newcomer.pk, erector.pk]), "an answer in place leaves its trace as well"


def test_what_is_wrong_is_said_in_place(world: World, dispatcher: Client, inspector: Client, erector: Worker) -> None:
    slot = world.job(["erector"]).slots.get()
    path = f"/slots/{slot.pk}/fill/"
    wrong = dispatcher.post(path, {"worker": erector.pk, "start": "soon"}, headers=IN_PLACE)
    assert wrong.status_code == 422
    assert wrong.headers["HX-Retarget"] == f"#filling-{slot.pk}"
    assert "<html" not in wrong.text
    barred = inspector.get(path, headers=IN_PLACE)
    assert barred.status_code == 403
    assert barred.headers["HX-Retarget"] == "#said"
    assert "Only an employer" in barred.text
    gone = Client().get(path, headers=IN_PLACE)
    assert (gone.status_code, gone.headers["HX-Refresh"]) == (204, "true")


def test_what_has_gone_meanwhile_has_the_open_page_loaded_anew(world: World, dispatcher: Client) -> None:
    path = f"/slots/{world.job(['erector']).slots.get().pk + 1}/fill/"
    gone = dispatcher.get(path, headers=IN_PLACE)
    assert (gone.status_code, gone.headers["HX-Refresh"]) == (204, "true")
    assert dispatcher.get(path).status_code == 404


def test_a_form_of_another_session_has_the_open_page_loaded_anew(world: World) -> None:
    browser = Client(enforce_csrf_checks=True)
    sign_in(browser, world.dispatcher())
    path = f"/slots/{world.job(['erector']).slots.get().pk}/fill/"
    stale = browser.post(path, {"worker": 1}, headers=IN_PLACE)
    assert (stale.status_code, stale.headers["HX-Refresh"]) == (204, "true")
    assert browser.post(path, {"worker": 1}).status_code == 403
    assert not Refusal.objects.exists()


def test_closing_what_opened_at_a_place_leads_back_to_it(world: World, dispatcher: Client) -> None:
    job = world.job(["erector", "rigger"])
    slot = job.slots.get(role="rigger")
    opened = dispatcher.get(f"/slots/{slot.pk}/fill/", headers=IN_PLACE).text
    (close,) = re.findall(r'hx-get="(/jobs/[^"]*)"', opened)
    crew = dispatcher.get(close, headers=IN_PLACE).text
    assert crew.count("autofocus") == 1
    assert "autofocus>Rigger" in crew


def test_a_hold_names_nobody_else_of_the_crew_to_a_worker(
    world: World,
    dispatcher: Client,
    erector: Worker,
    another_erector: Worker,
    as_worker: Callable[[Worker], Client],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    job = world.job(["erector", "erector"])
    for slot, worker in zip(job.slots.order_by("id"), (erector, another_erector), strict=True):
        world.assign(slot, worker)

    def held(job: Job) -> CrewView:
        view = crew_of(job)
        view.slots[0].assignments[0].standing = "held"
        view.slots[0].assignments[0].reason = f"the evidence of worker:{another_erector.pk} changed"
        return view

    monkeypatch.setattr(job_page, "crew_of", held)
    assert "the evidence of Aurel Voskuijlen changed" in dispatcher.get(f"/jobs/{job.pk}/").text
    own = as_worker(erector).get(f"/jobs/{job.pk}/").text
    assert "the evidence of somebody who signs changed" in own
    assert "Voskuijlen" not in own


def test_a_place_left_at_once_is_filled_again_from_that_minute(
    world: World, dispatcher: Client, erector: Worker, another_erector: Worker
) -> None:
    job = world.job(["erector"], starts_in=-1)
    leaving = put_in_place(world, job, erector)
    said = {"ends_at": "", "reason": "Taken ill"}
    assert dispatcher.post(f"/assignments/{leaving.pk}/end/", said).status_code == 302
    link = r'href="(/slots/\d+/fill/\?start=[^"]*)"'
    (path, *_same) = re.findall(link, board(dispatcher, job))
    assert re.findall(link, dispatcher.get(f"/jobs/{job.pk}/").text) == [path]
    gap = dict(re.findall(r"(start|end)=([^&]+)", path.replace("&amp;", "&")))
    filled = dispatcher.post(path.partition("?")[0], {"worker": another_erector.pk, **gap}, follow=True)
    assert "PERMITTED" in filled.text


def test_people_whose_papers_run_out_come_first(world: World, dispatcher: Client, erector: Worker) -> None:
    world.worker("Zita", "Abendroth")
    late = world.worker("Aurel", "Voskuijlen")
    for worker, days in ((late, 20), (erector, 89)):
        certificate(world, worker, days)
    shown = dispatcher.get("/workers/").text
    order = [shown.index(each) for each in ("Aurel Voskuijlen", "Mira Sandoval", "Zita Abendroth", "Petra Lindqvist")]
    assert order == sorted(order)
    assert re.findall(r"<dd>(\d+)</dd>", shown) == ["4", "1", "2"]
    assert "Certificate in rigging" in shown
    found = dispatcher.get("/workers/", {"q": "sando"}).text
    assert re.findall(r"<dd>(\d+)</dd>", found) == ["1", "0", "1"]
    assert "Voskuijlen" not in found


def certificate(world: World, worker: Worker, days: int) -> None:
    evidence.record_certification(
        worker=worker,
        scheme="rigging",
        number=f"R-{worker.pk}",
        issuer="Norrland Board",
        issued=(world.now - timedelta(days=300)).date(),
        expires=(world.now + timedelta(days=days)).date(),
        classes=["hammerhead"],
        recorded_at=world.now,
        recorded_by=None,
    )


def test_people_and_outlook_take_as_many_statements_for_many_people(
    world: World, dispatcher: Client, erector: Worker
) -> None:
    certificate(world, erector, 20)
    put_in_place(world, world.job(["erector"]), erector)
    before = [statements(dispatcher, path) for path in ("/workers/", "/outlook/")]
    for number in range(60):
        worker = world.worker("Given", f"Family{number}")
        if number % 2:
            certificate(world, worker, number)
    assert [statements(dispatcher, path) for path in ("/workers/", "/outlook/")] == before
    # Those with papers that run out fill the first page together with some others.
    second = dispatcher.get("/workers/", {"page": "2"}).text
    first = dispatcher.get("/workers/").text
    names = re.findall(r'<th [^>]*><a href="/workers/(\d+)/"', first + second)
    assert len(names) == len(set(names)) == Worker.objects.count()


def test_the_outlook_tells_months_and_roles(world: World, dispatcher: Client, erector: Worker) -> None:
    certificate(world, erector, 20)
    put_in_place(world, world.job(["erector"]), erector)
    shown = dispatcher.get("/outlook/").text
    month = (world.now + timedelta(days=20)).date()
    assert re.search(rf'<th scope="row">{month:%B %Y}</th><td class="figure">1</td>', shown)
    erectors = r'<th scope="row">Erector</th><td class="figure">1</td><td class="figure">0</td>'
    assert re.search(erectors, shown)
    assert "Nobody is asked about anew here" in shown
    assert "style=" not in shown
