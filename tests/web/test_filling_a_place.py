"""Trying to put people into places, ending, substituting and planning, by POST as a browser does."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client

from registry.crews import services as crews
from registry.crews.models import Assignment, Job, Refusal
from registry.evidence import services as evidence
from registry.language.amounts import instant
from registry.people.models import Worker
from tests.world import STANDARD, World, sign_in


@pytest.fixture
def erector(world: World) -> Worker:
    worker = world.worker("Mira", "Sandoval")
    world.make_erector(worker)
    return worker


@pytest.fixture
def newcomer(world: World) -> Worker:
    worker = world.worker("Tomas", "Ferreira")
    world.hours(worker, days=1)
    return worker


def test_a_refusal_says_what_is_missing_and_assigns_nobody(world: World, dispatcher: Client, newcomer: Worker) -> None:
    slot = world.job(["erector"]).slots.get()
    response = dispatcher.post(f"/slots/{slot.pk}/fill/", {"worker": newcomer.pk}, follow=True)
    shown = response.text
    for words in (
        "REFUSED",
        "Tomas Ferreira as erector",
        "Nobody was put into the place.",
        "80 h of hands-on hours",
        "missing",
        "set by the employer, no published figure",
        "What would cure it",
        "The registry checks documents",
        "Try somebody else",
    ):
        assert words in shown
    assert not Assignment.objects.exists()
    refusal = Refusal.objects.get()
    assert response.request["PATH_INFO"] == f"/decisions/{refusal.decision_id}/"
    assert "Tomas Ferreira as erector" in dispatcher.get(f"/jobs/{slot.job_id}/").text


def test_a_permission_fills_the_place(world: World, dispatcher: Client, erector: Worker) -> None:
    slot = world.job(["erector"]).slots.get()
    shown = dispatcher.post(f"/slots/{slot.pk}/fill/", {"worker": erector.pk}, follow=True).text
    for words in ("PERMITTED", "Holds until", "records counted", "8 h, dismantling"):
        assert words in shown
    assert Assignment.objects.get().worker == erector


def test_a_place_is_filled_for_a_part_by_the_clock_on_the_site(
    world: World, dispatcher: Client, erector: Worker
) -> None:
    job = world.job(["erector"])
    day = job.start + timedelta(days=1)
    given = {"worker": erector.pk, "start": f"{day:%Y-%m-%d}T12:00"}
    dispatcher.post(f"/slots/{job.slots.get().pk}/fill/", given)
    assignment = Assignment.objects.get()
    assert assignment.start.astimezone(ZoneInfo("America/Vancouver")).hour == 12
    assert assignment.end == job.end


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "Choose a person."),
        ({"worker": "999999"}, "not on the employer&#x27;s books"),
        ({"worker": "x"}, "not on the employer&#x27;s books"),
        ({"start": "yesterday"}, "Enter a valid date/time."),
        ({"start": "2031-01-01T07:00+05:00"}, "Enter a valid date/time."),
        ({"start": "2001-01-01T07:00"}, "The job starts at"),
        ({"end": "2001-01-01T07:00"}, "The assignment must end after it starts."),
        ({"end": "2101-01-01T07:00"}, "The job ends at"),
    ],
)
def test_errors_stand_beside_their_field_and_keep_what_was_typed(
    world: World, dispatcher: Client, erector: Worker, given: dict[str, str], said: str
) -> None:
    slot = world.job(["erector"]).slots.get()
    sent = {"worker": str(erector.pk), **given} if given else {}
    response = dispatcher.post(f"/slots/{slot.pk}/fill/", sent)
    assert response.status_code == 422
    # Once in the summary, once beside the field.
    assert response.text.count(said) == 2
    for name in ("start", "end"):
        if name in given:
            assert f'value="{given[name]}"' in response.text
            assert f'value="{erector.pk}" checked' in response.text
    assert not Assignment.objects.exists()


def test_somebody_who_left_the_employer_is_not_put_on_a_crew(world: World, dispatcher: Client, erector: Worker) -> None:
    employment = erector.employments.get()
    evidence.correct(employment, recorded_at=world.now, recorded_by=None, end=(world.now - timedelta(days=1)).date())
    slot = world.job(["erector"]).slots.get()
    response = dispatcher.post(f"/slots/{slot.pk}/fill/", {"worker": erector.pk})
    assert response.status_code == 422
    assert "not on the employer&#x27;s books for all of that time" in response.text


def test_a_trainee_is_paired_with_an_erector_of_the_crew(world: World, dispatcher: Client, erector: Worker) -> None:
    trainee = world.worker("Juno", "Bellweather")
    world.instruct(trainee, "crew_tasks_and_hazards", world.now - timedelta(days=9))
    evidence.appoint(
        worker=trainee,
        duty="trainee",
        employer=world.employer,
        start=world.now - timedelta(days=9),
        appointed_by="Ines Okoro",
        recorded_at=world.now - timedelta(days=9),
        recorded_by=None,
    )
    job = world.job(["erector", "trainee"])
    slot = job.slots.get(role="trainee")
    alone = dispatcher.post(f"/slots/{slot.pk}/fill/", {"worker": trainee.pk})
    assert "A trainee must be paired with an erector" in alone.text
    paired = world.assign(job.slots.get(role="erector"), erector).assignment
    assert paired is not None
    given = {"worker": trainee.pk, "paired_with": paired.pk}
    assert "PERMITTED" in dispatcher.post(f"/slots/{slot.pk}/fill/", given, follow=True).text
    assert "Paired with Mira Sandoval" in dispatcher.get(f"/jobs/{job.pk}/").text


def test_an_erector_with_two_parts_is_offered_for_the_part_asked_for(
    world: World, dispatcher: Client, erector: Worker
) -> None:
    job = world.job(["erector", "erector", "trainee"])
    half = job.start + timedelta(days=2)
    given: dict[str, Any] = {"worker_id": erector.pk, "assigned_at": world.now, "assigned_by": None}
    first, second = job.slots.filter(role="erector").order_by("position")
    early = crews.assign(slot_id=first.pk, start=job.start, end=half, **given).assignment
    late = crews.assign(slot_id=second.pk, start=half, end=job.end, **given).assignment
    assert early is not None
    assert late is not None
    typed = half.astimezone(ZoneInfo(job.site.time_zone)).strftime("%Y-%m-%dT%H:%M")
    path = f"/slots/{job.slots.get(role='trainee').pk}/fill/"
    shown = dispatcher.get(path, {"start": typed}).text
    assert f'<option value="{late.pk}">Mira Sandoval, from ' in shown
    assert f'<option value="{early.pk}">' not in shown
    assert "Mira Sandoval, from " not in dispatcher.get(path).text


def test_the_search_survives_an_error(world: World, dispatcher: Client, erector: Worker, newcomer: Worker) -> None:
    slot = world.job(["erector"]).slots.get()
    assert "Ferreira" not in dispatcher.get(f"/slots/{slot.pk}/fill/", {"q": "sandoval"}).text
    response = dispatcher.post(f"/slots/{slot.pk}/fill/", {"q": "sandoval"})
    assert "Sandoval" in response.text
    assert "Ferreira" not in response.text


def test_a_search_keeps_who_was_chosen_and_the_time_that_was_typed(
    world: World, dispatcher: Client, erector: Worker, newcomer: Worker
) -> None:
    job = world.job(["erector"])
    path = f"/slots/{job.slots.get().pk}/fill/"
    zone = ZoneInfo(job.site.time_zone)
    later = (job.start + timedelta(days=1)).astimezone(zone)
    typed = {"q": "sandoval", "worker": str(erector.pk), "start": later.strftime("%Y-%m-%dT%H:%M"), "end": ""}
    # With scripts and, as a form, without.
    for shown in (dispatcher.get(path, typed), dispatcher.post(path, {**typed, "look": "1"})):
        assert f'value="{erector.pk}" checked' in shown.text
        assert f'value="{typed["start"]}"' in shown.text
        assert 'value="sandoval"' in shown.text
        assert f"From {instant(later, zone)} until" in shown.text
        assert "Ferreira" not in shown.text
    assert not Assignment.objects.exists()


def test_an_assignment_is_ended_with_a_reason(world: World, dispatcher: Client, erector: Worker) -> None:
    job = world.job(["erector"])
    assignment = world.assign(job.slots.get(), erector).assignment
    assert assignment is not None
    without = dispatcher.post(f"/assignments/{assignment.pk}/end/", {"reason": ""})
    assert without.status_code == 422
    assert "Reason: This field is required." in without.text
    dispatcher.post(f"/assignments/{assignment.pk}/end/", {"reason": "Broken wrist"})
    assert "Mira Sandoval" not in dispatcher.get(f"/jobs/{job.pk}/").text
    again = dispatcher.post(f"/assignments/{assignment.pk}/end/", {"reason": "Broken wrist"})
    assert "has already ended" in again.text
    # Where there is no form to show it beside, the refusal is a page.
    decided = dispatcher.post(f"/assignments/{assignment.pk}/decide-again/")
    assert decided.status_code == 409
    assert "has already ended" in decided.text


def test_a_refused_substitute_leaves_the_crew_as_it_was(
    world: World, dispatcher: Client, erector: Worker, newcomer: Worker
) -> None:
    job = world.job(["erector"])
    assignment = world.assign(job.slots.get(), erector).assignment
    assert assignment is not None
    given = {"worker": newcomer.pk, "reason": "taken_ill"}
    assert "REFUSED" in dispatcher.post(f"/assignments/{assignment.pk}/substitute/", given, follow=True).text
    assert "Mira Sandoval" in dispatcher.get(f"/jobs/{job.pk}/").text


def test_a_permitted_substitute_takes_over(world: World, dispatcher: Client, erector: Worker) -> None:
    job = world.job(["erector"])
    assignment = world.assign(job.slots.get(), erector).assignment
    assert assignment is not None
    other = world.worker("Aurel", "Voskuijlen")
    world.make_erector(other)
    given = {"worker": other.pk, "reason": "taken_ill"}
    assert "PERMITTED" in dispatcher.post(f"/assignments/{assignment.pk}/substitute/", given, follow=True).text
    shown = dispatcher.get(f"/jobs/{job.pk}/").text
    assert "Aurel Voskuijlen" in shown
    assert "Mira Sandoval" not in shown


def plan(world: World, **changes: object) -> dict[str, object]:
    return {
        "site": world.site.pk,
        "crane": world.crane.pk,
        "operation": "dismantling",
        "standard_key": STANDARD,
        "start": "2031-03-03T07:00",
        "end": "2031-03-06T17:00",
        "minutes_per_day": 480,
        "places_erector": 2,
        "places_erection_supervisor": 1,
        "description": "North face first",
        **changes,
    }


def test_a_job_is_planned_with_its_places(world: World, dispatcher: Client) -> None:
    response = dispatcher.post("/jobs/plan/", plan(world))
    job = Job.objects.get()
    assert response.headers["Location"] == f"/jobs/{job.pk}/"
    assert job.start.isoformat() == "2031-03-03T15:00:00+00:00"
    assert sorted(job.slots.values_list("role", flat=True)) == ["erection_supervisor", "erector", "erector"]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"end": "2031-03-01T07:00"}, "The job must end after it starts."),
        ({"places_erector": "", "places_erection_supervisor": 0}, "Ask for at least one person."),
        # The clocks on the site go forward at two in the morning of 9 March 2031.
        ({"start": "2031-03-09T02:30", "end": "2031-03-12T07:00"}, "put forward then and never shows this time"),
        ({"minutes_per_day": 5000}, "less than or equal to 1440"),
    ],
)
def test_a_job_that_cannot_be_planned_keeps_what_was_typed(
    world: World, dispatcher: Client, changes: dict[str, object], said: str
) -> None:
    response = dispatcher.post("/jobs/plan/", plan(world, **changes))
    assert response.status_code == 422
    assert said in response.text
    assert "North face first" in response.text
    assert not Job.objects.exists()


def test_a_forged_request_is_turned_away(world: World, erector: Worker) -> None:
    client = Client(enforce_csrf_checks=True)
    sign_in(client, world.dispatcher())
    slot = world.job(["erector"]).slots.get()
    assert client.post(f"/slots/{slot.pk}/fill/", {"worker": erector.pk}).status_code == 403
    assert not Assignment.objects.exists()
