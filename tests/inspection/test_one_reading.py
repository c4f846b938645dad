"""A crew as known is read once: the same answers as asking about each person alone, in a fixed number of statements."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from rest_framework.test import APIClient

from registry.crews.models import Job
from registry.crews.queries import answer, asking_for_slot
from registry.evidence import services as evidence
from registry.evidence.queries import evidence_behind, evidence_for, signer_closure
from registry.inspection.as_known import compare, compare_all
from registry.inspection.crew_as_known import crew_as_known
from registry.people.models import Worker
from tests.world import World, sign_in

HOUR = timedelta(hours=1)
MOST_STATEMENTS = 60


def crew_of(world: World, size: int, starts_in: int = 3) -> Job:
    """A job with an erector in each of its places."""
    job = world.job(["erector"] * size, starts_in=starts_in)
    for number, slot in enumerate(job.slots.order_by("id")):
        erector = world.worker(f"Mira{size}x{number}", "Sandoval")
        world.make_erector(erector)
        assert world.assign(slot, erector).permitted
    return job


def people_of(job: Job) -> list[Worker]:
    return list(Worker.objects.filter(assignments__slot__job=job).order_by("id"))


def stood_down(worker: Worker, at: datetime) -> None:
    evidence.stand_down(worker=worker, start=at - 10 * HOUR, reason="conduct", recorded_at=at, recorded_by=None)


@pytest.mark.parametrize("by", ["service", "page", "interface"])
def test_the_statements_do_not_grow_with_the_crew(world: World, by: str) -> None:
    account = world.dispatcher()
    client = APIClient()
    sign_in(client, account)
    counts = []
    for size, starts_in in ((3, 3), (9, 20)):
        job = crew_of(world, size, starts_in)
        # Something of everybody came since, so that there is something to find and to tell.
        for number, each in enumerate(people_of(job)):
            stood_down(each, world.now + timedelta(seconds=number))
        instants = {"at": world.now - timedelta(minutes=1), "during": job.start + HOUR}
        with CaptureQueriesContext(connection) as made:
            if by == "service":
                found = crew_as_known(job, day_instant=instants["during"], known_at=world.now, now=job.end)
                assert [len(each.comparisons) for each in found.places] == [1] * size
            elif by == "page":
                zone = ZoneInfo(world.site.time_zone)
                asked = {name: f"{each.astimezone(zone):%Y-%m-%dT%H:%M}" for name, each in instants.items()}
                page = client.get(reverse("job_as_known", args=[job.pk]), asked)
                assert page.status_code == 200
                assert f"Mira{size}x{size - 1}" in page.content.decode()
            else:
                asked = {name: each.isoformat() for name, each in instants.items()}
                given = client.get(f"/api/jobs/{job.pk}/as-known-at/", asked)
                assert len(given.json()["places"]) == size
        counts.append(len(made))
    assert counts[0] == counts[1] < MOST_STATEMENTS


def another_history(world: World, job: Job) -> None:
    """Hours, signatures, corrections, a bar and a signer's own bar, before and after the crew was put together."""
    mira, ada, ivo = people_of(job)
    for minutes, worker, signer in ((1, mira, ada), (2, ada, ivo), (3, ivo, mira)):
        start = (world.now - timedelta(days=2 + minutes)).replace(hour=2, minute=0)
        entry = evidence.record_hours(
            new=evidence.NewHours(
                worker=worker,
                model=world.model,
                operation="dismantling",
                start=start,
                end=start + HOUR,
                employer=world.employer,
                site=world.site,
                crane=world.crane,
                countersigner=signer,
                countersigned_at=start + 2 * HOUR,
            ),
            recorded_at=world.now + timedelta(minutes=minutes),
            recorded_by=None,
        )
        later = world.now + timedelta(minutes=minutes, seconds=30)
        if worker == ada:
            evidence.withdraw(entry, recorded_at=later, recorded_by=None)
        else:
            evidence.correct(entry, operation="climbing", recorded_at=later, recorded_by=None)
    stood_down(ada, world.now + timedelta(minutes=5))
    stood_down(world.assessor, world.now + timedelta(minutes=6))


def test_each_answer_is_the_one_that_reading_the_person_alone_gives(world: World) -> None:
    job = crew_of(world, 3)
    another_history(world, job)
    now = world.now + HOUR
    job = Job.objects.select_related("site", "crane").get(pk=job.pk)
    askings = []
    for slot, worker in zip(job.slots.order_by("id"), people_of(job), strict=True):
        slot.job = job
        askings.append(asking_for_slot(slot, worker=worker.pk, start=job.start, end=job.end))
    outcomes = set()
    for minutes in (-1, 0, 1.2, 2.2, 3.7, 5.5, 7):
        known_at = world.now + timedelta(minutes=minutes)
        for asking, together in zip(askings, compare_all(askings, known_at=known_at, now=now), strict=True):
            assert together.then.answered is not None
            assert together.now.answered is not None
            assert together.then.answered.answer == answer(replace(asking, known_at=known_at)).answer
            assert together.now.answered.answer == answer(asking).answer
            assert together == compare(asking, known_at=known_at, now=now)
            outcomes.add((together.then.outcome, together.now.outcome, bool(together.differences)))
    # The history does make differences, of both kinds.
    assert {("permitted", "refused", True), ("refused", "refused", False)} <= outcomes


def test_what_is_behind_one_of_many_is_what_reading_them_alone_finds(world: World) -> None:
    job = crew_of(world, 3)
    another_history(world, job)
    elsewhere = world.worker("Odo", "Marsh")
    everybody = [*people_of(job), world.assessor, elsewhere]
    together = evidence_for(worker_ids=sorted(signer_closure(*(each.pk for each in everybody))))
    for each in everybody:
        alone = evidence_for(worker_ids=sorted(signer_closure(each.pk)))
        assert evidence_behind(together, each.pk) == alone
    assert set(evidence_behind(together, elsewhere.pk).people) == {f"worker:{elsewhere.pk}"}
