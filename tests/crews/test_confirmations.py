"""A held assignment stands again only by everything that an assignment asks."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import transaction

from registry.crews import services as crews
from registry.crews.candidates import candidates_for
from registry.crews.models import Assignment, AssignmentState, Job, Refusal
from registry.crews.queries import slot_with_job
from registry.database.errors import RecordRefused
from registry.evidence.services import correct
from registry.people.models import Employment, Worker
from registry.people.services import employ
from tests.crews.test_concurrency import run_at_once
from tests.world import World


def pair(world: World) -> tuple[Job, Assignment, Worker]:
    """A job with an erector on it, and somebody who may be a trainee there."""
    job = world.job(["erector", "trainee"])
    erector, trainee = world.worker("Mira", "Sandoval"), world.worker("Noor", "Haddad")
    world.make_erector(erector)
    world.make_trainee(trainee)
    standing = world.assign(slot_with_job(job.slots.get(role="erector").pk), erector).assignment
    assert standing is not None
    return job, standing, trainee


def put_beside(world: World, job: Job, erector: Assignment, trainee: Worker) -> Assignment:
    slot = slot_with_job(job.slots.get(role="trainee").pk)
    made = world.assign(slot, trainee, paired_with=erector).assignment
    assert made is not None
    return made


def leaves(world: World, assignment: Assignment) -> None:
    crews.end_assignment(
        assignment=assignment,
        ends_at=assignment.start,
        reason="called away",
        recorded_at=world.now,
        recorded_by=None,
    )


def test_a_trainee_is_not_confirmed_without_the_erector(world: World) -> None:
    job, erector, trainee = pair(world)
    beside = put_beside(world, job, erector, trainee)
    leaves(world, erector)
    assert AssignmentState.objects.get(assignment=beside).standing == "held"
    with pytest.raises(RecordRefused, match="must be paired with an erector"):
        crews.decide_again(assignment=beside, decided_at=world.now, decided_by=None)
    assert AssignmentState.objects.get(assignment=beside).standing == "held"


def test_somebody_no_longer_on_the_books_is_not_confirmed(world: World) -> None:
    job, erector, _ = pair(world)
    employment = Employment.objects.get(worker=erector.worker)
    correct(employment, end=job.start.date() - timedelta(days=1), recorded_at=world.now, recorded_by=None)
    assert AssignmentState.objects.get(assignment=erector).standing == "held"
    with pytest.raises(RecordRefused, match="not on the employer's books"):
        crews.decide_again(assignment=erector, decided_at=world.now, decided_by=None)
    assert AssignmentState.objects.get(assignment=erector).standing == "held"


def test_a_crew_whose_hours_were_recorded_is_decided_again_at_once(world: World) -> None:
    job, erector, trainee = pair(world)
    beside = put_beside(world, job, erector, trainee)
    second = world.worker("Rafe", "Osei")
    world.make_erector(second)
    other = world.assign(slot_with_job(world.job(["erector"]).slots.get().pk), second).assignment
    assert other is not None
    world.hours(erector.worker, days=1, operation="climbing")
    world.instruct(trainee, "crew_tasks_and_hazards", world.now)
    world.assess(second, "erector", outcome="not_yet_competent", at=world.now)
    assert set(AssignmentState.objects.values_list("standing", flat=True)) == {"held"}

    given: dict[str, Any] = {"employer": world.employer, "decided_at": world.now, "decided_by": None}
    only = crews.decide_held_again(job=job, **given)
    assert [each.role for each in only.standing] == ["erector", "trainee"], "the trainee after the erector"
    assert only.held == []
    everywhere = crews.decide_held_again(**given)
    assert everywhere.standing == []
    assert [(state.assignment_id, why) for state, why in everywhere.held] == [
        (other.pk, "The documents fall short; see the refused attempts.")
    ]
    assert Refusal.objects.get().decision.worker == second
    assert {each.assignment_id: each.standing for each in AssignmentState.objects.all()} == {
        erector.pk: "standing",
        beside.pk: "standing",
        other.pk: "held",
    }
    leaves(world, erector)
    alone = crews.decide_held_again(job=job, **given)
    assert [why for _state, why in alone.held] == [
        "A trainee must be paired with an erector who is on this crew the whole time."
    ]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("first", ["erector", "trainee"])
def test_an_erector_who_leaves_while_a_trainee_comes_leaves_nobody_alone(transactional_db: None, first: str) -> None:
    """Whoever is second waits for the other's transaction, and then sees what it did."""
    world = World(datetime.now(UTC).replace(second=0, microsecond=0))
    job, erector, trainee = pair(world)
    done, second_begun = threading.Event(), threading.Event()
    acts = {
        "erector": lambda: leaves(world, erector),
        "trainee": lambda: put_beside(world, job, erector, trainee),
    }
    second = next(each for each in acts if each != first)

    def begins() -> None:
        with transaction.atomic():
            acts[first]()
            done.set()
            second_begun.wait(10)

    def follows() -> None:
        done.wait(10)
        threading.Timer(0.5, second_begun.set).start()
        acts[second]()

    assert run_at_once([begins, follows]) == []
    standing = AssignmentState.objects.filter(standing="standing").values_list("role", flat=True)
    assert list(standing) == []


def test_one_employment_may_follow_upon_another(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    slot = slot_with_job(world.job(["erector"]).slots.get().pk)
    last = slot.job.start.date() + timedelta(days=1)
    recording: dict[str, Any] = {"recorded_at": world.now, "recorded_by": None}
    first = correct(Employment.objects.get(worker=erector), end=last, **recording)
    window: dict[str, Any] = {"start": slot.job.start, "end": slot.job.end}
    assert candidates_for(slot, **window).permitted == []
    employ(worker=erector, employer=world.employer, start=last + timedelta(days=1), **recording)
    assert [each.worker for each in candidates_for(slot, **window).permitted] == [erector]
    assert world.assign(slot, erector).permitted
    correct(first, end=last - timedelta(days=1), **recording)
    assert candidates_for(slot, **window).permitted == [], "a day is missing between the two"
