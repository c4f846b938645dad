"""Verifying a log of a million records on one core, and proofs from it: prints figures, is no test.

    taskset -c 0 python3 manage.py bench log_verify

Aims: a million events in under 60 s with memory that does not grow with them.
``EVENTS`` sets how many; a smaller log is verified before, for comparison.
"""

from __future__ import annotations

import json
import os
import random
import resource
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings
from django.db import connections
from django.test.utils import setup_databases, setup_test_environment, teardown_databases, teardown_test_environment

from registry.ledger import queries
from registry.ledger.mirror import Mirror
from registry.ledger.models import Checkpoint, Entry
from registry.ledger.notes import Signer
from registry.ledger.services import make_checkpoint
from registry.ledger.verification import verify
from tests.benchmarks.assign_with_a_million_hours import HOURS, PEOPLE
from tests.world import World

EVENTS = int(os.environ.get("EVENTS", "1000000"))
FEWER = EVENTS // 10
EACH = 500
BATCH = 50_000
PROOFS = 200


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
    """Grow the log to a tenth and to the whole, and verify each."""
    with connections["owner"].cursor() as cursor:
        cursor.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
    world = World(datetime.now(UTC).replace(second=0, microsecond=0))
    signer = Signer("registry.example/log", Ed25519PrivateKey.generate())
    with tempfile.TemporaryDirectory() as folder:
        for number, events in enumerate((FEWER, EVENTS)):
            seconds = timed(partial(fill, world, events))
            print(f"grown to {events} events in {seconds:.0f} s")
            # Signed before anything the filling claims to be from, so that none of it is back-dated.
            at = world.now - timedelta(days=5000) + timedelta(hours=number)
            print(f"placed and signed in {timed(partial(make_checkpoint, at=at, signers=[signer])):.0f} s")
            mirror = Mirror(Path(folder, str(events)))
            mirror.trust(signer.verifier_key)
            before = time.process_time()
            whole = timed(partial(in_order, mirror, resume=False))
            own = time.process_time() - before
            again = timed(partial(in_order, mirror, resume=True))
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(f"verified in {whole:.1f} s, of which {own:.1f} s this process's own; resumed in {again:.1f} s")
            print(f"peak memory of the process {peak:.0f} MiB")
        proofs()


def in_order(mirror: Mirror, *, resume: bool) -> None:
    """Verify; anything found would make the figure worthless."""
    report = verify(mirror=mirror, resume=resume)
    if not report.in_order:
        raise RuntimeError(str(report.findings[:3]))


def proofs() -> None:
    """Time and size of proofs at random places."""
    newest = queries.latest_checkpoint()
    earlier = Checkpoint.objects.order_by("size")[0]
    assert newest is not None
    places = random.Random(1).sample(range(newest.size), PROOFS)
    records = Entry.objects.filter(place__index__in=places).values_list("kind", "record")
    milliseconds, sizes = [], []
    for kind, record in records:
        began = time.perf_counter()
        proof = queries.inclusion_proof(kind, record, checkpoint=newest)
        milliseconds.append((time.perf_counter() - began) * 1000)
        sizes.append(len(proof.path) * 32)
    late = statistics.quantiles(milliseconds, n=20)[-1]
    median = statistics.median(milliseconds)
    written = len(json.dumps(proof.as_json()))
    print(f"inclusion at {newest.size} leaves: median {median:.1f} ms, 95th percentile {late:.1f} ms")
    print(f"           path {max(sizes)} bytes at most, {written} bytes as JSON with leaf and checkpoint")
    began = time.perf_counter()
    growth = queries.consistency_proof(earlier, newest)
    took = (time.perf_counter() - began) * 1000
    print(f"consistency from {earlier.size} to {newest.size} leaves: {took:.1f} ms, path {len(growth.path) * 32} bytes")


def timed(act: Callable[[], object]) -> float:
    """Seconds."""
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


def fill(world: World, events: int) -> None:
    """Insert hours in bulk until the log holds about so many entries."""
    with connections["owner"].cursor() as cursor:
        missing = events - Entry.objects.count()
        while missing > 0:
            workers = max(1, min(missing, BATCH) // EACH)
            cursor.execute(PEOPLE, {"past": world.now - timedelta(days=900), "workers": workers})
            values: dict[str, Any] = {
                "model": world.model.pk,
                "employer": world.employer.pk,
                "site": world.site.pk,
                "crane": world.crane.pk,
                "workers": [each for (each,) in cursor.fetchall()],
                "each": EACH,
                "now": world.now,
            }
            cursor.execute(HOURS, values)
            missing -= workers * (EACH + 1)
        cursor.execute("ANALYZE")
