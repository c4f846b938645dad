"""Nobody is put into a position, refused one or taken out of it in another's name: tried as the application's role."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import DatabaseError, connections, transaction

from registry.crews import services as crews
from registry.crews.models import Assignment, AssignmentEvent, Decision, Job, Refusal, Slot
from registry.crews.queries import asking_for_slot, slot_with_job
from registry.database.errors import constraint_of
from registry.people import services as people
from registry.people.closing import close_account
from registry.people.models import Account, Worker
from tests.world import World


@pytest.fixture
def dispatcher(world: World) -> Account:
    return world.dispatcher()


@pytest.fixture
def colleague(world: World) -> Account:
    return people.open_account(username="colleague", password=None, kind="employer", employer=world.employer)


@pytest.fixture
def stranger(world: World) -> Account:
    other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    return people.open_account(username="stranger", password=None, kind="employer", employer=other)


@pytest.fixture
def slot(world: World) -> Slot:
    return slot_with_job(world.job(["erector"]).slots.get().pk)


@pytest.fixture
def erector(world: World) -> Worker:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    return erector


def decided(world: World, slot: Slot, worker: Worker, by: Account | None) -> Decision:
    asking = asking_for_slot(slot, worker=worker.pk, start=slot.job.start, end=slot.job.end)
    return crews.check(asking=asking, decided_at=world.now, decided_by=by)


def assigned(world: World, slot: Slot, worker: Worker, decision: Decision, by: Account | None) -> Assignment:
    return Assignment.objects.create(
        slot=slot,
        worker=worker,
        start=slot.job.start,
        end=slot.job.end,
        decision=decision,
        assigned_at=world.now,
        assigned_by=by,
    )


def rule_of(act: Callable[[], object]) -> str | None:
    with pytest.raises(DatabaseError) as refused, transaction.atomic():
        act()
    return constraint_of(refused.value)


def test_a_decision_serves_whoever_asked_for_it(
    world: World, slot: Slot, erector: Worker, dispatcher: Account, colleague: Account, stranger: Account
) -> None:
    decision = decided(world, slot, erector, dispatcher)
    for by in (colleague, stranger, None):
        rule = rule_of(partial(assigned, world, slot, erector, decision, by))
        assert rule == "a_decision_serves_whoever_asked_for_it"
    foreign = decided(world, slot, erector, stranger)
    rule = "a_crew_is_its_employers_to_change"
    assert rule_of(lambda: assigned(world, slot, erector, foreign, stranger)) == rule
    assert assigned(world, slot, erector, decision, dispatcher).assigned_by == dispatcher


def test_a_closed_account_assigns_nobody(
    world: World, slot: Slot, erector: Worker, dispatcher: Account, colleague: Account
) -> None:
    decision = decided(world, slot, erector, colleague)
    close_account(account=colleague, closed_at=world.now, closed_by=dispatcher, reason="Has left")
    rule = "a_crew_is_its_employers_to_change"
    assert rule_of(lambda: assigned(world, slot, erector, decision, colleague)) == rule


def test_a_decision_is_not_recorded_again_to_serve_again(
    world: World, slot: Slot, erector: Worker, dispatcher: Account
) -> None:
    decision = decided(world, slot, erector, dispatcher)
    made = assigned(world, slot, erector, decision, dispatcher)
    crews.end_assignment(
        assignment=made, ends_at=slot.job.start, reason="x", recorded_at=world.now, recorded_by=dispatcher
    )
    again = Decision.objects.get(pk=decision.pk)
    again.pk = None
    assert rule_of(lambda: again.save(force_insert=True)) == "a_decision_is_recorded_once"


def test_a_refusal_is_of_that_position_and_of_whoever_asked(
    world: World, slot: Slot, erector: Worker, dispatcher: Account, colleague: Account
) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    refused, permitted = decided(world, slot, newcomer, dispatcher), decided(world, slot, erector, dispatcher)
    other = world.job(["rigger"], starts_in=30).slots.get()

    def record(decision: Decision, place: Slot, by: Account) -> Refusal:
        return Refusal.objects.create(slot=place, decision=decision, refused_at=world.now, refused_to=by)

    assert rule_of(lambda: record(refused, slot, colleague)) == "a_decision_serves_whoever_asked_for_it"
    assert rule_of(lambda: record(permitted, slot, dispatcher)) == "decision_answers_this_question"
    assert rule_of(lambda: record(refused, other, dispatcher)) == "decision_answers_this_question"
    assert record(refused, slot, dispatcher).pk


def test_an_assignment_ends_and_is_confirmed_in_ones_own_name(
    world: World, slot: Slot, erector: Worker, dispatcher: Account, stranger: Account
) -> None:
    made = assigned(world, slot, erector, decided(world, slot, erector, dispatcher), dispatcher)

    def happens(kind: str, by: Account | None, decision: Decision | None = None) -> AssignmentEvent:
        return AssignmentEvent.objects.create(
            assignment=made,
            kind=kind,
            decision=decision,
            happened_at=slot.job.start,
            reason="x",
            recorded_at=world.now,
            recorded_by=by,
        )

    rule = "a_crew_is_its_employers_to_change"
    for by in (None, stranger):
        assert rule_of(partial(happens, "ended", by)) == rule
    for by in (None, dispatcher):
        assert rule_of(partial(happens, "held", by)) == rule, "triggers put an assignment on hold"
    again = decided(world, slot, erector, dispatcher)
    assert rule_of(lambda: happens("confirmed", stranger, again)) == "a_decision_serves_whoever_asked_for_it"
    assert happens("confirmed", dispatcher, again).pk
    assert happens("ended", dispatcher).pk


def test_a_job_is_planned_and_changed_by_its_employer(
    world: World, dispatcher: Account, stranger: Account, slot: Slot
) -> None:
    def plan(by: Account | None, **given: Any) -> Job:
        job = slot.job
        columns = {each.attname: getattr(job, each.attname) for each in Job._meta.concrete_fields if each.name != "id"}
        columns |= {"recorded_by_id": None if by is None else by.pk, "start": job.start + timedelta(minutes=7)}
        return Job.objects.create(**columns | given)

    rule = "a_job_is_its_employers_to_plan"
    assert rule_of(lambda: plan(stranger)) == rule
    first = plan(dispatcher)
    taken_over = {"supersedes_id": first.pk, "employer_id": stranger.employer_id}
    assert rule_of(lambda: plan(stranger, **taken_over)) == rule
    assert rule_of(lambda: plan(stranger, supersedes_id=first.pk)) == rule
    assert rule_of(lambda: plan(None, supersedes_id=first.pk)) == rule


class TestAtWork:
    """With the tolerance of work, which tests otherwise lift; the owner's change is taken back."""

    pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

    @pytest.fixture
    def world(self, transactional_db: None) -> Iterator[World]:
        yield World(datetime.now(UTC).replace(second=0, microsecond=0))
        self.tolerate("NULL")

    def tolerate(self, how_much: str) -> None:
        with connections["owner"].cursor() as cursor:
            cursor.execute(f"UPDATE database_policy SET recorded_at_tolerance = {how_much}")

    def test_an_old_decision_serves_nobody(
        self, world: World, slot: Slot, erector: Worker, dispatcher: Account
    ) -> None:
        world.now -= timedelta(minutes=11)
        old = decided(world, slot, erector, dispatcher)
        world.now += timedelta(minutes=11)
        self.tolerate("interval '10 minutes'")
        assert rule_of(lambda: assigned(world, slot, erector, old, dispatcher)) == "a_decision_serves_while_it_is_fresh"
        fresh = decided(world, slot, erector, dispatcher)
        assert assigned(world, slot, erector, fresh, dispatcher).pk
