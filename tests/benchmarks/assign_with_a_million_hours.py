"""Check-and-assign through the API with 1,000,000 hour rows in the database: prints figures, is no test.

    python3 manage.py bench assign_with_a_million_hours

Aims: under 50 ms median, 100 ms at the 95th percentile, on one core; the
number of SQL statements is constant.
"""

from __future__ import annotations

import os
import statistics
import time
from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.db import connection, connections
from django.test.utils import (
    CaptureQueriesContext,
    setup_databases,
    setup_test_environment,
    teardown_databases,
    teardown_test_environment,
)
from rest_framework.test import APIClient

from registry.people.models import Worker
from registry.standards.services import load_standards
from tests.world import World, sign_in

HOUR_ROWS = int(os.environ.get("HOUR_ROWS", "1000000"))
ROWS_PER_WORKER = 500
SUPERVISORS = 20
ATTEMPTS = 110
COUNTED = 10
SLOW_SECONDS = 0.03

FILLED = ("evidence_hoursentry", "evidence_countersignature")
PEOPLE = """
INSERT INTO people_worker (given_name, family_name, name_key, lookalike_keys, date_of_birth, recorded_at)
SELECT 'Given' || n, 'Family' || n, 'family' || n || ' given' || n, ARRAY['family' || n], '1980-01-01', %(past)s
FROM generate_series(1, %(workers)s) n
RETURNING id
"""

# Each worker has ROWS_PER_WORKER days of eight hours up to ten days ago, countersigned on the evening.
HOURS = """
INSERT INTO evidence_hoursentry
    (worker_id, model_id, configuration, operation, capacity, start, "end", employer_id, site_id, crane_id,
     origin, issuer, imported_line, recorded_at, withdrawn)
SELECT worker, %(model)s, '', (ARRAY['erection', 'climbing', 'dismantling'])[1 + n %% 3], 'erector', day,
       day + interval '8 hours', %(employer)s, %(site)s, %(crane)s, 'register', '', '', day + interval '10 hours', false
FROM unnest(%(workers)s::bigint[]) worker, generate_series(1, %(each)s) n,
     LATERAL (SELECT date_trunc('day', %(now)s::timestamptz) + interval '15 hours' - (n + 9) * interval '1 day' AS day)
"""
# A crew knows four of the employer's supervisors.
SIGNATURES = """
INSERT INTO evidence_countersignature (entry_id, by_id, at, recorded_at)
SELECT entry.id, (%(signers)s::bigint[])[1 + 4 * (entry.worker_id %% (%(count)s / 4)) + entry.id %% 4],
       entry."end" + interval '1 hour', entry.recorded_at
FROM evidence_hoursentry entry
"""


def main() -> None:
    """Build the database, measure, print, drop it again."""
    settings.DEBUG = False
    settings.SECURE_SSL_REDIRECT = False
    setup_test_environment()
    created = setup_databases(verbosity=0, interactive=False)
    try:
        measure()
    finally:
        connections.close_all()
        teardown_databases(created, verbosity=0)
        teardown_test_environment()


def measure() -> None:
    """Fill the database and time the endpoint."""
    with connections["owner"].cursor() as cursor:
        cursor.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
    load_standards(settings.STANDARDS, recorded_at=datetime(2020, 1, 1, tzinfo=UTC))
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    world = World(now)
    signers = [world.worker(f"Signer{number}", "Ostrander") for number in range(SUPERVISORS)]
    for each in signers:
        world.make_assessor(each)
    fill(world, signers)
    candidates = list(Worker.objects.filter(given_name__startswith="Given").order_by("id")[:ATTEMPTS])
    for each in candidates:
        world.make_erector(each, days=0)
        world.employed(each)
    client = APIClient()
    sign_in(client, world.dispatcher())
    milliseconds: list[float] = []
    counts: set[int] = set()
    outcomes: list[int] = []
    slow: dict[str, str] = {}
    for number, worker in enumerate(candidates):
        slot = world.job(["erector"], starts_in=3 + number).slots.get()
        url, asked = f"/api/slots/{slot.pk}/assignments/", {"worker": worker.pk}
        if number < COUNTED:
            # Writing statements down takes longer than some of them: these are not timed.
            with CaptureQueriesContext(connection) as captured:
                outcomes.append(client.post(url, asked).status_code)
            counts.add(len(captured))
            for query in captured.captured_queries:
                if float(query["time"]) > SLOW_SECONDS:
                    slow[" ".join(query["sql"].split())[:100]] = query["time"]
            continue
        began = time.perf_counter()
        outcomes.append(client.post(url, asked).status_code)
        milliseconds.append((time.perf_counter() - began) * 1000)
    median = statistics.median(milliseconds)
    late = statistics.quantiles(milliseconds, n=20)[-1]
    print(f"hour rows {HOUR_ROWS}, {ROWS_PER_WORKER} a worker; {outcomes.count(201)} permitted of {len(outcomes)}")
    print(f"check-and-assign: median {median:.1f} ms (aim 50, ratio {median / 50:.2f})")
    print(f"                  95th percentile {late:.1f} ms (aim 100, ratio {late / 100:.2f})")
    for statement, seconds in slow.items():
        print(f"slow: {seconds} s {statement}")
    print(f"SQL statements per assignment: {sorted(counts)}")


def fill(world: World, signers: list[Worker]) -> None:
    """Insert the hours in bulk, as the owner: their history lies in the past."""
    began = time.perf_counter()
    with connections["owner"].cursor() as cursor:
        # The guards and the log would take ten minutes, and nothing here reads what they write.
        for table in FILLED:
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        cursor.execute(PEOPLE, {"past": world.now - timedelta(days=900), "workers": HOUR_ROWS // ROWS_PER_WORKER})
        workers = [each for (each,) in cursor.fetchall()]
        cursor.execute(
            HOURS,
            {
                "model": world.model.pk,
                "employer": world.employer.pk,
                "site": world.site.pk,
                "crane": world.crane.pk,
                "workers": workers,
                "each": ROWS_PER_WORKER,
                "now": world.now,
            },
        )
        cursor.execute(SIGNATURES, {"signers": [each.pk for each in signers], "count": len(signers)})
        for table in FILLED:
            cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
        # Otherwise the database would tidy up behind the filling meanwhile.
        cursor.execute("VACUUM ANALYZE")
    print(f"filled in {time.perf_counter() - began:.0f} s")
