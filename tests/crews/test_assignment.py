"""Putting people into slots: permitted or refused, both recorded."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from registry.crews import services as crews
from registry.crews.models import Assignment, AssignmentEvent, Decision, Refusal
from registry.database.errors import RecordRefused, refusals
from registry.evidence import services as evidence
from registry.evidence.models import Certification, HoursEntry
from tests.world import World


def test_a_newcomer_is_refused_with_the_shortfall_and_the_remedy(world: World) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    world.hours(newcomer, days=1)
    slot = world.job(["erector"]).slots.get()
    outcome = world.assign(slot, newcomer)
    assert not outcome.permitted
    assert not Assignment.objects.exists()
    assert Refusal.objects.get().decision == outcome.decision
    answer = outcome.decision.answer
    hours = next(each for each in answer["requirements"] if each["key"] == "model_hours")
    assert hours["shortfall_minutes"] == hours["required_minutes"] - hours["found_minutes"]
    assert hours["source"]["title"] == "set by the employer, no published figure"
    assert {each["kind"] for each in answer["remedy"]["items"]} >= {"hours", "assessment", "instruction"}


def test_an_erector_with_documents_is_assigned(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    outcome = world.assign(world.job(["erector"]).slots.get(), erector)
    assert outcome.permitted, outcome.decision.answer
    assert outcome.assignment is not None
    assert outcome.assignment.state.standing == "standing"
    assert f"worker:{world.assessor.pk}" in outcome.decision.evidence_versions


def test_a_revoked_certificate_holds_the_assignment_in_the_same_transaction(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    outcome = world.assign(world.job(["erector"]).slots.get(), erector)
    assert outcome.assignment is not None
    evidence.change_certification_status(
        certification=Certification.objects.get(worker=erector),
        status="revoked",
        effective_at=world.now,
        recorded_at=world.now,
        recorded_by=None,
    )
    outcome.assignment.state.refresh_from_db()
    assert outcome.assignment.state.standing == "held"


def test_a_later_not_yet_competent_keeps_the_assignment_held(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    outcome = world.assign(world.job(["erector"]).slots.get(), erector)
    assert outcome.assignment is not None
    world.assess(erector, "erector", outcome="not_yet_competent", at=world.now)
    again = crews.decide_again(assignment=outcome.assignment, decided_at=world.now, decided_by=None)
    assert not again.permitted
    outcome.assignment.state.refresh_from_db()
    assert outcome.assignment.state.standing == "held"


def test_a_stand_down_of_the_signer_holds_those_who_rest_on_the_signature(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    outcome = world.assign(world.job(["erector"]).slots.get(), erector)
    assert outcome.assignment is not None
    evidence.stand_down(
        worker=world.assessor, start=world.now, reason="unsafe conduct", recorded_at=world.now, recorded_by=None
    )
    outcome.assignment.state.refresh_from_db()
    assert outcome.assignment.state.standing == "held"
    # The signature was good on its date, so a fresh decision confirms the assignment.
    again = crews.decide_again(assignment=outcome.assignment, decided_at=world.now, decided_by=None)
    assert again.permitted
    outcome.assignment.state.refresh_from_db()
    assert outcome.assignment.state.standing == "standing"


def test_a_withdrawn_hours_entry_holds_the_assignment(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector, days=20)
    outcome = world.assign(world.job(["erector"]).slots.get(), erector)
    assert outcome.assignment is not None, outcome.decision.answer["remedy"]
    entry = HoursEntry.objects.filter(worker=erector).latest("start")
    evidence.withdraw(entry, recorded_at=world.now, recorded_by=None)
    outcome.assignment.state.refresh_from_db()
    assert outcome.assignment.state.standing == "held"


def test_nobody_is_on_two_overlapping_jobs(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    assert world.assign(world.job(["erector"]).slots.get(), erector).permitted
    with pytest.raises(RecordRefused, match="another job at that time"):
        world.assign(world.job(["erector"], starts_in=4).slots.get(), erector)


def test_a_slot_holds_one_person_at_a_time(world: World) -> None:
    slot = world.job(["erector"]).slots.get()
    for name in ("Mira", "Rafe"):
        erector = world.worker(name, "Sandoval")
        world.make_erector(erector)
        if name == "Mira":
            assert world.assign(slot, erector).permitted
        else:
            with pytest.raises(RecordRefused, match="Somebody else is in this position"):
                world.assign(slot, erector)


def test_nobody_is_counted_twice_in_one_role(world: World) -> None:
    job = world.job(["erector", "erector"])
    first, second = job.slots.order_by("position")
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    half = job.start + timedelta(days=1)
    taken = crews.assign(
        slot_id=first.pk,
        worker_id=mira.pk,
        start=job.start,
        end=half,
        assigned_at=world.now,
        assigned_by=None,
    )
    assert taken.permitted
    with pytest.raises(RecordRefused, match="another position of the same role"):
        world.assign(second, mira)
    later = crews.assign(
        slot_id=second.pk, worker_id=mira.pk, start=half, end=job.end, assigned_at=world.now, assigned_by=None
    )
    assert later.permitted


def test_nobody_leaves_before_they_were_put_into_the_place(world: World) -> None:
    job = world.job(["erector"])
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    assignment = world.assign(job.slots.get(), mira).assignment
    assert assignment is not None
    given: dict[str, Any] = {"assignment": assignment, "reason": "", "recorded_at": world.now, "recorded_by": None}
    with pytest.raises(RecordRefused, match="cannot end before it starts"):
        crews.end_assignment(ends_at=world.now - timedelta(days=1), **given)
    assert crews.end_assignment(ends_at=world.now, **given).pk


def test_nobody_leaves_when_their_time_is_over(world: World) -> None:
    job = world.job(["erector"])
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    assignment = world.assign(job.slots.get(), mira).assignment
    assert assignment is not None
    given: dict[str, Any] = {"assignment": assignment, "reason": "", "recorded_at": world.now, "recorded_by": None}
    with pytest.raises(RecordRefused, match="Mira Sandoval is in this position from .* to ") as refused:
        crews.end_assignment(ends_at=job.end, **given)
    assert [each.field for each in refused.value.problems] == ["ends_at"]
    with pytest.raises(RecordRefused, match="assignment is over by then"), refusals(), transaction.atomic():
        AssignmentEvent.objects.create(
            assignment=assignment, kind="ended", happened_at=job.end, recorded_at=world.now, recorded_by=None
        )


def test_a_typed_time_outside_the_place_is_not_moved_into_it(world: World) -> None:
    job = world.job(["erector"])
    mira, rafe = world.worker("Mira", "Sandoval"), world.worker("Rafe", "Osei")
    for each in (mira, rafe):
        world.make_erector(each)
    leaving = world.assign(job.slots.get(), mira).assignment
    assert leaving is not None
    given: dict[str, Any] = {"leaving": leaving, "worker_id": rafe.pk, "reason": "ill", "assigned_by": None}
    for typed in (job.start - timedelta(days=365), job.end + timedelta(days=365)):
        with pytest.raises(RecordRefused, match="is in this position from"):
            crews.substitute(from_instant=typed, assigned_at=world.now, **given)
    half = job.start + timedelta(days=1)
    assert crews.substitute(from_instant=half, assigned_at=world.now, **given).permitted
    with pytest.raises(RecordRefused, match="has left this position already"):
        crews.substitute(from_instant=half, assigned_at=world.now, **given)


def test_a_blank_time_is_the_start_of_what_is_still_to_come(world: World) -> None:
    job = world.job(["erector"])
    mira, rafe = world.worker("Mira", "Sandoval"), world.worker("Rafe", "Osei")
    for each in (mira, rafe):
        world.make_erector(each)
    leaving = world.assign(job.slots.get(), mira).assignment
    assert leaving is not None
    outcome = crews.substitute(
        leaving=leaving, worker_id=rafe.pk, from_instant=None, reason="ill", assigned_at=world.now, assigned_by=None
    )
    assert outcome.assignment is not None
    assert outcome.assignment.start == job.start


def test_a_substitute_takes_over_from_an_instant_on(world: World) -> None:
    job = world.job(["erector"])
    slot = job.slots.get()
    first, second = world.worker("Mira", "Sandoval"), world.worker("Rafe", "Osei")
    for each in (first, second):
        world.make_erector(each)
    leaving = world.assign(slot, first).assignment
    assert leaving is not None
    swap = job.start + timedelta(days=1)
    outcome = crews.substitute(
        leaving=leaving, worker_id=second.pk, from_instant=swap, reason="ill", assigned_at=world.now, assigned_by=None
    )
    assert outcome.assignment is not None
    leaving.state.refresh_from_db()
    assert leaving.state.during.upper == swap == outcome.assignment.start


def test_a_refused_substitute_changes_nothing_but_is_recorded(world: World) -> None:
    job = world.job(["erector"])
    first, newcomer = world.worker("Mira", "Sandoval"), world.worker("Tomas", "Ferreira")
    world.make_erector(first)
    leaving = world.assign(job.slots.get(), first).assignment
    assert leaving is not None
    outcome = crews.substitute(
        leaving=leaving,
        worker_id=newcomer.pk,
        from_instant=job.start,
        reason="ill",
        assigned_at=world.now,
        assigned_by=None,
    )
    assert not outcome.permitted
    leaving.state.refresh_from_db()
    assert leaving.state.standing == "standing"
    assert leaving.state.during.upper == job.end
    assert Refusal.objects.get().decision.worker == newcomer


def test_an_assignment_outside_the_job_is_refused_by_field(world: World) -> None:
    job = world.job(["erector"])
    with pytest.raises(RecordRefused) as refused:
        crews.assign(
            slot_id=job.slots.get().pk,
            worker_id=world.assessor.pk,
            start=job.start - timedelta(hours=1),
            end=job.end + timedelta(hours=1),
            assigned_at=world.now,
            assigned_by=None,
        )
    assert [each.field for each in refused.value.problems] == ["start", "end"]


def test_a_changed_job_ends_its_crew(world: World) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    job = world.job(["erector"])
    assignment = world.assign(job.slots.get(), erector).assignment
    assert assignment is not None
    crews.plan_job(
        employer=world.employer,
        site=world.site,
        crane=world.crane,
        operation="dismantling",
        standard_key=job.standard_key,
        start=job.start,
        end=job.end + timedelta(days=1),
        roles=["erector"],
        recorded_at=world.now,
        recorded_by=None,
        supersedes=job,
    )
    assignment.state.refresh_from_db()
    assert assignment.state.standing == "ended"
    with pytest.raises(RecordRefused, match="changed or withdrawn"):
        world.assign(job.slots.get(), erector)


def test_the_number_of_statements_does_not_grow_with_the_record(world: World) -> None:
    counts = []
    for name, days in (("Mira", 25), ("Rafe", 60)):
        erector = world.worker(name, "Sandoval")
        world.make_erector(erector, days=days)
        slot = world.job(["erector"]).slots.get()
        with CaptureQueriesContext(connection) as captured:
            assert world.assign(slot, erector).permitted
        counts.append(len(captured))
    assert counts[0] == counts[1]
    assert Decision.objects.count() == 2
