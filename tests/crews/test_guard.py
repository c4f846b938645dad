"""Attempts to get past the guard with everything the application's database role can do."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import DatabaseError, connection, connections, transaction

from registry.crews import services as crews
from registry.crews.models import Assignment, AssignmentEvent, Decision, Job, Slot
from registry.crews.queries import asking_for_slot, slot_with_job
from registry.crews.sealing import seal
from registry.database.errors import constraint_of
from registry.equipment.services import register_site
from registry.people.models import Worker
from registry.people.services import record_language, register_worker
from tests.world import STANDARD, World


def sql(statement: str, *parameters: Any) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, parameters)


def refused_by(rule: str, act: Callable[[], Any]) -> None:
    with pytest.raises(DatabaseError) as refused, transaction.atomic():
        act()
    assert constraint_of(refused.value) == rule


def denied(statement: str, *parameters: Any) -> None:
    with pytest.raises(DatabaseError) as refused:
        sql(statement, *parameters)
    assert refused.value.__cause__ is not None
    assert refused.value.__cause__.sqlstate == "42501"  # type: ignore[attr-defined]  # insufficient_privilege


@pytest.fixture
def slot(world: World) -> Slot:
    return slot_with_job(world.job(["erector"]).slots.get().pk)


@pytest.fixture
def erector(world: World) -> Worker:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    return erector


def decided(world: World, slot: Slot, worker: Worker, **more: Any) -> Decision:
    window = {"start": slot.job.start, "end": slot.job.end} | more
    return crews.check(asking=asking_for_slot(slot, worker=worker.pk, **window), decided_at=world.now, decided_by=None)


def assignment(world: World, slot: Slot, worker: Worker, decision: Decision, **more: Any) -> Assignment:
    window = {"start": slot.job.start, "end": slot.job.end} | more
    return Assignment(slot=slot, worker=worker, decision=decision, assigned_at=world.now, **window)


def test_the_honest_way_works(world: World, slot: Slot, erector: Worker) -> None:
    assignment(world, slot, erector, decided(world, slot, erector)).save()
    assert Assignment.objects.get().state.standing == "standing"


def test_a_decision_that_the_engine_did_not_give(world: World, slot: Slot, erector: Worker) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    refusal = decided(world, slot, newcomer)
    said = json.loads(refusal.statement)
    forged = json.dumps(said | {"outcome": "permitted"})
    for stamp in (b"", bytes(32), bytes(refusal.seal)):
        refused_by(
            "decision_carries_the_engines_seal",
            partial(
                sql,
                "INSERT INTO crews_decision (statement, seal, role, configuration, operation, jurisdiction, outcome,"
                ' evidence_versions, worker_id, model_id, employer_id, standard_id, start, "end", decided_at)'
                " SELECT %s, %s, role, configuration, operation, jurisdiction, 'permitted', evidence_versions,"
                ' worker_id, model_id, employer_id, standard_id, start, "end", decided_at'
                " FROM crews_decision WHERE id = %s",
                forged,
                stamp,
                refusal.pk,
            ),
        )


def test_columns_that_differ_from_the_sealed_statement_are_overwritten(world: World, slot: Slot) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    refusal = decided(world, slot, newcomer)
    refused_by("a_decision_is_recorded_once", partial(recorded_again, refusal, refusal.statement))
    refusal = recorded_again(refusal, json.dumps(json.loads(refusal.statement) | {"once": "another"}))
    assert refusal.outcome == "refused"


def recorded_again(refusal: Decision, statement: str) -> Decision:
    """The statement under the engine's seal, in a row that says it permitted."""
    refusal.pk, refusal.statement, refusal.seal = None, statement, seal(statement)
    refusal.outcome = "permitted"
    refusal.save(force_insert=True)
    refusal.refresh_from_db()
    return refusal


def test_a_refusal_puts_nobody_into_a_slot(world: World, slot: Slot) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    refusal = decided(world, slot, newcomer)
    made = assignment(world, slot, newcomer, refusal)
    refused_by("assignment_needs_a_permitted_decision", made.save)
    refused_by("assignment_needs_a_permitted_decision", lambda: Assignment.objects.bulk_create([made]))
    refused_by(
        "assignment_needs_a_permitted_decision",
        lambda: sql(
            'INSERT INTO crews_assignment (slot_id, worker_id, start, "end", decision_id, assigned_at)'
            " VALUES (%s, %s, %s, %s, %s, now())",
            slot.pk,
            newcomer.pk,
            slot.job.start,
            slot.job.end,
            refusal.pk,
        ),
    )


def test_a_decision_about_another_question(world: World, slot: Slot, erector: Worker) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    permitted = decided(world, slot, erector)
    other_slot = world.job(["rigger"], starts_in=30).slots.get()
    rule = "decision_answers_this_question"
    refused_by(rule, assignment(world, slot, newcomer, permitted).save)
    refused_by(rule, assignment(world, other_slot, erector, permitted).save)
    refused_by(rule, assignment(world, slot, erector, permitted, end=slot.job.end - timedelta(days=1)).save)
    shorter = decided(world, slot, erector, end=slot.job.end - timedelta(days=1))
    refused_by(rule, assignment(world, slot, erector, shorter).save)


def test_a_decision_by_what_was_known_once(world: World, slot: Slot, erector: Worker) -> None:
    then = decided(world, slot, erector, known_at=world.now)
    assert then.permitted
    refused_by("assignment_needs_a_permitted_decision", assignment(world, slot, erector, then).save)


def test_a_decision_on_evidence_that_has_changed_since(world: World, slot: Slot, erector: Worker) -> None:
    permitted = decided(world, slot, erector)
    world.hours(erector, days=1, operation="climbing")
    refused_by("decision_rests_on_current_evidence", assignment(world, slot, erector, permitted).save)


def test_a_decision_whose_signer_has_changed_since(world: World, slot: Slot, erector: Worker) -> None:
    permitted = decided(world, slot, erector)
    world.instruct(world.assessor, "first_aid", world.now)
    refused_by("decision_rests_on_current_evidence", assignment(world, slot, erector, permitted).save)


def test_a_decision_that_hides_what_it_rests_on(world: World, slot: Slot, erector: Worker) -> None:
    permitted = decided(world, slot, erector)
    said = json.loads(permitted.statement)
    del said["evidence_versions"][f"worker:{erector.pk}"]
    # Even with the engine's own seal.
    statement = json.dumps(said)
    hiding = Decision(statement=statement, seal=seal(statement))
    for column in ("worker_id", "model_id", "employer_id", "standard_id", "start", "end", "decided_at"):
        setattr(hiding, column, getattr(permitted, column))
    hiding.evidence_versions = {}
    hiding.save()
    refused_by("decision_rests_on_current_evidence", assignment(world, slot, erector, hiding).save)


def test_a_decision_serves_one_assignment(world: World, slot: Slot, erector: Worker) -> None:
    permitted = decided(world, slot, erector)
    made = assignment(world, slot, erector, permitted)
    made.save()
    crews.end_assignment(
        assignment=made, ends_at=slot.job.start, reason="changed plans", recorded_at=world.now, recorded_by=None
    )
    with pytest.raises(DatabaseError, match="decision_id"), transaction.atomic():
        assignment(world, slot, erector, permitted).save()


def test_a_held_assignment_is_not_confirmed_by_an_old_decision(world: World, slot: Slot, erector: Worker) -> None:
    made = assignment(world, slot, erector, decided(world, slot, erector))
    made.save()
    old = decided(world, slot, erector)
    world.assess(erector, "erector", outcome="not_yet_competent", at=world.now)
    confirmation = AssignmentEvent(
        assignment=made, kind="confirmed", decision=old, happened_at=world.now, recorded_at=world.now
    )
    refused_by("decision_rests_on_current_evidence", confirmation.save)


def test_a_trainee_needs_an_erector(world: World) -> None:
    trainee = world.worker("Noor", "Haddad")
    job = world.job(["trainee", "erector"])
    with pytest.raises(DatabaseError):
        sql("INSERT INTO crews_assignmentstate (assignment_id) VALUES (1)")
    slot = slot_with_job(job.slots.get(role="trainee").pk)
    world.make_trainee(trainee)
    permitted = decided(world, slot, trainee)
    assert permitted.permitted, permitted.answer["remedy"]
    refused_by("trainee_is_paired_with_an_erector", assignment(world, slot, trainee, permitted).save)


def test_a_decision_about_another_site(world: World, slot: Slot, erector: Worker) -> None:
    """The site's language is part of the question: on the other site the erector would be refused."""
    permitted = decided(world, slot, erector)
    there = register_site(
        name="Pont-aux-Aulnes",
        time_zone=world.site.time_zone,
        jurisdiction=world.site.jurisdiction,
        working_language="fr",
        recorded_at=world.now,
    )
    crane = world.crane
    job = crews.plan_job(
        employer=world.employer,
        site=there,
        crane=crane,
        operation="dismantling",
        standard_key=STANDARD,
        start=slot.job.start,
        end=slot.job.end,
        roles=["erector"],
        recorded_at=world.now,
        recorded_by=None,
    )
    place = slot_with_job(job.slots.get().pk)
    assert not decided(world, place, erector).permitted
    refused_by("decision_answers_this_question", assignment(world, place, erector, permitted).save)


def test_somebody_who_is_not_on_the_books(world: World, slot: Slot) -> None:
    stranger = register_worker(
        given_name="Lior", family_name="Amsel", date_of_birth=date(1990, 1, 1), recorded_at=world.now, recorded_by=None
    )
    record_language(worker=stranger, language="en", recorded_at=world.now, recorded_by=None)
    world.make_erector(stranger)
    permitted = decided(world, slot, stranger)
    assert permitted.permitted
    refused_by("worker_is_employed_by_the_jobs_employer", assignment(world, slot, stranger, permitted).save)


@pytest.mark.parametrize(
    "table",
    [
        "crews_job",
        "crews_slot",
        "crews_decision",
        "crews_refusal",
        "crews_assignment",
        "crews_assignmentevent",
        "crews_assignmentstate",
        "crews_decisiondependency",
        "evidence_hoursentry",
        "evidence_countersignature",
        "evidence_assessment",
        "evidence_certification",
        "evidence_certificationstatus",
        "evidence_instruction",
        "evidence_appointment",
        "evidence_standdown",
        "evidence_document",
        "evidence_evidenceversion",
        "people_worker",
        "people_employment",
        "people_languageskill",
        "equipment_familydeclaration",
        "equipment_craneplacement",
        "standards_standardversion",
        "standards_employerfigure",
    ],
)
def test_nothing_is_updated_deleted_or_emptied(db: None, table: str) -> None:
    column = "subject" if table == "evidence_evidenceversion" else "id"
    if table == "crews_assignmentstate":
        column = "standing"
    denied(f"UPDATE {table} SET {column} = {column}")
    denied(f"DELETE FROM {table}")
    denied(f"TRUNCATE {table} CASCADE")


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO crews_assignmentstate (assignment_id, standing) VALUES (1, 'standing')",
        "INSERT INTO crews_decisiondependency (decision_id, subject, version) VALUES (1, 'worker:1', 1)",
        "INSERT INTO evidence_evidenceversion (subject, version) VALUES ('worker:1', 1)",
        "SELECT evidence_bump(ARRAY['worker:1'])",
        "SELECT crews_require_current(1)",
        "SELECT * FROM crews_sealing_key",
        "INSERT INTO crews_sealing_key VALUES (''::bytea, ''::bytea)",
        "UPDATE database_policy SET recorded_at_tolerance = NULL",
        "ALTER TABLE crews_assignment DISABLE TRIGGER ALL",
        "DROP TRIGGER assignment_is_permitted ON crews_assignment",
        "SET session_replication_role = replica",
        "SET ROLE {owner}",
        "CREATE OR REPLACE FUNCTION public.crews_require_current(bigint) RETURNS void LANGUAGE sql AS ''",
        "CREATE TABLE public.crews_decision_too ()",
    ],
)
def test_the_guard_cannot_be_taken_away(db: None, statement: str) -> None:
    denied(statement.format(owner=connections["owner"].get_connection_params()["user"]))


def test_a_temporary_table_does_not_stand_in_for_the_real_one(world: World, slot: Slot) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    refusal = decided(world, slot, newcomer)
    sql("CREATE TEMPORARY TABLE crews_decision (LIKE public.crews_decision)")
    sql("INSERT INTO pg_temp.crews_decision SELECT * FROM public.crews_decision")
    sql("UPDATE pg_temp.crews_decision SET outcome = 'permitted'")
    with pytest.raises(DatabaseError) as refused:
        sql(
            'INSERT INTO public.crews_assignment (slot_id, worker_id, start, "end", decision_id, assigned_at)'
            " VALUES (%s, %s, %s, %s, %s, now())",
            slot.pk,
            newcomer.pk,
            slot.job.start,
            slot.job.end,
            refusal.pk,
        )
    assert constraint_of(refused.value) == "assignment_needs_a_permitted_decision"
    sql("DROP TABLE pg_temp.crews_decision")


def test_a_standard_of_another_jurisdiction_cannot_be_chosen(world: World) -> None:
    rule = "job_standard_is_for_the_sites_jurisdiction"
    job = world.job(["erector"])
    refused_by(
        rule,
        lambda: Job.objects.create(
            employer=world.employer,
            site=world.site,
            crane=world.crane,
            operation="dismantling",
            standard_key="no-such-standard",
            start=job.start,
            end=job.end,
            recorded_at=world.now,
        ),
    )
