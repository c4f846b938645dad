"""What records is repeated when another act crossed it: nothing is lost to a deadlock, nothing is done twice."""

from __future__ import annotations

import ast
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import psycopg
import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, OperationalError, connections, transaction
from django.test import Client

from registry.crews.models import AssignmentState
from registry.database import data_folder, repeating
from registry.database.cluster import SUPERUSER
from registry.database.errors import RecordRefused, sqlstate_of
from registry.database.repeating import DEADLOCK, LOCK_NOT_AVAILABLE, SERIALIZATION_FAILURE, TRIES, repeated
from registry.evidence import services as evidence
from registry.evidence.models import Certification, CertificationStatus, StandDown
from registry.people.models import Worker
from tests.crews.test_concurrency import no_assignment_outlives_its_documents, run_at_once
from tests.world import World, sign_in

ROUNDS = 12

# What puts rows into the database: in one of these, or in a private function of the same module that holds one.
RECORDING = {"atomic", "create", "bulk_create", "create_user", "get_or_create", "update_or_create"}
NOT_REPEATED = {
    "registry/evidence/importing/kind.py": "savepoints for the rows of an import, which is repeated as a whole",
    "registry/ledger/verification.py": "reads one snapshot and records nothing",
    "registry/demo/scenario.py": "loads the demonstration into a register of its own",
    "registry/demo/management/commands/load_demo.py": "loads the demonstration into a register of its own",
    "registry/database/management/commands/prepare.py": "migrates, before the register is served",
    "registry/database/backend/base.py": "the connection itself",
}


class Crossed(Exception):
    """What psycopg raises where the database ended one of two acts."""

    def __init__(self, sqlstate: str) -> None:
        super().__init__(sqlstate)
        self.sqlstate = sqlstate


def crossed(sqlstate: str) -> OperationalError:
    error = OperationalError(sqlstate)
    error.__cause__ = Crossed(sqlstate)
    return error


@pytest.fixture(autouse=True)
def _no_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(repeating, "PAUSE", 0)


def failing(times: int, sqlstate: str) -> tuple[Callable[[], int], list[int]]:
    tries: list[int] = []

    def act() -> int:
        tries.append(1)
        if len(tries) <= times:
            raise crossed(sqlstate)
        return len(tries)

    return act, tries


@pytest.mark.parametrize("sqlstate", [DEADLOCK, SERIALIZATION_FAILURE, LOCK_NOT_AVAILABLE])
def test_an_act_that_was_crossed_is_repeated(sqlstate: str) -> None:
    act, _tries = failing(2, sqlstate)
    assert repeated(act) == 3


def test_it_is_repeated_a_bounded_number_of_times_and_then_refused_in_words() -> None:
    act, tries = failing(100, DEADLOCK)
    with pytest.raises(RecordRefused, match="Try again in a moment") as refused:
        repeated(act)
    assert len(tries) == TRIES
    assert refused.value.problems[0].rule == "records_are_not_being_changed"


def test_nobody_waits_for_longer_than_their_patience() -> None:
    act, tries = failing(100, LOCK_NOT_AVAILABLE)
    with pytest.raises(RecordRefused):
        repeated(act, patience=-1)
    assert len(tries) == 1


def test_other_errors_are_raised_as_they_are() -> None:
    act, tries = failing(1, "57014")
    with pytest.raises(OperationalError):
        repeated(act)
    assert len(tries) == 1


@pytest.mark.django_db
def test_nothing_is_repeated_within_an_open_transaction() -> None:
    act, tries = failing(1, DEADLOCK)
    with transaction.atomic(), pytest.raises(OperationalError):
        repeated(act)
    assert len(tries) == 1


# Every act that records


def functions_that_record() -> Iterator[tuple[str, str, bool]]:
    """Module, function and whether it repeats: each public function that records by itself or by a private one."""
    for path in sorted((settings.PROJECT / "registry").rglob("*.py")):
        module = path.relative_to(settings.PROJECT).as_posix()
        if "/migrations/" in module or module in NOT_REPEATED:
            continue
        functions = [each for each in ast.parse(path.read_text()).body if isinstance(each, ast.FunctionDef)]
        recording = {each.name for each in functions if called(each) & RECORDING or saves(each)}
        while more := {each.name for each in functions if called(each) & private(recording)} - recording:
            recording |= more
        for each in functions:
            if each.name in recording and not each.name.startswith("_"):
                yield module, each.name, repeats(each)


def called(function: ast.FunctionDef) -> set[str]:
    calls = [each.func for each in ast.walk(function) if isinstance(each, ast.Call)]
    return {each.attr if isinstance(each, ast.Attribute) else getattr(each, "id", "") for each in calls}


def saves(function: ast.FunctionDef) -> bool:
    """``x.save(force_insert=…)``, ``x.save(update_fields=…)``: a model's, not a picture's."""
    return any(
        isinstance(each, ast.Call)
        and isinstance(each.func, ast.Attribute)
        and each.func.attr == "save"
        and ({key.arg for key in each.keywords} & {"force_insert", "update_fields"} or not (each.args or each.keywords))
        for each in ast.walk(function)
    )


def private(names: set[str]) -> set[str]:
    return {each for each in names if each.startswith("_")}


def repeats(function: ast.FunctionDef) -> bool:
    decorators = {getattr(each, "id", "") for each in function.decorator_list}
    return "repeating" in decorators or bool(called(function) & {"repeated", "_repeated"})


def test_every_act_that_records_repeats() -> None:
    found = list(functions_that_record())
    assert len(found) > 50
    assert [(module, name) for module, name, repeating in found if not repeating] == []


# Deadlocks, forced


@pytest.fixture
def world(transactional_db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


class Crossing:
    """Somebody else's transaction, which locks first what the act locks last, and then what it locked first.

    The act waits for it, and it for the act. PostgreSQL has each of the two look for a deadlock after a while, and ends
    the one that finds it: the act, since the other, as a superuser may, never looks.
    """

    def __init__(self, holds: str, wants: str) -> None:
        self.holds, self.wants = holds, wants
        superuser = {"user": SUPERUSER, "password": data_folder.secret(SUPERUSER)}
        self.other = psycopg.connect(**connections["owner"].get_connection_params() | superuser)
        self.other.execute("SET deadlock_timeout = '1h'")
        self.other.execute(holds)
        self.watching = psycopg.connect(**connections["owner"].get_connection_params(), autocommit=True)
        self.thread = threading.Thread(target=self._cross)
        self.thread.start()

    def _cross(self) -> None:
        pid = self.other.info.backend_pid
        waiting = "SELECT count(*) FROM pg_stat_activity WHERE %s = ANY (pg_blocking_pids(pid))"
        for _attempt in range(3000):
            if self.watching.execute(waiting, [pid]).fetchone() != (0,):
                break
            threading.Event().wait(0.01)
        self.other.execute(self.wants)
        self.other.rollback()

    def over(self) -> None:
        self.thread.join(60)
        self.other.close()
        self.watching.close()


@pytest.fixture
def assigned(world: World) -> Worker:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    assert world.assign(world.job(["erector"]).slots.get(), erector).permitted
    return erector


HOLDS = "SELECT FROM crews_assignmentstate WHERE worker_id = {worker} FOR UPDATE"
WANTS = "SELECT FROM evidence_evidenceversion WHERE subject = 'worker:{worker}' FOR UPDATE"


def by_service(world: World, worker: Worker, folder: Path) -> None:
    evidence.change_certification_status(
        certification=Certification.objects.get(worker=worker),
        status="revoked",
        effective_at=world.now,
        recorded_at=datetime.now(UTC),
        recorded_by=None,
    )
    assert CertificationStatus.objects.get().status == "revoked"


def by_page(world: World, worker: Worker, folder: Path) -> None:
    client = Client()
    sign_in(client, world.dispatcher())
    zone = world.site.time_zone
    start = world.now.astimezone(ZoneInfo(zone))
    given = {"reason": "Dropped a load", "start": f"{start:%Y-%m-%dT%H:%M}", "clock": zone, "occasion": "none"}
    answer = client.post(f"/records/people/{worker.pk}/add/stand-down/", given)
    assert answer.status_code == 302, answer.text
    assert StandDown.objects.count() == 1


def by_command(world: World, worker: Worker, folder: Path) -> None:
    file = folder / "certifications.csv"
    file.write_text(f"worker,scheme,number,issuer,issued\n{worker.number},Rigging,R-7,Norrland Board,2026-01-05\n")
    call_command("import_records", "certifications", str(file), employer=world.employer.name)
    assert Certification.objects.filter(number="R-7").count() == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif("DATABASE_URL" in os.environ, reason="the superuser of a server of one's own is not known")
@pytest.mark.parametrize("act", [by_service, by_page, by_command])
def test_what_tells_against_a_person_is_not_lost_to_a_deadlock(
    world: World,
    assigned: Worker,
    act: Callable[[World, Worker, Path], None],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ended: list[str | None] = []

    def seen(error: DatabaseError) -> str | None:
        ended.append(sqlstate_of(error))
        return ended[-1]

    monkeypatch.setattr(repeating, "sqlstate_of", seen)
    crossing = Crossing(HOLDS.format(worker=assigned.pk), WANTS.format(worker=assigned.pk))
    act(world, assigned, tmp_path)
    crossing.over()
    assert ended == [DEADLOCK]
    assert AssignmentState.objects.get().standing == "held"


@pytest.mark.django_db(transaction=True)
def test_revocations_and_assignments_that_cross_are_all_recorded(world: World) -> None:
    """Each round crosses a revocation with assignments of the same people, in turn and at once."""
    erectors = [world.worker(name, "Sandoval") for name in ("Mira", "Rafe")]
    for each in erectors:
        world.make_erector(each)
    slots = [world.job(["erector"], starts_in=3 + 10 * number).slots.get() for number in range(4)]
    certificates = [Certification.objects.get(worker=each) for each in erectors]
    # Only the registrar reinstates.
    registrar = world.registrar()

    def revoking() -> None:
        for number in range(ROUNDS):
            evidence.change_certification_status(
                certification=certificates[number % 2],
                status=("suspended", "reinstated")[number // 2 % 2],
                effective_at=world.now,
                recorded_at=datetime.now(UTC),
                recorded_by=registrar,
                reason="The board says so",
            )

    def assigning(worker: Worker) -> None:
        for number in range(ROUNDS):
            with suppress(RecordRefused):
                world.assign(slots[number % 4], worker)

    assert run_at_once([revoking, *(partial(assigning, each) for each in erectors)]) == []
    assert CertificationStatus.objects.count() == ROUNDS
    no_assignment_outlives_its_documents()
