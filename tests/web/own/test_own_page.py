"""The worker's own page: work ahead, hours that wait, what runs out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.evidence import countersigning
from registry.evidence import services as evidence
from registry.evidence.models import HoursEntry
from registry.people.models import Worker
from tests.world import World

AsWorker = Callable[[Worker], Client]


@pytest.fixture
def mira(world: World) -> Worker:
    return world.worker("Mira", "Sandoval")


def unsigned_hours(world: World, worker: Worker, *, days_ago: int = 2) -> HoursEntry:
    start = (world.now - timedelta(days=days_ago)).replace(hour=15, minute=0)
    new = evidence.NewHours(
        worker=worker,
        model=world.model,
        operation="dismantling",
        start=start,
        end=start + timedelta(hours=8),
        employer=world.employer,
        site=world.site,
        crane=world.crane,
    )
    return evidence.record_hours(new=new, recorded_at=world.now, recorded_by=None)


def test_a_worker_comes_home_to_their_own_page_and_nobody_else_has_one(
    world: World, mira: Worker, as_worker: AsWorker, dispatcher: Client, inspector: Client
) -> None:
    client = as_worker(mira)
    assert client.get("/").headers["Location"] == "/own/"
    shown = client.get("/own/").text
    assert "Mira Sandoval" in shown
    assert "You are on no crew" in shown
    assert "All your hours are signed" in shown
    assert dispatcher.get("/own/").status_code == 403
    assert inspector.get("/own/").status_code == 403


def test_the_next_job_comes_first_with_until_when_the_papers_hold(
    world: World, mira: Worker, as_worker: AsWorker
) -> None:
    world.make_erector(mira)
    outcome = world.assign(world.job(["erector"]).slots.get(), mira)
    client = as_worker(mira)
    shown = client.get("/own/").text
    assert "Your documents hold until" in shown
    assert f'href="/decisions/{outcome.decision.pk}/"' in shown
    evidence.stand_down(worker=mira, start=world.now, reason="Unhooked", recorded_at=world.now, recorded_by=None)
    held = client.get("/own/").text
    assert "Held: you are not on this crew" in held
    assert "Why: the evidence of Mira Sandoval changed" in held


def test_unsigned_hours_say_with_whom_they_lie_and_who_declined(
    world: World, mira: Worker, as_worker: AsWorker
) -> None:
    client = as_worker(mira)
    entry = unsigned_hours(world, mira)
    assert "Halvorsby Tower Works can ask somebody" in client.get("/own/").text
    countersigning.ask_for_countersignature(entries=[entry], of=world.assessor, recorded_at=world.now, recorded_by=None)
    asked = client.get("/own/").text
    assert "With Petra Lindqvist since" in asked
    signer = as_worker(world.assessor)
    assert "1 entry of somebody else waits for you to sign" in signer.get("/own/").text
    signer.post("/records/to-countersign/", {"entries": [entry.pk], "do": "decline", "reason": "Not on that day"})
    assert "Petra Lindqvist did not sign: Not on that day" in client.get("/own/").text


def test_the_page_takes_as_many_statements_for_a_long_record(world: World, mira: Worker, as_worker: AsWorker) -> None:
    client = as_worker(mira)

    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get("/own/").status_code == 200
        return len(captured)

    world.make_erector(mira, days=2)
    entry = unsigned_hours(world, mira)
    countersigning.ask_for_countersignature(entries=[entry], of=world.assessor, recorded_at=world.now, recorded_by=None)
    world.assign(world.job(["trainee"]).slots.get(), mira)
    before = statements()
    for ago in range(40, 46):
        more = unsigned_hours(world, mira, days_ago=ago)
        countersigning.ask_for_countersignature(
            entries=[more], of=world.assessor, recorded_at=world.now, recorded_by=None
        )
    assert statements() == before
