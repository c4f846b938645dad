"""Imports of two employers, at once: neither waits for the other, and a tie is broken by beginning again."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import psycopg
import pytest
from django.db import OperationalError, connection, connections

from registry.database.repeating import TRIES
from registry.evidence.apart.tables import FileRefused, Row, Table
from registry.evidence.importing import ImportOptions, ImportReport, import_table
from registry.evidence.importing import importing as module
from registry.evidence.models import HoursEntry
from registry.evidence.services import lock_days_of
from registry.people.models import Employer, Worker
from registry.people.services import employ, register_employer, register_worker
from tests.evidence.importing.conftest import NOW, Yard

pytestmark = pytest.mark.django_db(transaction=True)


@contextmanager
def table(row: dict[str, Any], pause: threading.Event, begun: threading.Event) -> Iterator[Table]:
    """The row, and then nothing more until the pause is over."""

    def rows() -> Iterator[Row]:
        yield Row(2, list(row.values()))
        begun.set()
        pause.wait(60)

    yield Table(Row(1, list(row)), rows(), even=True)


def bring_in(employer: Employer, row: dict[str, Any], pause: threading.Event, begun: threading.Event) -> ImportReport:
    return import_table(
        "hours",
        lambda: table(row, pause, begun),
        employer=employer,
        recorded_at=NOW,
        recorded_by=None,
        options=ImportOptions(),
        dry_run=False,
        name="t.csv",
    )


def unsigned(yard: Yard, **cells: Any) -> dict[str, Any]:
    """A good row that names no signer, who would need a paper."""
    return yard.hours(countersigner=None, **{"countersigned on": None}, **cells)


@pytest.fixture
def no_pause() -> threading.Event:
    over = threading.Event()
    over.set()
    return over


@pytest.fixture
def neighbour(yard: Yard) -> tuple[Employer, Worker]:
    """Another employer with people of its own."""
    other = register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=NOW)
    worker = register_worker(
        given_name="Ida", family_name="Moor", date_of_birth=date(1988, 2, 29), recorded_at=NOW, recorded_by=None
    )
    employ(worker=worker, employer=other, start=date(2020, 1, 1), recorded_at=NOW, recorded_by=None)
    return other, worker


def test_an_import_waits_for_no_other_employers(
    yard: Yard, neighbour: tuple[Employer, Worker], no_pause: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Each row is written as it is read, so that the first import holds all its locks while it pauses.
    monkeypatch.setattr(module, "BATCH", 1)
    pause, begun = threading.Event(), threading.Event()

    def first() -> None:
        try:
            bring_in(yard.employer, unsigned(yard), pause, begun)
        finally:
            connections.close_all()

    other, worker = neighbour
    importing = threading.Thread(target=first)
    importing.start()
    try:
        assert begun.wait(60)
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '2s'")
        row = unsigned(yard, worker=worker.number)
        report = bring_in(other, row, no_pause, threading.Event())
        assert (report.new, report.written) == (1, True)
        # Its own second import waits, and is told so.
        with pytest.raises(FileRefused) as caught:
            bring_in(yard.employer, unsigned(yard), no_pause, threading.Event())
        assert caught.value.rule == "records_are_not_waited_for"
    finally:
        pause.set()
        importing.join()
    assert HoursEntry.objects.count() == 2


def test_hours_of_one_worker_wait_for_each_other(yard: Yard) -> None:
    """The rule behind the lock: two imports at once do not put more onto a day than it holds."""
    with psycopg.connect(**connection.get_connection_params()) as other:
        other.execute("SELECT evidence_lock_days_of(ARRAY[%s]::bigint[])", [yard.erector.pk])
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '100ms'")
        with pytest.raises(OperationalError, match="lock timeout"):
            lock_days_of([yard.signer.pk, yard.erector.pk])
        lock_days_of([yard.signer.pk])


@pytest.mark.parametrize("times", [1, 3, 9])
def test_an_import_that_met_a_deadlock_begins_again(
    yard: Yard, no_pause: threading.Event, monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    met = iter([True] * times)
    real = module._bring_in

    def crossed(*given: Any) -> None:
        real(*given)
        if next(met, False):
            raise OperationalError("deadlock detected") from psycopg.errors.DeadlockDetected()

    monkeypatch.setattr(module, "_bring_in", crossed)
    if times < TRIES:
        report = bring_in(yard.employer, unsigned(yard), no_pause, threading.Event())
        # What the earlier tries had written is really written here; it is not counted twice.
        assert (report.rows, report.new + report.already_there) == (1, 1)
        return
    with pytest.raises(FileRefused) as caught:
        bring_in(yard.employer, unsigned(yard), no_pause, threading.Event())
    assert caught.value.rule == "records_are_not_waited_for"
