"""How long the server takes for each page with 100,000 workers in the register: prints figures, is no test.

    python3 manage.py bench pages_100000

Aim: a median under 100 ms for every page. The number of SQL statements is printed
beside it; ``tests/web/test_every_page.py`` holds it to a number that does not grow.
A shared machine is not always equally fast: the last column says how long one fixed
loop took meanwhile.
"""

from __future__ import annotations

import os
import statistics
import time
from datetime import UTC, datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import connection, connections
from django.test import Client
from django.test.utils import CaptureQueriesContext, setup_databases, teardown_databases

from registry.standards.services import load_standards
from tests.pages import NOBODY, PAGES
from tests.scene import Scene, scene
from tests.world import sign_in

WORKERS = int(os.environ.get("WORKERS", "100000"))
OF_THE_EMPLOYER = 400
HOURS_OF_EACH = int(os.environ.get("HOURS_OF_EACH", "3"))
HOURS_OF_THE_WORKER = int(os.environ.get("HOURS_OF_THE_WORKER", "600"))
TIMES = int(os.environ.get("TIMES", "11"))
AIM = 0.1
WHOLE_LOG = "log_verification"
"""Reads every record on purpose; its figures are in ``log_verify.py``."""

FILLED = (
    "people_employment",
    "evidence_certification",
    "evidence_hoursentry",
    "evidence_countersignature",
)
PEOPLE = """
INSERT INTO people_worker (given_name, family_name, name_key, lookalike_keys, date_of_birth, recorded_at)
SELECT (ARRAY['Aimo', 'Britta', 'Corin', 'Dagny', 'Edda', 'Falk'])[1 + n %% 6], 'Orsk' || n,
       'orsk' || n, ARRAY['orsk' || n], '1980-01-01', %(past)s
FROM generate_series(1, %(workers)s) n RETURNING id
"""
EMPLOYMENTS = """
INSERT INTO people_employment (worker_id, employer_id, start, recorded_at, withdrawn)
SELECT worker, CASE WHEN n <= %(own)s THEN %(employer)s ELSE %(other)s END, %(past)s::date, %(past)s, false
FROM unnest(%(workers)s::bigint[]) WITH ORDINALITY AS each (worker, n)
"""
CERTIFICATES = """
INSERT INTO evidence_certification
    (worker_id, scheme, number, issuer, issued, expires, scope, covers_models, covers_classes, recorded_at, withdrawn)
SELECT worker, 'tower crane erection', 'B-' || worker, 'Orrin Bureau of Trade Certificates', %(past)s::date,
       (%(now)s::timestamptz + (worker %% 700) * interval '1 day')::date, '{}', '{}', ARRAY[%(class)s], %(past)s, false
FROM unnest(%(workers)s::bigint[]) worker
"""
HOURS = """
INSERT INTO evidence_hoursentry
    (worker_id, model_id, configuration, operation, capacity, start, "end", employer_id, site_id, crane_id,
     origin, issuer, imported_line, recorded_at, withdrawn)
SELECT worker, %(model)s, '', (ARRAY['erection', 'climbing', 'dismantling'])[1 + n %% 3], 'erector', day,
       day + interval '8 hours', CASE WHEN place <= %(own)s THEN %(employer)s ELSE %(other)s END, %(site)s, %(crane)s,
       'register', '', '', day + interval '10 hours', false
FROM unnest(%(workers)s::bigint[]) WITH ORDINALITY AS each (worker, place), generate_series(1, %(each)s) n,
     LATERAL (SELECT date_trunc('day', %(now)s::timestamptz) + interval '15 hours' - (n + 19) * interval '1 day' AS day)
"""
# Of every hundred people one signs for the others; the worker's hours are the assessor's to sign.
SIGNATURES = """
INSERT INTO evidence_countersignature (entry_id, by_id, at, recorded_at)
SELECT entry.id, CASE WHEN signer = worker THEN %(signer)s ELSE signer END,
       entry."end" + interval '1 hour', entry.recorded_at
FROM unnest(%(workers)s::bigint[], %(signers)s::bigint[]) AS each (worker, signer)
JOIN evidence_hoursentry entry ON entry.worker_id = worker
ON CONFLICT DO NOTHING
"""


def main() -> None:
    """Build the register, measure, print, drop it again."""
    settings.DEBUG = False
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # The test environment itself would copy the context of every template drawn.
    settings.ALLOWED_HOSTS = ["testserver"]
    settings.SECURE_SSL_REDIRECT = False
    created = setup_databases(verbosity=0, interactive=False)
    try:
        measure()
    finally:
        connections.close_all()
        teardown_databases(created, verbosity=0)


def measure() -> None:
    """Fill the register and time every page."""
    with connections["owner"].cursor() as cursor:
        cursor.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
    load_standards(settings.STANDARDS, recorded_at=datetime(2020, 1, 1, tzinfo=UTC))
    running = scene()
    running.grow(12)
    _fill(running)
    clients = {NOBODY: Client()}
    for by in {each.by for each in PAGES if each.by != NOBODY}:
        clients[by] = Client()
        sign_in(clients[by], running.account(by))
    numbers = running.numbers()
    over = []
    print(f"{WORKERS} workers, {OF_THE_EMPLOYER} of them the employer's, {WORKERS * HOURS_OF_EACH} hours entries")
    print(f"{'page':60} {'statements':>10} {'median ms':>10} {'slowest':>10} {'loop ms':>8}")
    for page in PAGES:
        if page.name == WHOLE_LOG:
            continue
        loop = _fixed_loop()
        statements, seconds = _timed(clients[page.by], page.path(numbers))
        median = statistics.median(seconds)
        over += [page] if median > AIM else []
        named = f"{page} {page.query}"
        figures = f"{statements:>10} {median * 1000:>10.1f} {max(seconds) * 1000:>10.1f} {loop * 1000:>8.1f}"
        print(f"{named:60} {figures}", flush=True)
    print(f"{len(over)} over the aim of {AIM * 1000:.0f} ms: {', '.join(map(str, over)) or 'none'}")


def _fill(running: Scene) -> None:
    past = running.now - timedelta(days=400)
    job = running.job
    given: dict[str, Any] = {
        "past": past,
        "now": running.now,
        "own": OF_THE_EMPLOYER,
        "employer": job.employer_id,
        "other": running.account("pellavine").employer_id,
        "class": job.crane.model.crane_class,
        "model": job.crane.model_id,
        "site": job.site_id,
        "crane": job.crane_id,
        "signer": running.account("assessor").worker_id,
    }
    started = time.monotonic()
    with connections["owner"].cursor() as cursor:
        # The guards and the log would take ten minutes, and no page of these reads what they write.
        for table in FILLED:
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        cursor.execute(PEOPLE, given | {"workers": WORKERS})
        everybody = [each for (each,) in cursor.fetchall()]
        given["workers"] = everybody
        cursor.execute(EMPLOYMENTS, given)
        cursor.execute(CERTIFICATES, given)
        cursor.execute(HOURS, given | {"each": HOURS_OF_EACH})
        cursor.execute(HOURS, given | {"workers": [running.worker.pk], "each": HOURS_OF_THE_WORKER})
        signers = [everybody[place - place % 100] for place in range(len(everybody))]
        everybody.append(running.worker.pk)
        cursor.execute(SIGNATURES, given | {"workers": everybody, "signers": [*signers, given["signer"]]})
        for table in FILLED:
            cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
        # Otherwise the database would tidy up behind the filling while pages are timed.
        cursor.execute("VACUUM ANALYZE")
    print(f"filled in {time.monotonic() - started:.0f} s")


def _timed(client: Client, path: str) -> tuple[int, list[float]]:
    seconds = []
    with CaptureQueriesContext(connection) as made:
        answer = client.get(path)
    assert answer.status_code == 200, (path, answer.status_code)
    statements = len(made)
    for _each in range(TIMES):
        started = time.perf_counter()
        client.get(path)
        seconds.append(time.perf_counter() - started)
    return statements, seconds


def _fixed_loop() -> float:
    started = time.perf_counter()
    total = 0
    for number in range(200_000):
        total += number * number % 7
    return time.perf_counter() - started
