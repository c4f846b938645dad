"""What the log costs those who write records: prints figures, is no test.

    python3 manage.py bench log_append

Aim: with the log a record takes less than 1.3 times as long. Without the log
means that the owner has switched its triggers off, which nobody else can.
Rounds with and without it alternate, so that a busy machine slows both.
"""

from __future__ import annotations

import os
import statistics
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.db import connections
from django.test.utils import setup_databases, setup_test_environment, teardown_databases, teardown_test_environment

from registry.evidence import services as evidence
from registry.people.models import Worker
from tests.world import World

ROUNDS = int(os.environ.get("ROUNDS", "8"))
SINGLE = 60
"""Entries a round through ``record_hours``, one at a time, each countersigned."""
BULK = 2_000
WRITERS = 8
TABLES = ("evidence_hoursentry", "evidence_countersignature")


def main() -> None:
    """Build the database, measure, print, drop it again."""
    settings.DEBUG = False
    setup_test_environment()
    created = setup_databases(verbosity=0, interactive=False)
    try:
        measure()
    finally:
        connections.close_all()
        teardown_databases(created, verbosity=0)
        teardown_test_environment()


def measure() -> None:
    """Alternate rounds with and without the log."""
    with connections["owner"].cursor() as cursor:
        cursor.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
    world = World(datetime.now(UTC).replace(second=0, microsecond=0))
    writing = Writing(world)
    for name, one_round, count in (
        ("record_hours, one at a time", writing.singly, SINGLE),
        ("record_hours_in_bulk", writing.in_bulk, BULK),
        (f"{WRITERS} writers at once", writing.at_once, SINGLE * WRITERS),
    ):
        without, with_log = alternate(one_round)
        ratio = with_log / without
        print(
            f"{name}: {without / count * 1000:.3f} ms an entry without the log, {with_log / count * 1000:.3f} with it; "
            f"ratio {ratio:.2f} (aim 1.3); {count / without:.0f} and {count / with_log:.0f} entries a second"
        )


def alternate(one_round: Callable[[], None]) -> tuple[float, float]:
    """Median seconds of a round without and with the log."""
    seconds: dict[bool, list[float]] = {False: [], True: []}
    one_round()
    for _ in range(ROUNDS):
        for logged in (False, True):
            switch(on=logged)
            began = time.perf_counter()
            one_round()
            seconds[logged].append(time.perf_counter() - began)
    return statistics.median(seconds[False]), statistics.median(seconds[True])


def switch(*, on: bool) -> None:
    """Let the tables be logged or not."""
    with connections["owner"].cursor() as cursor:
        for table in TABLES:
            cursor.execute(f"ALTER TABLE {table} {'ENABLE' if on else 'DISABLE'} TRIGGER ledger_append")


class Writing:
    """Rounds of hours; no two on the same day of a worker."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.workers = [world.worker(f"Given{number}", "Writer") for number in range(WRITERS)]
        self.days = 0

    def rows(self, worker: Worker, number: int) -> list[evidence.NewHours]:
        """So many days of work."""
        made = []
        for _ in range(number):
            self.days += 1
            start = self.world.now.replace(hour=15, minute=0) - timedelta(days=20 + self.days % 800)
            start += timedelta(minutes=self.days // 800 % 5 * 60)
            made.append(
                evidence.NewHours(
                    worker=worker,
                    model=self.world.model,
                    operation="dismantling",
                    start=start,
                    end=start + timedelta(minutes=15),
                    employer=self.world.employer,
                    site=self.world.site,
                    crane=self.world.crane,
                    countersigner=self.world.assessor,
                    countersigned_at=start + timedelta(hours=9),
                )
            )
        return made

    def singly(self) -> None:
        """One transaction each."""
        self.write(self.workers[0])

    def write(self, worker: Worker) -> None:
        """A round of one writer."""
        for new in self.rows(worker, SINGLE):
            evidence.record_hours(new=new, recorded_at=self.world.now, recorded_by=None)

    def in_bulk(self) -> None:
        """All in one transaction."""
        rows = [row for each in self.workers for row in self.rows(each, BULK // WRITERS)]
        evidence.record_hours_in_bulk(rows=rows, recorded_at=self.world.now, recorded_by=None)

    def at_once(self) -> None:
        """Each writer for a worker of its own."""
        threads = [threading.Thread(target=self._apart, args=(each,)) for each in self.workers]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

    def _apart(self, worker: Worker) -> None:
        try:
            self.write(worker)
        finally:
            connections.close_all()
