"""Bringing in 100,000 rows of hours against 10,000: prints figures, is no test.

    python3 manage.py bench import_100000

Aim: memory that does not grow with the file. Each import runs in a process of
its own, so that its peak is its own; ``again`` brings the same file in a second
time. ``shuffled`` is the worst order: every batch touches every day.
"""

from __future__ import annotations

import csv
import multiprocessing
import os
import random
import resource
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from multiprocessing.connection import Connection
from pathlib import Path

import openpyxl
from django.conf import settings
from django.db import connections
from django.test.utils import (
    setup_databases,
    setup_test_environment,
    teardown_databases,
    teardown_test_environment,
)

from registry.equipment.services import register_crane, register_maker, register_model, register_site
from registry.evidence.importing import ImportOptions, import_file
from registry.evidence.services import attach_document
from registry.people.models import Employer
from registry.people.services import register_employer, register_worker

SMALL, LARGE = 10_000, int(os.environ.get("ROWS", "100000"))
WORKERS = 200
HEADER = ("Worker", "Model", "Serial number", "Site", "Date", "Start", "End", "Operation", "Countersigner", "Signed on")
NOW = datetime.now(UTC)


def main() -> None:
    """Build a database, bring the files in, each for people of its own, print, drop the database again."""
    settings.DEBUG = False
    setup_test_environment()
    created = setup_databases(verbosity=0, interactive=False)
    try:
        with connections["owner"].cursor() as cursor:
            cursor.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
        equipment()
        for sort in ("csv", "xlsx", "shuffled csv"):
            peaks = [measure(sort, rows) for rows in (SMALL, LARGE)]
            print(f"{sort}: {LARGE:,} rows take {peaks[1] / peaks[0]:.2f} times the memory of {SMALL:,}", flush=True)
    finally:
        connections.close_all()
        teardown_databases(created, verbosity=0)
        teardown_test_environment()


def measure(sort: str, rows: int) -> int:
    """Seconds and peak memory of one import; the peak is returned."""
    employer, workers = people(f"{sort} {rows}")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"hours.{sort[-4:].strip()}"
        write(file, table(workers, rows, shuffled=sort.startswith("shuffled")))
        seconds, processor, peak, new = in_a_process(file, employer)
        again, _, _, new_again = in_a_process(file, employer)
    assert (new, new_again) == (rows, 0)
    speed = f"{seconds:.1f} s ({processor:.1f} s of processor time here), {rows / seconds:,.0f} rows/s"
    print(f"{sort}, {rows:,} rows: {speed}, peak {peak / 1024:,.0f} MiB; again {again:.1f} s", flush=True)
    return peak


def in_a_process(file: Path, employer: Employer) -> tuple[float, float, int, int]:
    """Seconds, processor seconds, peak memory in KiB and new rows of an import in a process of its own."""
    connections.close_all()
    here, there = multiprocessing.Pipe()
    # A fork keeps the test database's settings; the peak begins with what is loaded already.
    process = multiprocessing.get_context("fork").Process(target=bring_in, args=(file, employer, there))
    process.start()
    there.close()
    figures: tuple[float, float, int, int] = here.recv()
    process.join()
    return figures


def bring_in(file: Path, employer: Employer, answer: Connection) -> None:
    """Import the file and send the figures."""
    began = time.perf_counter()
    scan = attach_document(
        name="sheets.pdf", media_type="application/pdf", content=b"%PDF-1.7", recorded_at=NOW, recorded_by=None
    )
    options = ImportOptions(document=scan)
    report = import_file("hours", file, employer=employer, recorded_at=NOW, recorded_by=None, options=options)
    assert not report.refused, report.problems[:3]
    seconds = time.perf_counter() - began
    connections.close_all()
    used = resource.getrusage(resource.RUSAGE_SELF)
    answer.send((seconds, used.ru_utime + used.ru_stime, used.ru_maxrss, report.new))


def equipment() -> None:
    """What the rows name besides people."""
    maker = register_maker(name="Orlo", recorded_at=NOW)
    model = register_model(maker=maker, designation="T 120", crane_class="hammerhead", recorded_at=NOW)
    register_crane(model=model, serial_number="S-1", recorded_at=NOW)
    register_site(name="Harbour Yard", time_zone="America/Denver", jurisdiction="US", recorded_at=NOW)


def people(name: str) -> tuple[Employer, list[str]]:
    """An employer of that name, and the numbers of people who work for it."""
    workers = [
        register_worker(
            given_name=f"Given{number}",
            family_name=name,
            date_of_birth=date(1980, 1, 1),
            recorded_at=NOW,
            recorded_by=None,
        )
        for number in range(WORKERS)
    ]
    employer = register_employer(name=name, jurisdiction="US", recorded_at=NOW)
    return employer, [each.number for each in workers]


def table(workers: list[str], rows: int, *, shuffled: bool) -> Iterator[tuple[str, ...]]:
    """Days of eight hours, day by day, the latest last; the next worker signs on the day after."""
    places = list(range(rows))
    if shuffled:
        random.Random(1).shuffle(places)
    first = NOW.date() - timedelta(days=rows // len(workers) + 3)
    for place in places:
        days, index = divmod(place, len(workers))
        day = first + timedelta(days=days)
        signed = day + timedelta(days=1)
        signer = workers[(index + 1) % len(workers)]
        yield (
            *(workers[index], "Orlo T 120", "S-1", "Harbour Yard", day.isoformat(), "07:00", "15:00"),
            *("erection", signer, signed.isoformat()),
        )


def write(file: Path, rows: Iterator[tuple[str, ...]]) -> None:
    """Write the table as the file's name says."""
    if file.suffix == ".xlsx":
        book = openpyxl.Workbook(write_only=True)
        sheet = book.create_sheet("Hours")
        sheet.append(HEADER)
        for row in rows:
            sheet.append(row)
        book.save(file)
        return
    with file.open("w", encoding="utf-8", newline="") as written:
        written_rows = csv.writer(written)
        written_rows.writerow(HEADER)
        written_rows.writerows(rows)
