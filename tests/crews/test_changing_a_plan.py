"""A plan that is changed, called off, or made twice."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import transaction

from registry.crews import services as crews
from registry.crews.models import AssignmentState, Job
from registry.crews.queries import current_jobs, slot_with_job
from registry.database.errors import RecordRefused, refusals
from registry.evidence.services import stand_down
from registry.people.models import Worker
from tests.crews.test_concurrency import run_at_once
from tests.world import World


def plan(job: Job, **given: Any) -> dict[str, Any]:
    """What a form would send to plan the job as it is, but for what is given."""
    return {
        "site": job.site,
        "crane": job.crane,
        "operation": job.operation,
        "standard_key": job.standard_key,
        "start": job.start,
        "end": job.end,
        "roles": [slot.role for slot in job.slots.all()],
        "recorded_by": None,
        **given,
    }


@pytest.fixture
def crew(world: World) -> list[Worker]:
    people = [world.worker("Mira", "Sandoval"), world.worker("Rafe", "Osei")]
    for each in people:
        world.make_erector(each)
    return people


def test_the_people_of_a_changed_plan_are_put_into_its_places_again(world: World, crew: list[Worker]) -> None:
    job = world.job(["erector", "erector"])
    for slot, worker in zip(job.slots.order_by("id"), crew, strict=True):
        world.assign(slot, worker)
    later = job.end + timedelta(days=1)
    changed = crews.change_plan(job=job, recorded_at=world.now, **plan(job, end=later, roles=["erector"]))
    assert [(each.worker, each.end) for each in changed.standing] == [(crew[0], later)]
    assert [(state.worker, why) for state, why in changed.left_out] == [
        (crew[1], "The new plan has no such place at that time.")
    ]
    assert list(current_jobs()) == [changed.job]
    assert set(AssignmentState.objects.filter(job=job).values_list("standing", flat=True)) == {"ended"}


def test_who_falls_short_for_the_new_plan_is_named_and_the_plan_stands(world: World, crew: list[Worker]) -> None:
    job = world.job(["erector"])
    world.assign(job.slots.get(), crew[0])
    after_the_certificate = {"start": job.start + timedelta(days=800), "end": job.end + timedelta(days=800)}
    changed = crews.change_plan(job=job, recorded_at=world.now, **plan(job, **after_the_certificate))
    assert changed.standing == []
    assert [why for _state, why in changed.left_out] == ["The documents fall short; see the refused attempts."]
    assert changed.job.slots.get().refusals.count() == 1


def test_what_was_worked_stays_in_the_place_of_who_falls_short_from_now_on(world: World, crew: list[Worker]) -> None:
    job = world.job(["erector"], starts_in=-1)
    world.assign(job.slots.get(), crew[0])
    stand_down(worker=crew[0], start=world.now, reason="unhooked", recorded_at=world.now, recorded_by=None)
    changed = crews.change_plan(job=job, recorded_at=world.now, **plan(job, end=job.end + timedelta(hours=5)))
    assert [state.worker for state, _why in changed.left_out] == [crew[0]]
    assert changed.standing == []
    kept = AssignmentState.objects.get(job=changed.job)
    assert (kept.worker, kept.during.lower, kept.during.upper) == (crew[0], job.start, world.now)


@pytest.mark.django_db(transaction=True)
def test_whoever_is_put_onto_a_plan_while_it_is_changed_is_taken_along(transactional_db: None) -> None:
    world = World(datetime.now(UTC).replace(second=0, microsecond=0))
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    job = world.job(["erector"])
    slot = slot_with_job(job.slots.get().pk)
    in_the_slot, change_begun = threading.Event(), threading.Event()
    changed: list[crews.Replanned] = []

    def assigning() -> None:
        with transaction.atomic():
            assert world.assign(slot, erector).permitted
            in_the_slot.set()
            change_begun.wait(10)

    def changing() -> None:
        in_the_slot.wait(10)
        threading.Timer(0.5, change_begun.set).start()
        later = job.end + timedelta(hours=1)
        changed.append(crews.change_plan(job=job, recorded_at=world.now, **plan(job, end=later)))

    assert run_at_once([assigning, changing]) == []
    assert [each.worker for each in changed[0].standing] == [erector]


def test_a_plan_is_changed_or_called_off_once(world: World) -> None:
    job = world.job(["erector"])
    crews.call_off(job=job, reason="too windy", recorded_at=world.now, recorded_by=None)
    with pytest.raises(RecordRefused, match="changed or withdrawn"):
        crews.call_off(job=job, reason="again", recorded_at=world.now, recorded_by=None)
    with pytest.raises(RecordRefused, match="changed or withdrawn"):
        crews.change_plan(job=job, recorded_at=world.now, **plan(job))
    with pytest.raises(RecordRefused, match="changed or withdrawn"):
        crews.plan_job(
            employer=job.employer, supersedes=Job.objects.get(withdrawn=True), recorded_at=world.now, **plan(job)
        )


def test_the_people_of_a_job_called_off_are_free(world: World, crew: list[Worker]) -> None:
    job = world.job(["erector"])
    world.assign(job.slots.get(), crew[0])
    crews.call_off(job=job, reason="too windy", recorded_at=world.now, recorded_by=None)
    assert list(current_jobs()) == []
    assert world.assign(world.job(["erector"]).slots.get(), crew[0]).permitted


def test_a_job_called_off_while_it_runs_keeps_who_worked_on_it(world: World, crew: list[Worker]) -> None:
    job = world.job(["erector"], starts_in=-1)
    assignment = world.assign(job.slots.get(), crew[0]).assignment
    assert assignment is not None
    crews.call_off(job=job, reason="too windy", recorded_at=world.now, recorded_by=None)
    assignment.state.refresh_from_db()
    assert (assignment.state.standing, assignment.state.during.upper) == ("standing", world.now)


def test_the_same_job_is_not_planned_twice(world: World) -> None:
    job = world.job(["erector"])
    with pytest.raises(RecordRefused, match="planned already. Change that plan"):
        crews.plan_job(employer=job.employer, recorded_at=world.now, **plan(job))
    given = plan(job)
    del given["roles"]
    with pytest.raises(RecordRefused, match="planned already"), refusals(), transaction.atomic():
        Job.objects.create(employer=job.employer, recorded_at=world.now, **given)
    crews.call_off(job=job, reason="too windy", recorded_at=world.now, recorded_by=None)
    assert crews.plan_job(employer=job.employer, recorded_at=world.now, **plan(job)).pk
