"""Which late changes make the difference: tried on the engine's own generated worlds."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from random import Random
from typing import Any

from hypothesis import given

from registry.engine.decide import decide
from registry.engine.evidence import CertificationStatus, Evidence, HoursEntry, Record
from registry.engine.question import Question
from registry.engine.standard import Standard
from registry.inspection.late_changes import LateChanges
from tests.engine.test_properties import LAST_DAY, MANY, at, generated, itself, questions, standards, worlds

Made = tuple[Evidence, Standard, Question, Random]


def recorded_at_random(world: Evidence, chance: Random) -> Evidence:
    """The same world, recorded in any order after it happened, with corrections and withdrawals among it."""

    def recorded(record: Record) -> Record:
        later = record.recorded_at + timedelta(days=chance.choice([0, 0, 1, 100, 400]))
        if isinstance(record, HoursEntry):
            signatures = {each.by: each for each in record.countersignatures}
            return replace(
                record,
                recorded_at=later,
                countersignatures=tuple(
                    replace(each, recorded_at=max(each.recorded_at, later) + timedelta(days=chance.choice([0, 0, 60])))
                    for each in signatures.values()
                ),
            )
        return replace(record, recorded_at=later)

    def corrected(record: Record, number: int) -> list[Record]:
        # A status or a retraining that names a corrected record is a case of its own in the engine.
        if chance.random() < 0.8 or isinstance(record, CertificationStatus):
            return [record]
        correction = replace(
            record,
            id=f"{record.id}-correction-{number}",
            supersedes=record.id,
            recorded_at=record.recorded_at + timedelta(days=chance.choice([0, 30, 300])),
            withdrawn=chance.random() < 0.5,
        )
        return [record, correction]

    kinds: dict[str, Any] = {
        name: tuple(one for number, each in enumerate(records) for one in corrected(recorded(each), number))
        for name, records in world.record_kinds()
    }
    return replace(world, **kinds)


def only_recorded_by(evidence: Evidence, instant: datetime) -> Evidence:
    """The register as it stood: later rows and later signatures are simply not there."""

    def kept(record: Record) -> Record:
        if not isinstance(record, HoursEntry):
            return record
        signed = tuple(each for each in record.countersignatures if each.recorded_at <= instant)
        return replace(record, countersignatures=signed)

    kinds: dict[str, Any] = {
        name: tuple(kept(each) for each in records if each.recorded_at <= instant)
        for name, records in evidence.record_kinds()
    }
    return replace(evidence, **kinds)


def late_changes(made: Made) -> tuple[LateChanges, Evidence, Standard, Question]:
    world, standard, question, chance = made
    world = recorded_at_random(world, chance)
    instant = at(chance.randint(0, LAST_DAY + 200))
    return LateChanges(world, question, instant, lambda _known: standard), world, standard, question


@MANY
@given(generated(worlds, standards, questions, itself))
def test_with_nothing_late_it_is_the_engines_answer_on_the_records_of_then(made: Made) -> None:
    late, world, standard, question = late_changes(made)
    then = decide(only_recorded_by(world, late.known_at), standard, question)
    assert late.decision(frozenset()) == then
    assert replace(decide(world, standard, replace(question, known_at=late.known_at)), question=question) == then


@MANY
@given(generated(worlds, standards, questions, itself))
def test_with_everything_late_it_is_the_engines_answer_of_now(made: Made) -> None:
    late, world, standard, question = late_changes(made)
    assert late.decision(late.everything) == decide(world, standard, question)


@MANY
@given(generated(worlds, standards, questions, itself))
def test_the_responsible_changes_turn_one_account_into_the_other_and_none_can_be_left_out(made: Made) -> None:
    late, _, _, _ = late_changes(made)
    named = frozenset(each.key for each in late.responsible)
    target = late.account(late.everything)
    assert late.account(named) == target
    for each in named:
        assert late.account(named - {each}) != target
        assert late.requirements_changed_by(next(one for one in late.responsible if one.key == each)) or (
            late.account(named - {each}).outcome,
            late.account(named - {each}).holds_until,
        ) != (target.outcome, target.holds_until)


@MANY
@given(generated(worlds, standards, questions, itself))
def test_equal_accounts_name_no_record(made: Made) -> None:
    late, _, _, _ = late_changes(made)
    if late.account(frozenset()) == late.account(late.everything):
        assert late.responsible == []
    else:
        assert late.responsible
