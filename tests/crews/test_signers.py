"""The two-step reading of signers gives the same answer as reading everybody whole."""

from __future__ import annotations

from datetime import timedelta

import pytest

from registry.crews import queries
from registry.crews.queries import Answered, asking_for_slot, slot_with_job
from registry.evidence import services as evidence
from registry.evidence.queries import signer_closure
from registry.people.models import Worker
from tests.world import World


def both_ways(world: World, worker: Worker) -> tuple[Answered, Answered]:
    slot = slot_with_job(world.job(["erector"]).slots.get().pk)
    asking = asking_for_slot(slot, worker=worker.pk, start=slot.job.start, end=slot.job.end)
    version, standard = queries.standard_for(asking)
    whole = queries._answer(asking, version, standard, whole=signer_closure(worker.pk), grounds=set())
    return queries.answer(asking), whole


@pytest.fixture
def erector(world: World) -> Worker:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    return erector


def test_a_grounded_signer(world: World, erector: Worker) -> None:
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert quick.answer.permitted


def test_an_assessor_whose_hours_the_worker_signs_is_not_independent(world: World, erector: Worker) -> None:
    start = (world.now - timedelta(days=2)).replace(hour=15, minute=0)
    evidence.record_hours(
        new=evidence.NewHours(
            worker=world.assessor,
            model=world.model,
            operation="erection",
            start=start,
            end=start + timedelta(hours=1),
            employer=world.employer,
            site=world.site,
            countersigner=erector,
            countersigned_at=start + timedelta(hours=2),
        ),
        recorded_at=world.now,
        recorded_by=None,
    )
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert not quick.answer.permitted
    reasons = {each.reason for leaf in quick.answer.requirements for each in leaf.not_counted}
    assert "assessor_not_independent" in reasons


def test_an_assessor_who_is_a_trainee_on_the_model(world: World, erector: Worker) -> None:
    start = (world.now - timedelta(days=2)).replace(hour=15, minute=0)
    evidence.record_hours(
        new=evidence.NewHours(
            worker=world.assessor,
            model=world.model,
            operation="erection",
            start=start,
            capacity="trainee",
            end=start + timedelta(hours=1),
            employer=world.employer,
            site=world.site,
        ),
        recorded_at=world.now,
        recorded_by=None,
    )
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert not quick.answer.permitted


def test_two_who_only_signed_for_each_other(world: World) -> None:
    one, other = world.worker("Bram", "Keld"), world.worker("Ivo", "Keld")
    for worker, signer in ((one, other), (other, one)):
        world.make_erector(worker, days=0)
        for number in range(40):
            start = (world.now - timedelta(days=20 + number)).replace(hour=15, minute=0)
            end = start + timedelta(hours=8)
            evidence.record_hours(
                new=evidence.NewHours(
                    worker=worker,
                    model=world.model,
                    operation="dismantling",
                    start=start,
                    end=end,
                    employer=world.employer,
                    site=world.site,
                    crane=world.crane,
                    countersigner=signer,
                    countersigned_at=end,
                ),
                recorded_at=end + timedelta(hours=1),
                recorded_by=None,
            )
    quick, whole = both_ways(world, one)
    assert quick.answer == whole.answer
    assert not quick.answer.permitted
    hours = next(each for each in quick.answer.requirements if each.key == "model_hours")
    assert hours.found_minutes == 0
    assert [each.reason for each in hours.not_counted] == ["sign_off_ring"]
    assert "Bram Keld for Ivo Keld signed" in hours.not_counted[0].sentence


def test_what_a_family_of_an_earlier_model_says_is_depended_on(world: World, erector: Worker) -> None:
    quick, _ = both_ways(world, erector)
    assert f"model:{world.model.pk}" in quick.evidence_versions
    assert f"standard:{quick.standard.key}" in quick.evidence_versions
    assert f"employer:{world.employer.pk}" in quick.evidence_versions
