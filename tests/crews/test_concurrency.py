"""Many connections assign, revoke and correct at once; no assignment outlives its documents."""

from __future__ import annotations

import os
import random
import signal
import threading
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial

import pytest
from django.db import connection, connections, transaction

from registry.crews import services as crews
from registry.crews.models import Assignment, AssignmentState, DecisionDependency
from registry.crews.queries import answer, asking_for_slot, slot_with_job
from registry.database.errors import RecordRefused
from registry.evidence import services as evidence
from registry.evidence.models import EvidenceVersion, HoursEntry
from registry.people.models import Worker
from tests.world import World

ROUNDS = 12
CONNECTIONS = 6

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def world(transactional_db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


def no_assignment_outlives_its_documents() -> None:
    current = dict(EvidenceVersion.objects.values_list("subject", "version"))
    for state in AssignmentState.objects.filter(standing="standing").select_related("assignment", "slot"):
        stale = [
            each.subject
            for each in DecisionDependency.objects.filter(decision=state.decision_id)
            if current.get(each.subject, 0) != each.version
        ]
        assert not stale, f"assignment {state.assignment_id} stands on old evidence of {stale}"
        asking = asking_for_slot(
            slot_with_job(state.slot_id), worker=state.worker_id, start=state.during.lower, end=state.during.upper
        )
        assert answer(asking).answer.permitted


def run_at_once(acts: Sequence[Callable[[], object]]) -> list[BaseException]:
    """Run each act in a thread with a connection of its own; what they raise, except refusals."""
    raised: list[BaseException] = []
    barrier = threading.Barrier(len(acts))

    def run(act: Callable[[], object]) -> None:
        barrier.wait()
        try:
            act()
        except RecordRefused:
            pass  # a slot taken, a person elsewhere: what the guard is for
        except BaseException as error:
            raised.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    return raised


def test_assigning_revoking_and_correcting_at_once(world: World) -> None:
    world.assessors_account()
    people = [world.worker(name, "Sandoval") for name in ("Mira", "Rafe", "Juno")]
    for each in people:
        world.make_erector(each, days=20)
    jobs = [world.job(["erector", "erector"], starts_in=3 + 10 * number) for number in range(3)]
    slots = [slot_with_job(slot.pk) for job in jobs for slot in job.slots.all()]

    def assigner(seed: int) -> Callable[[], None]:
        choice = random.Random(seed)

        def act() -> None:
            for _ in range(ROUNDS):
                try:
                    world.assign(choice.choice(slots), choice.choice(people))
                except RecordRefused:
                    continue

        return act

    def changer(seed: int) -> Callable[[], None]:
        choice = random.Random(seed)

        def act() -> None:
            for _ in range(ROUNDS):
                worker = choice.choice(people)
                now = datetime.now(UTC)
                kind = choice.randrange(3)
                try:
                    if kind == 0:
                        outcome = choice.choice(["pass", "not_yet_competent"])
                        world.assess(worker, "erector", outcome=outcome, at=now - timedelta(minutes=1))
                    elif kind == 1:
                        entry = HoursEntry.objects.current().filter(worker=worker).order_by("?").first()
                        if entry is not None:
                            evidence.withdraw(entry, recorded_at=now, recorded_by=None)
                    else:
                        world.instruct(world.assessor, "first_aid", now)
                except RecordRefused:
                    continue

        return act

    acts = [assigner(number) for number in range(CONNECTIONS)] + [changer(100 + number) for number in range(3)]
    assert run_at_once(acts) == []
    no_assignment_outlives_its_documents()
    assert Assignment.objects.exists()


def test_two_dispatchers_and_one_slot(world: World) -> None:
    people = [world.worker(name, "Sandoval") for name in ("Mira", "Rafe")]
    for each in people:
        world.make_erector(each)
    slot = slot_with_job(world.job(["erector"]).slots.get().pk)
    assert run_at_once([partial(world.assign, slot, each) for each in people]) == []
    assert AssignmentState.objects.filter(slot=slot, standing="standing").count() == 1


def test_a_change_between_the_check_and_the_assignment(world: World) -> None:
    """The change waits for the assignment's transaction and then holds what it finds."""
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    slot = slot_with_job(world.job(["erector"]).slots.get().pk)
    in_the_slot, change_begun = threading.Event(), threading.Event()

    def assigning() -> None:
        with transaction.atomic():
            assert world.assign(slot, erector).permitted
            in_the_slot.set()
            change_begun.wait(10)

    def changing() -> None:
        in_the_slot.wait(10)
        threading.Timer(0.5, change_begun.set).start()
        world.assess(erector, "erector", outcome="not_yet_competent", at=world.now)

    assert run_at_once([assigning, changing]) == []
    assert AssignmentState.objects.get().standing == "held"


@pytest.mark.parametrize("level", ["REPEATABLE READ", "SERIALIZABLE"])
def test_an_older_snapshot_neither_assigns_nor_changes_evidence(world: World, level: str) -> None:
    """It would not see what another connection committed meanwhile."""
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    slot = slot_with_job(world.job(["erector"]).slots.get().pk)

    def under(level: str, act: Callable[[], object]) -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"SET TRANSACTION ISOLATION LEVEL {level}")
            act()

    with pytest.raises(RecordRefused, match="read-committed"):
        under(level, lambda: world.assign(slot, erector))
    with pytest.raises(RecordRefused, match="read-committed"):
        under(level, lambda: world.instruct(erector, "first_aid", world.now))
    assert not Assignment.objects.exists()


def test_an_assignment_does_not_wait_for_the_end_of_a_long_import(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    slot = slot_with_job(world.job(["erector"]).slots.get().pk)
    importing, refused = threading.Event(), threading.Event()

    def impatient() -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL lock_timeout = '200ms'")

    monkeypatch.setattr(crews, "_wait_no_longer_than_people_do", impatient)

    def long_import() -> None:
        with transaction.atomic():
            world.instruct(erector, "first_aid", world.now)
            importing.set()
            assert refused.wait(30)

    def assigning() -> None:
        assert importing.wait(30)
        with pytest.raises(RecordRefused, match="being changed right now"):
            world.assign(slot, erector)
        refused.set()

    assert run_at_once([long_import, assigning]) == []


def killed_when(ready: Callable[[], object]) -> None:
    """Run ``ready`` in a process of its own inside a transaction, and kill -9 it before the commit."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:  # pragma: no cover
        try:
            # The parent's connections must not be closed from here, only forgotten.
            for alias in connections:
                connections[alias].connection = None
            with transaction.atomic():
                ready()
                os.write(writer, b"ready")
                signal.pause()
        finally:
            os._exit(1)
    try:
        os.close(writer)
        assert os.read(reader, 5) == b"ready"
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(reader)


def test_a_process_killed_while_it_assigns_leaves_nothing_behind(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    slot = slot_with_job(world.job(["erector"]).slots.get().pk)
    connection.close()
    killed_when(lambda: world.assign(slot, erector))
    assert not Assignment.objects.exists()
    assert not AssignmentState.objects.exists()
    # The locks are gone with it.
    assert world.assign(slot, erector).permitted
    no_assignment_outlives_its_documents()


def test_a_process_killed_while_it_revokes_leaves_the_assignment_standing(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    slot = slot_with_job(world.job(["erector"]).slots.get().pk)
    assert world.assign(slot, erector).permitted
    connection.close()
    killed_when(lambda: world.assess(erector, "erector", outcome="not_yet_competent", at=world.now))
    assert AssignmentState.objects.get().standing == "standing"
    no_assignment_outlives_its_documents()


def test_hours_imported_by_a_killed_process_are_all_gone(world: World) -> None:
    worker: Worker = world.worker("Mira", "Sandoval")
    connection.close()
    killed_when(lambda: world.hours(worker, days=5))
    assert not HoursEntry.objects.exists()
    world.hours(worker, days=5)
    assert HoursEntry.objects.count() == 5
