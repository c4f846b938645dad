"""The two-step reading of signers gives the same answer as reading everybody whole."""

from __future__ import annotations

import random
from contextlib import suppress
from datetime import timedelta
from typing import Any

import pytest

from registry.crews import queries
from registry.crews.queries import AnsweredByVersions, asking_for_slot, slot_with_job
from registry.database.errors import RecordRefused
from registry.evidence import corrections
from registry.evidence import services as evidence
from registry.evidence.models import Assessment, HoursEntry
from registry.evidence.queries import signer_closure
from registry.people.models import Worker
from registry.people.services import open_account
from tests.world import World


def both_ways(world: World, worker: Worker) -> tuple[AnsweredByVersions, AnsweredByVersions]:
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


def an_hour_of_the_assessors(
    world: World, *, signer: Worker | None = None, capacity: str = "erector", days_ago: int = 200
) -> HoursEntry:
    """Long before anybody was assessed, unless said otherwise."""
    start = (world.now - timedelta(days=days_ago)).replace(hour=15, minute=0)
    return evidence.record_hours(
        new=evidence.NewHours(
            worker=world.assessor,
            model=world.model,
            operation="erection",
            capacity=capacity,
            start=start,
            end=start + timedelta(hours=1),
            employer=world.employer,
            site=world.site,
            countersigner=signer,
            countersigned_at=None if signer is None else start + timedelta(hours=2),
        ),
        recorded_at=world.now,
        recorded_by=None,
    )


def assessed_by(world: World, assessor: Worker) -> Assessment:
    """An assessment of the assessor."""
    at = world.now - timedelta(days=50)
    return evidence.record_assessment(
        worker=world.assessor,
        role="rigger",
        model=world.model,
        operations=["erection"],
        assessed_at=at,
        outcome="pass",
        assessor=assessor,
        employer=world.employer,
        recorded_at=at,
        recorded_by=None,
    )


def reasons(answered: AnsweredByVersions) -> set[str]:
    return {each.reason for leaf in answered.answer.requirements for each in leaf.not_counted}


def test_an_assessor_whose_hours_the_worker_signs_is_not_independent(world: World, erector: Worker) -> None:
    an_hour_of_the_assessors(world, signer=erector)
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert not quick.answer.permitted
    assert "assessor_not_independent" in reasons(quick)


def test_an_assessor_whom_the_worker_assessed_is_not_independent(world: World, erector: Worker) -> None:
    given = assessed_by(world, erector)
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert not quick.answer.permitted
    assert "assessor_not_independent" in reasons(quick)
    evidence.correct(given, assessor=world.worker("Odo", "Marsh"), recorded_at=world.now, recorded_by=None)
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert quick.answer.permitted


def test_what_the_worker_signs_for_the_assessor_later_tells_nothing(world: World, erector: Worker) -> None:
    an_hour_of_the_assessors(world, signer=erector, days_ago=2)
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert quick.answer.permitted


def test_an_assessor_who_is_a_trainee_on_the_model(world: World, erector: Worker) -> None:
    odo = world.worker("Odo", "Marsh")
    an_hour_of_the_assessors(world, capacity="trainee", signer=odo)
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert not quick.answer.permitted
    assert "assessor_is_a_trainee" in reasons(quick)
    # The hour that ended it is read only with the assessor's whole record.
    an_hour_of_the_assessors(world, signer=odo, days_ago=190)
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert quick.answer.permitted


@pytest.mark.parametrize(("signed", "days_ago"), [(False, 200), (True, 2)])
def test_an_unsigned_or_later_hour_as_trainee_voids_no_assessment(
    world: World, erector: Worker, signed: bool, days_ago: int
) -> None:
    signer = world.worker("Odo", "Marsh") if signed else None
    an_hour_of_the_assessors(world, capacity="trainee", signer=signer, days_ago=days_ago)
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert quick.answer.permitted


@pytest.mark.parametrize("how", ["corrected trainee", "withdrawn signature", "corrected and not signed again"])
def test_what_told_against_an_assessor_and_was_corrected_tells_no_more(world: World, erector: Worker, how: str) -> None:
    recording: dict[str, Any] = {"recorded_at": world.now, "recorded_by": None}
    if how == "corrected trainee":
        odo = world.worker("Odo", "Marsh")
        hour = an_hour_of_the_assessors(world, capacity="trainee", signer=odo)
        evidence.correct(hour, capacity="erector", **recording)
    elif how == "withdrawn signature":
        evidence.withdraw(an_hour_of_the_assessors(world, signer=erector), **recording)
    else:
        evidence.correct(an_hour_of_the_assessors(world, signer=erector), operation="climbing", **recording)
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert quick.answer.permitted


@pytest.mark.parametrize("seed", range(8))
def test_whatever_people_signed_corrected_and_withdrew(world: World, erector: Worker, seed: int) -> None:
    """Drawn at random: who signed and assessed whom, and what became of it."""
    drawn = random.Random(seed)
    people = [world.assessor, erector, world.worker("Odo", "Marsh"), world.worker("Ivo", "Keld")]
    recording: dict[str, Any] = {"recorded_at": world.now, "recorded_by": None}
    made: list[Any] = []
    for number in range(24):
        worker, signer = drawn.sample(people, 2)
        start = (world.now - timedelta(days=2 + number)).replace(hour=15, minute=0)
        # What found somebody not yet competent is for the registrar to take back.
        changeable = [each for each in made if not corrections.is_setback(each)]
        if drawn.random() < 0.3 and changeable:
            record = drawn.choice(changeable)
            made.remove(record)
            if drawn.random() < 0.5:
                evidence.withdraw(record, **recording)
            elif isinstance(record, HoursEntry):
                made.append(evidence.correct(record, capacity=drawn.choice(["erector", "rigger"]), **recording))
            else:
                others = [each for each in people if each not in (record.worker, record.assessor)]
                with suppress(RecordRefused):
                    # A pass that follows a setback is its assessor's own to correct.
                    made.append(evidence.correct(record, assessor=drawn.choice(others), **recording))
        elif drawn.random() < 0.4:
            made.append(
                evidence.record_assessment(
                    worker=worker,
                    role=drawn.choice(["erector", "rigger"]),
                    model=world.model,
                    operations=["dismantling"],
                    assessed_at=start,
                    outcome=drawn.choice(["pass", "pass", "not_yet_competent"]),
                    assessor=signer,
                    employer=world.employer,
                    **recording,
                )
            )
        else:
            made.append(
                evidence.record_hours(
                    new=evidence.NewHours(
                        worker=worker,
                        model=world.model,
                        operation="dismantling",
                        capacity=drawn.choice(["erector", "erector", "trainee"]),
                        start=start,
                        end=start + timedelta(hours=1),
                        employer=world.employer,
                        site=world.site,
                        crane=world.crane,
                        countersigner=signer,
                        countersigned_at=start + timedelta(hours=2),
                    ),
                    **recording,
                )
            )
    for each in people:
        quick, whole = both_ways(world, each)
        assert quick.answer == whole.answer


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
    assert "(Ivo Keld signed for Bram Keld, Bram Keld signed for Ivo Keld)" in hours.not_counted[0].sentence


def test_what_a_family_of_an_earlier_model_says_is_depended_on(world: World, erector: Worker) -> None:
    quick, _ = both_ways(world, erector)
    assert f"model:{world.model.pk}" in quick.evidence_versions
    assert f"standard:{quick.standard.key}" in quick.evidence_versions
    assert f"employer:{world.employer.pk}" in quick.evidence_versions


@pytest.mark.parametrize("by", ["the same account", "another account", "the assessor's own account"])
def test_a_stand_down_is_not_lifted_by_one_account_alone(world: World, erector: Worker, by: str) -> None:
    """Whose account recorded what reaches the engine, read in two steps or whole."""
    dispatcher = world.dispatcher()
    others = {
        "the same account": dispatcher,
        "another account": open_account(
            username="second", password="a-long-demo-word", kind="employer", employer=world.employer
        ),
        "the assessor's own account": world.assessors_account(),
    }
    # An own assessment is recorded by its assessor; an employer records a third party's, from paper.
    on_paper: dict[str, Any] = {"third_party": "Norrland Board", "document": world.scan}
    whose = {"employer": world.employer} if by == "the assessor's own account" else on_paper
    # For a third party nobody assesses by an employer's founding appointment.
    long_ago = world.now - timedelta(days=800)
    evidence.record_certification(
        worker=world.assessor,
        scheme="assessor of crane personnel",
        number="AC-3",
        issuer="Norrland Board",
        issued=long_ago.date(),
        expires=(world.now + timedelta(days=400)).date(),
        classes=["hammerhead"],
        recorded_at=long_ago,
        recorded_by=None,
    )
    began = world.now - timedelta(days=3)
    bar = evidence.stand_down(
        worker=erector,
        start=began,
        reason="conduct",
        employer=world.employer,
        recorded_at=world.now,
        recorded_by=dispatcher,
    )
    evidence.record_instruction(
        worker=erector,
        topic="retraining",
        provider="employer",
        completed_at=began + timedelta(hours=5),
        after_stand_down=bar,
        document=world.scan,
        recorded_at=world.now,
        recorded_by=dispatcher,
    )
    evidence.record_assessment(
        worker=erector,
        role="erector",
        model=world.model,
        operations=["dismantling"],
        assessed_at=began + timedelta(days=1),
        outcome="pass",
        assessor=world.assessor,
        **whose,
        recorded_at=world.now,
        recorded_by=others[by],
    )
    quick, whole = both_ways(world, erector)
    assert quick.answer == whole.answer
    assert quick.answer.permitted is (by != "the same account")
    assert ("one_author_lifts" in reasons(quick)) is (by == "the same account")
