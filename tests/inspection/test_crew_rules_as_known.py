"""The crew rules by what the register knew at an instant."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from registry.crews import services as crews
from registry.crews.models import Job
from registry.crews.queries import crew_of
from registry.engine.crew import CrewFinding
from registry.evidence import services as evidence
from registry.inspection.crew_as_known import crew_as_known
from registry.inspection.crew_on_record import crew_on_record
from registry.inspection.crew_rules_as_known import crew_rules_as_known
from registry.people import services as people
from registry.people.models import Worker
from tests.world import World

SOON = timedelta(minutes=5)


@pytest.fixture
def erector(world: World) -> Worker:
    erector = world.worker("Ana", "Castell")
    world.make_erector(erector)
    return erector


@pytest.fixture
def job(world: World, erector: Worker) -> Job:
    """A place for an erector, filled now, and one for a rigger, open."""
    job = world.job(["erector", "rigger"])
    assert world.assign(job.slots.get(role="erector"), erector).permitted
    return job


def known_rules(job: Job, known_at: datetime) -> tuple[CrewFinding, ...]:
    return crew_rules_as_known(crew_on_record(job.pk), known_at=known_at)


def of(rule: str, findings: tuple[CrewFinding, ...]) -> list[bool]:
    return [each.met for each in findings if each.rule == rule]


def test_now_they_are_what_the_page_of_the_job_says(world: World, job: Job) -> None:
    assert known_rules(job, known_at=world.now) == crew_of(job).findings


def test_so_they_are_with_a_second_job_a_trainee_and_somebody_who_left(world: World, job: Job, erector: Worker) -> None:
    assignment = erector.assignments.get()
    crews.end_assignment(
        assignment=assignment,
        ends_at=job.start + timedelta(days=2),
        reason="wanted elsewhere",
        recorded_at=world.now,
        recorded_by=None,
    )
    other = world.job(["erector"], starts_in=6)
    assert world.assign(other.slots.get(), erector).permitted
    for each in (job, other):
        assert known_rules(each, known_at=world.now) == crew_of(each).findings


def test_before_somebody_was_assigned_the_place_was_open(world: World, job: Job) -> None:
    before = known_rules(job, known_at=world.now - timedelta(seconds=1))
    assert of("slot_filled", before) == [False, False]
    assert of("slot_filled", known_rules(job, known_at=world.now)) == [True, False]


def test_a_hold_counts_from_its_recording(world: World, job: Job, erector: Worker) -> None:
    before = world.now
    evidence.stand_down(
        worker=erector, start=before, reason="unclipped at height", recorded_at=before + SOON, recorded_by=None
    )
    held_at = erector.assignments.get().events.get(kind="held").recorded_at
    assert of("slot_filled", known_rules(job, known_at=held_at - timedelta(microseconds=1))) == [True, False]
    assert of("slot_filled", known_rules(job, known_at=held_at)) == [False, False]


def test_a_language_counts_while_it_was_on_record(world: World, job: Job, erector: Worker) -> None:
    assert of("common_language", known_rules(job, known_at=world.now)) == [True]
    evidence.withdraw(erector.languages.get(), recorded_at=world.now + SOON, recorded_by=None)
    people.record_language(worker=erector, language="fr", recorded_at=world.now + 2 * SOON, recorded_by=None)
    assert of("common_language", known_rules(job, known_at=world.now)) == [True]
    assert of("common_language", known_rules(job, known_at=world.now + 3 * SOON)) == [False]


def test_they_stand_beside_each_other_in_the_view_of_the_crew(world: World, job: Job, erector: Worker) -> None:
    view = crew_as_known(job, day_instant=job.start, known_at=world.now - timedelta(days=1), now=world.now)
    assert view.rules_then is not None
    assert view.rules_now is not None
    assert of("slot_filled", view.rules_then.findings) == [False, False]
    assert of("slot_filled", view.rules_now.findings) == [True, False]
    assert view.differs


def test_a_worker_is_not_told_the_rules_of_the_whole_crew(world: World, job: Job, erector: Worker) -> None:
    view = crew_as_known(job, day_instant=job.start, known_at=world.now, now=world.now)
    assert view.seen_by({erector.pk}, whole_crew=False).rules_now is None
    assert view.seen_by({erector.pk}, whole_crew=True).rules_now == view.rules_now


def test_before_any_standard_was_known_the_reason_is_told(world: World, job: Job) -> None:
    long_ago = world.now - timedelta(days=365 * 20)
    view = crew_as_known(job, day_instant=job.start, known_at=long_ago, now=world.now)
    assert view.rules_then is not None
    assert not view.rules_then.met
    assert view.rules_then.sentence
