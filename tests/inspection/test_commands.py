"""The two commands at a terminal."""

from __future__ import annotations

import json
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from registry.crews.models import Job
from registry.evidence import services as evidence
from registry.people.models import Worker
from tests.world import World


@pytest.fixture
def erector(world: World) -> Worker:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    return erector


@pytest.fixture
def job(world: World, erector: Worker) -> Job:
    """A job of two places; the erector stands in one and was barred afterwards, with effect before."""
    job = world.job(["erector", "rigger"])
    slot = job.slots.get(role="erector")
    world.assign(slot, erector)
    evidence.stand_down(
        worker=erector,
        start=world.now - timedelta(days=3),
        reason="unsafe conduct",
        recorded_at=world.now,
        recorded_by=None,
    )
    return job


def said(command: str, **options: Any) -> str:
    out = StringIO()
    call_command(command, stdout=out, **options)
    return out.getvalue()


def before(world: World) -> str:
    return (world.now - timedelta(minutes=1)).isoformat()


def test_both_answers_are_printed_with_what_makes_the_difference(world: World, job: Job, erector: Worker) -> None:
    text = said("as_known_at", job=job.pk, role="erector", worker=erector.number, at=before(world))
    assert "permitted. By what it knows now: refused." in text
    assert "stand-down" in text
    assert "unsafe conduct" in text
    assert "it does not make a lift safe" in text
    slot = job.slots.get(role="erector")
    assert (
        said("as_known_at", slot=slot.pk, worker=erector.number, at=before(world)).splitlines()[2:]
        == (text.splitlines()[2:])
    )
    found = json.loads(said("as_known_at", slot=slot.pk, worker=erector.number, at=before(world), json=True))
    assert [each["why"] for each in found["differences"]] == ["stood_down_since"]


def test_the_whole_crew_is_printed(world: World, job: Job) -> None:
    during = (job.start + timedelta(hours=1)).isoformat()
    text = said("as_known_at", job=job.pk, at=before(world), during=during)
    assert "then: nobody" in text
    assert "Mira Sandoval (held: did not fill the place)" in text
    found = json.loads(said("as_known_at", job=job.pk, at=before(world), during=during, json=True))
    assert len(found["places"]) == 2


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"at": "2026-05-01T07:30"}, "offset from UTC"),
        ({"at": "2199-01-01T00:00Z"}, "cannot know the future"),
        ({"worker": "W-999999"}, "no worker W-999999"),
        ({"job": 0}, "no job 0"),
        ({"role": "crane_operator"}, "no place for the role crane_operator"),
        ({"role": None}, "Say --role"),
        ({"worker": None}, "Say --worker"),
    ],
)
def test_what_is_wrong_is_said(world: World, job: Job, erector: Worker, change: dict[str, Any], sentence: str) -> None:
    options = {"job": job.pk, "role": "erector", "worker": erector.number, "at": before(world)} | change
    with pytest.raises(CommandError, match=sentence):
        said("as_known_at", **options)


def test_a_second_look(world: World, job: Job, erector: Worker) -> None:
    everything = said("second_look")
    assert "not an accusation" in everything
    assert everything.count("  nothing") == 8
    start = world.now - timedelta(days=90)
    late = evidence.record_hours(
        new=evidence.NewHours(
            worker=erector,
            model=world.model,
            operation="dismantling",
            start=start,
            end=start + timedelta(hours=1),
            employer=world.employer,
            site=world.site,
        ),
        recorded_at=world.now,
        recorded_by=None,
    )
    for scope in ({"worker": erector.number}, {"employer": world.employer.name}, {"job": job.pk}, {}):
        assert f"hours entry {late.pk}" in said("second_look", **scope)
        found = json.loads(said("second_look", **scope, json=True))
        assert [each["rule"] for each in found["rules"] if each["pointers"]] == ["recorded_late"]
    assert f"hours entry {late.pk}" not in said("second_look", worker=world.assessor.number)


@pytest.mark.parametrize("scope", [{"worker": "W-999999"}, {"employer": "Nobody"}, {"job": 0}, {"limit": 0}])
def test_a_second_look_at_nothing_known(world: World, scope: dict[str, Any]) -> None:
    with pytest.raises(CommandError):
        said("second_look", **scope)
