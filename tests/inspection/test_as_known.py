"""By what the register knew then, by what it knows now, and what makes the difference."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from random import Random
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.crews import services as crews
from registry.crews.models import AssignmentState, Slot
from registry.crews.queries import Asking, answer, asking_for_slot, slot_with_job
from registry.database.errors import RecordRefused
from registry.engine.bad_input import BadInput
from registry.equipment import services as equipment
from registry.equipment.models import CranePlacement
from registry.evidence import services as evidence
from registry.evidence.models import Certification, HoursEntry
from registry.inspection.as_known import Comparison, compare, parse_instant
from registry.inspection.crew_as_known import crew_as_known
from registry.people import services as people
from registry.people.models import Worker
from registry.standards.services import set_employer_figure
from tests.world import STANDARD, World

HOUR = timedelta(hours=1)


@pytest.fixture
def erector(world: World) -> Worker:
    """Somebody who meets every requirement of an erector, by records made in good time."""
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    return erector


@pytest.fixture
def slot(world: World) -> Slot:
    return slot_with_job(world.job(["erector"], starts_in=-2).slots.get().pk)


@pytest.fixture
def supervisor(world: World, erector: Worker) -> Worker:
    """The same person, who may direct a dismantling as well: that needs the certificate."""
    past = world.now - timedelta(days=200)
    world.instruct(erector, "assembly_procedures", past)
    world.assess(erector, "erection_supervisor")
    evidence.appoint(
        worker=erector,
        duty="erection_supervisor",
        employer=world.employer,
        start=past,
        stop_work_authority=True,
        recorded_at=past,
        recorded_by=None,
    )
    return erector


@pytest.fixture
def supervising(world: World) -> Slot:
    return slot_with_job(world.job(["erection_supervisor"], starts_in=-2).slots.get().pk)


def asked(slot: Slot, worker: Worker) -> Asking:
    return asking_for_slot(slot, worker=worker.pk, start=slot.job.start, end=slot.job.end)


def compared(world: World, slot: Slot, worker: Worker, **more: Any) -> Comparison:
    """As known when the work began, and an hour after the world's present."""
    return compare(asked(slot, worker), **{"known_at": slot.job.start, "now": world.now + HOUR, **more})


def named(comparison: Comparison) -> list[tuple[str, int | None, str]]:
    return [(each.kind, each.number, each.why) for each in comparison.differences]


def late_hours(world: World, worker: Worker, *, recorded_at: datetime, days_ago: int = 4, **more: Any) -> HoursEntry:
    start = (world.now - timedelta(days=days_ago)).replace(hour=15, minute=0)
    end = start + 8 * HOUR
    given: dict[str, Any] = {
        "worker": worker,
        "model": world.model,
        "operation": "dismantling",
        "start": start,
        "end": end,
        "employer": world.employer,
        "site": world.site,
        "crane": world.crane,
        "countersigner": world.assessor,
        "countersigned_at": end + HOUR,
    }
    new = evidence.NewHours(**{**given, **more})
    return evidence.record_hours(new=new, recorded_at=recorded_at, recorded_by=None)


def test_without_late_records_both_answers_are_the_same(world: World, slot: Slot, erector: Worker) -> None:
    found = compared(world, slot, erector)
    assert (found.then.outcome, found.now.outcome) == ("permitted", "permitted")
    assert not found.differences
    assert not found.outcome_differs
    assert not any(each.differs for each in found.requirements)


def test_a_certificate_revoked_after_the_accident_but_effective_before(
    world: World, supervising: Slot, supervisor: Worker
) -> None:
    revoked = evidence.change_certification_status(
        certification=Certification.objects.get(worker=supervisor),
        status="revoked",
        effective_at=world.now - timedelta(days=30),
        recorded_at=world.now,
        recorded_by=None,
        reason="forged",
    )
    found = compared(world, supervising, supervisor)
    assert (found.then.outcome, found.now.outcome) == ("permitted", "refused")
    assert named(found) == [("status", revoked.pk, "revoked_since")]
    (difference,) = found.differences
    assert [each.now for each in difference.effects] == ["none that counts"]
    assert "revoked" in difference.record
    assert "Mira Sandoval" in difference.sentence


def test_a_suspension_lifted_before_anybody_recorded_it_is_no_difference(
    world: World, supervising: Slot, supervisor: Worker
) -> None:
    held = Certification.objects.get(worker=supervisor)
    for status, days in (("suspended", 40), ("reinstated", 30)):
        evidence.change_certification_status(
            certification=held,
            status=status,
            effective_at=world.now - timedelta(days=days),
            reason="The board's letter",
            recorded_at=world.now,
            recorded_by=world.registrar(),
        )
    assert named(compared(world, supervising, supervisor)) == []


def test_hours_recorded_after_the_job_count_now_and_did_not_exist_then(world: World, slot: Slot) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    world.make_erector(newcomer, days=29)
    short = compared(world, slot, newcomer)
    entry = late_hours(world, newcomer, recorded_at=world.now)
    found = compared(world, slot, newcomer)
    assert found.then.answered is not None
    assert short.then.answered is not None
    assert found.then.answered.answer == short.then.answered.answer
    assert ("hours", entry.pk, "recorded_later") in named(found)
    assert len(found.differences) == 1
    effect = next(each for each in found.differences[0].effects if each.key == "model_hours")
    assert (effect.then, effect.now) == ("232 h", "240 h")


def test_late_records_that_change_nothing_are_not_named(world: World, slot: Slot, erector: Worker) -> None:
    after_the_window = world.now
    world.instruct(erector, "first_aid", after_the_window - timedelta(days=100))
    evidence.record_instruction(
        worker=erector,
        topic="rope_access",
        provider="employer",
        completed_at=world.now - timedelta(days=50),
        recorded_at=world.now,
        recorded_by=None,
    )
    people.record_language(worker=erector, language="fr", recorded_at=world.now, recorded_by=None)
    unsigned = late_hours(world, erector, recorded_at=world.now, countersigner=None, countersigned_at=None)
    assert unsigned.pk
    assert named(compared(world, slot, erector)) == []


def test_a_corrected_entry_names_the_correction_alone(world: World, slot: Slot, erector: Worker) -> None:
    entry = HoursEntry.objects.filter(worker=erector).order_by("start").last()
    assert entry is not None
    first = evidence.correct(entry, end=entry.end - HOUR, recorded_at=world.now, recorded_by=None)
    second = evidence.correct(
        first, end=entry.end - 2 * HOUR, recorded_at=world.now + timedelta(minutes=5), recorded_by=None
    )
    found = compared(world, slot, erector)
    assert named(found) == [("hours", second.pk, "corrected_since")]
    assert str(entry.pk) in found.differences[0].what
    effect = next(each for each in found.differences[0].effects if each.key == "model_hours")
    assert (effect.then, effect.now) == ("240 h", "232 h")


def test_a_withdrawn_assessment(world: World, slot: Slot, erector: Worker) -> None:
    gone = evidence.withdraw(erector.assessment_records.get(), recorded_at=world.now, recorded_by=None)
    found = compared(world, slot, erector)
    assert (found.then.outcome, found.now.outcome) == ("permitted", "refused")
    assert named(found) == [("assessment", gone.pk, "withdrawn_since")]


def test_a_stand_down_recorded_late(world: World, slot: Slot, erector: Worker) -> None:
    barred = evidence.stand_down(
        worker=erector,
        start=world.now - timedelta(days=20),
        reason="unsafe conduct",
        recorded_at=world.now,
        recorded_by=None,
    )
    found = compared(world, slot, erector)
    assert (found.then.outcome, found.now.outcome) == ("permitted", "refused")
    assert named(found) == [("stand_down", barred.pk, "stood_down_since")]
    assert [each.key for each in found.differences[0].effects] == ["no_stand_down"]


def test_an_entry_that_was_there_but_countersigned_later(world: World, slot: Slot) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    world.make_erector(newcomer, days=29)
    entry = late_hours(
        world, newcomer, recorded_at=world.now - timedelta(days=3), countersigner=None, countersigned_at=None
    )
    evidence.countersign(entry=entry, by=world.assessor, at=entry.end + HOUR, recorded_at=world.now, recorded_by=None)
    found = compared(world, slot, newcomer)
    assert named(found) == [("countersignature", entry.pk, "countersigned_since")]
    assert "Petra Lindqvist" in found.differences[0].what


def test_a_record_of_the_signer_that_took_the_signatures_worth(world: World, slot: Slot, erector: Worker) -> None:
    barred = evidence.stand_down(
        worker=world.assessor,
        start=world.now - timedelta(days=800),
        reason="signed without looking",
        recorded_at=world.now,
        recorded_by=None,
    )
    found = compared(world, slot, erector)
    assert (found.then.outcome, found.now.outcome) == ("permitted", "refused")
    assert named(found) == [("stand_down", barred.pk, "stood_down_since")]
    (difference,) = found.differences
    assert difference.of_a_signer
    assert {each.key for each in difference.effects} >= {"model_hours", "practical_assessment"}
    withheld = found.seen_by({erector.pk}).differences[0]
    assert withheld.withheld
    assert "Petra" not in withheld.sentence
    assert "stand-down" not in withheld.record


def test_a_worker_registered_later(world: World, slot: Slot) -> None:
    late = people.register_worker(
        given_name="Ana", family_name="Brisk", recorded_at=world.now, recorded_by=None, date_of_birth=date(1990, 1, 2)
    )
    found = compared(world, slot, late)
    assert found.then.answered is None
    assert "Ana Brisk" in found.then.sentence
    assert found.now.outcome == "refused"
    assert named(found) == [("worker", late.pk, "registered_since")]
    assert found.outcome_differs


def test_an_instant_before_the_register_knew_anything(world: World, slot: Slot, erector: Worker) -> None:
    before = compared(world, slot, erector, known_at=erector.recorded_at - timedelta(days=400))
    assert before.then.outcome == "none"
    assert {each.kind for each in before.differences} >= {"worker", "model", "employer", "hours", "assessment"}
    assert before.now.outcome == "permitted"
    assert before.outcome_differs


def test_a_figure_the_employer_raised_since(world: World, slot: Slot, erector: Worker) -> None:
    figure = set_employer_figure(
        employer=world.employer,
        standard_key=STANDARD,
        setting="erector_on_model",
        minutes=100 * 1000,
        recorded_at=world.now,
    )
    found = compared(world, slot, erector)
    assert (found.then.outcome, found.now.outcome) == ("permitted", "refused")
    assert [(each.kind, each.why) for each in found.differences] == [("figure", "figure_since")]
    assert str(figure.minutes) in found.differences[0].record


def test_a_placement_recorded_late(world: World, slot: Slot, erector: Worker) -> None:
    placed = CranePlacement.objects.get(crane=world.crane)
    moved = equipment.place_crane(
        crane=world.crane,
        site=world.site,
        start=world.now - timedelta(days=3),
        supersedes=placed,
        recorded_at=world.now,
        recorded_by=None,
    )
    found = compared(world, slot, erector)
    assert found.then.outcome == "permitted"
    # By the maker's practice hours on a crane that was not there count only in part, or not at all.
    assert named(found) == [("placement", moved.pk, "corrected_since")]


@pytest.mark.parametrize("wrong", ["2026-05-01T07:30", "yesterday", ""])
def test_an_instant_without_an_offset_is_refused(wrong: str) -> None:
    with pytest.raises(RecordRefused) as refused:
        parse_instant(wrong, field="at")
    assert refused.value.problems[0].field == "at"


def test_the_future_is_refused(world: World, slot: Slot, erector: Worker) -> None:
    with pytest.raises(RecordRefused, match="cannot know the future"):
        compared(world, slot, erector, known_at=world.now + 2 * HOUR)
    with pytest.raises(RecordRefused, match="offset"):
        compared(world, slot, erector, known_at=world.now.replace(tzinfo=None))


def test_a_question_that_cannot_be_put_at_any_time_is_refused(world: World, slot: Slot, erector: Worker) -> None:
    asking = replace(asked(slot, erector), standard_key="no-such-standard")
    with pytest.raises(BadInput):
        compare(asking, known_at=world.now, now=world.now + HOUR)


# Replayed: each answer was given when only the records of then were in the database.


def certificate_of(worker: Worker) -> Certification:
    return Certification.objects.current().get(worker=worker)


def history(world: World, worker: Worker, chance: Random) -> list[Callable[[datetime], Any]]:
    """Things to record one after another, in an order of its own for each seed."""

    def status(kind: str, days: int) -> Callable[[datetime], Any]:
        return lambda at: evidence.change_certification_status(
            certification=certificate_of(worker),
            status=kind,
            effective_at=world.now - timedelta(days=days),
            reason="The board's letter",
            recorded_at=at,
            recorded_by=world.registrar(),
        )

    def stand_down(whom: Worker, days: int) -> Callable[[datetime], Any]:
        return lambda at: evidence.stand_down(
            worker=whom, start=world.now - timedelta(days=days), reason="conduct", recorded_at=at, recorded_by=None
        )

    def shortened(at: datetime) -> Any:
        entry = HoursEntry.objects.current().filter(worker=worker).order_by("?").first()
        assert entry is not None
        return evidence.correct(entry, end=entry.start + HOUR, recorded_at=at, recorded_by=None)

    def countersigned(at: datetime) -> Any:
        entry = HoursEntry.objects.current().filter(worker=worker, countersignatures=None).first()
        if entry is not None:
            evidence.countersign(entry=entry, by=world.assessor, at=entry.end, recorded_at=at, recorded_by=None)

    def renewed(at: datetime) -> Any:
        changes = {"expires": (world.now - timedelta(days=chance.choice([1, 250]))).date()}
        return evidence.correct(certificate_of(worker), recorded_at=at, recorded_by=None, **changes)

    steps = [
        status("suspended", 20),
        status("reinstated", 10),
        stand_down(world.assessor, 15),
        stand_down(worker, 12),
        lambda at: late_hours(world, worker, recorded_at=at),
        lambda at: late_hours(world, worker, recorded_at=at, days_ago=5, countersigner=None, countersigned_at=None),
        countersigned,
        shortened,
        countersigned,
        renewed,
        lambda at: set_employer_figure(
            employer=world.employer,
            standard_key=STANDARD,
            setting="supervisor_on_model",
            minutes=chance.choice([15000, 14000]),
            recorded_at=at,
        ),
    ]
    return chance.sample(steps, len(steps))


@pytest.mark.parametrize("seed", range(6))
def test_the_answer_of_then_is_the_one_given_when_no_later_record_existed(
    world: World, supervising: Slot, supervisor: Worker, seed: int
) -> None:
    asking = asked(supervising, supervisor)
    given = [(supervising.job.start, answer(asking).answer)]
    for number, record in enumerate(history(world, supervisor, Random(seed))):
        at = world.now + timedelta(minutes=number)
        record(at)
        given.append((at, answer(asking).answer))
    for instant, answered in given:
        found = compare(asking, known_at=instant, now=world.now + HOUR)
        assert found.then.answered is not None
        assert found.now.answered is not None
        assert replace(found.then.answered.answer, question=answered.question) == answered
        assert found.now.answered.answer == given[-1][1]
        assert not found.outcome_differs or found.differences
        assert all(each.recorded_at > instant for each in found.differences)
    assert not compare(asking, known_at=given[-1][0], now=world.now + HOUR).differences


# Crews


def test_who_stood_in_a_place_by_what_was_known(world: World, erector: Worker) -> None:
    job = world.job(["erector"])
    outcome = world.assign(job.slots.get(), erector)
    assert outcome.assignment is not None
    during = job.start + HOUR
    before = crew_as_known(job, day_instant=during, known_at=world.now - HOUR, now=during)
    assert before.not_planned_yet
    (place,) = before.places
    assert place.then == ()
    assert [each.worker for each in place.now] == [erector]
    assert place.differs
    assert "Mira Sandoval was put into this place" in place.since[0].sentence
    known = crew_as_known(job, day_instant=during, known_at=world.now, now=during)
    assert not known.differs
    assert [each.standing for each in known.places[0].then] == ["standing"]


def test_an_assignment_held_later(world: World, erector: Worker) -> None:
    job = world.job(["erector"])
    assignment = world.assign(job.slots.get(), erector).assignment
    assert assignment is not None
    evidence.stand_down(
        worker=erector,
        start=world.now - timedelta(days=1),
        reason="conduct",
        recorded_at=world.now + timedelta(minutes=1),
        recorded_by=None,
    )
    during, after = job.start + HOUR, job.end + HOUR
    found = crew_as_known(job, day_instant=during, known_at=world.now - timedelta(seconds=1) + HOUR * 0, now=after)
    assert found.not_planned_yet
    found = crew_as_known(job, day_instant=during, known_at=world.now, now=after)
    (place,) = found.places
    assert [each.standing for each in place.then] == ["standing"]
    assert [each.standing for each in place.now] == ["held"]
    assert AssignmentState.objects.get(assignment=assignment).standing == "held"
    assert "was held" in place.since[0].sentence
    assert [each.outcome_differs for each in place.comparisons] == [True]


def test_somebody_swapped_in_during_the_job(world: World, erector: Worker) -> None:
    other = world.worker("Rafe", "Ostrom")
    world.make_erector(other)
    job = world.job(["erector"])
    leaving = world.assign(job.slots.get(), erector).assignment
    assert leaving is not None
    changed = job.start + timedelta(days=1)
    crews.substitute(
        leaving=leaving,
        worker_id=other.pk,
        from_instant=changed,
        reason="ill",
        assigned_at=world.now + timedelta(minutes=2),
        assigned_by=None,
    )
    after = job.end + HOUR

    def stood(at: datetime, known_at: datetime) -> tuple[list[Worker], list[Worker]]:
        (place,) = crew_as_known(job, day_instant=at, known_at=known_at, now=after).places
        return [each.worker for each in place.then], [each.worker for each in place.now]

    assert stood(changed - HOUR, after) == ([erector], [erector])
    assert stood(changed + HOUR, after) == ([other], [other])
    assert stood(changed + HOUR, world.now) == ([erector], [other])


def test_an_earlier_plan_of_the_job(world: World, erector: Worker) -> None:
    job = world.job(["erector"])
    world.assign(job.slots.get(), erector)
    later = crews.plan_job(
        employer=world.employer,
        site=world.site,
        crane=world.crane,
        operation="dismantling",
        standard_key=STANDARD,
        start=job.start + timedelta(days=1),
        end=job.end,
        roles=["erector"],
        recorded_at=world.now + timedelta(minutes=1),
        recorded_by=None,
        supersedes=job,
    )
    found = crew_as_known(job, day_instant=job.start + HOUR, known_at=world.now, now=job.end)
    assert str(later.pk) in found.replaced
    assert [each.standing for each in found.places[0].then] == ["standing"]
    assert found.places[0].now == ()


def test_a_worker_sees_of_a_crew_only_themself(world: World, erector: Worker) -> None:
    other = world.worker("Rafe", "Ostrom")
    world.make_erector(other)
    job = world.job(["erector", "erector"])
    for place, worker in zip(job.slots.order_by("id"), (erector, other), strict=True):
        world.assign(place, worker)
    whole = crew_as_known(job, day_instant=job.start, known_at=world.now - HOUR, now=job.end)
    seen = str(whole.seen_by({erector.pk}, whole_crew=False).as_json())
    assert "Mira" in seen
    assert "Rafe" not in seen
    assert "Rafe" in str(whole.as_json())


def test_the_crew_takes_a_fixed_number_of_statements_beside_the_answers(world: World) -> None:
    counts = []
    for size in (1, 4):
        job = world.job(["erector"] * size)
        with CaptureQueriesContext(
            connection,
        ) as captured:
            crew_as_known(job, day_instant=job.start, known_at=world.now, now=job.end)
        counts.append(len(captured))
    assert counts[0] == counts[1]
