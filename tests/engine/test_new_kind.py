"""A kind of requirement is one class and one line in the table: here a toy, made of nothing else."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

import pytest

from registry.engine.bad_input import BadInput
from registry.engine.evaluator import Evaluator
from registry.engine.evidence import Instruction
from registry.engine.files.case_file import read_case
from registry.engine.files.schemas import standard_schema
from registry.engine.intervals import FOREVER, Timeline
from registry.engine.question import Asked, Question
from registry.engine.requirements.kinds import KINDS
from registry.engine.requirements.leaf import Evaluation, FiguresOfStandard, Leaf
from registry.engine.sentences import Sentence, say
from tests.engine.small_world import asked, at, certificate, decided, leaf, standard_data, standard_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Medal(Leaf[Evaluation]):
    """A medal of a rank: instruction on its topic, whoever gave it."""

    kind = "medal"
    fields = {"rank": {"type": "string", "minLength": 1}}
    required = ("rank",)

    rank: str

    @classmethod
    def read(
        cls, content: Mapping[str, Any], common: Mapping[str, Any], standard: FiguresOfStandard, path: str
    ) -> Self:
        return cls(**common, rank=content["rank"])

    def evaluate(self, asked: Asked, evaluator: Evaluator, leaves: Mapping[str, Leaf]) -> Evaluation:
        courses = [
            course
            for course in evaluator.evidence.instruction_of.get(asked.person, [])
            if course.topic == f"medal {self.rank}"
        ]
        timeline = Timeline.of((course.completed_at, FOREVER) for course in courses)
        return Evaluation(timeline, counted=[course.id for course in courses])

    def remedy(self, question: Question) -> Sentence:
        return say("a medal: %(rank)s", rank=self.rank)

    def together_with(self, other: Medal) -> Medal | None:
        return self if self.rank == other.rank else None

    @property
    def paper(self) -> Any:
        return self.rank


GOLD = leaf("medal", "gold", rank="gold")


def won(rank: str) -> Instruction:
    when = at("2026-05-01T12:00")
    return Instruction(id=rank, recorded_at=when, worker="worker", topic=f"medal {rank}", completed_at=when)


@pytest.fixture(autouse=True)
def _in_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(KINDS, Medal.kind, Medal)


def test_it_is_parsed() -> None:
    (requirement,) = [each for each in standard_of(GOLD).roles[0].leaves() if each.kind == "medal"]
    assert requirement == Medal(key="gold", sentence="gold", source=requirement.source, cost=1, rank="gold")


@pytest.mark.parametrize("wrong", [{}, {"rank": ""}, {"rank": 1}, {"rank": "gold", "colour": "red"}])
def test_its_schema_is_part_of_the_standards(wrong: dict[str, Any]) -> None:
    with pytest.raises(BadInput) as caught:
        standard_of(leaf("medal", "gold", **wrong))
    assert caught.value.path.startswith("$.roles[0].requirement.all_of[1].medal")
    assert "medal" in standard_schema(KINDS.values())["$defs"]["node"]["properties"]


def test_it_is_decided_and_told() -> None:
    without = decided(standard_of(GOLD))
    assert not without.permitted
    told = {each.key: each for each in without.requirements}["gold"]
    assert (told.kind, told.met, told.needed, told.found, told.shortfall) == (
        "medal",
        False,
        True,
        "none that counts",
        "missing",
    )
    with_it = decided(standard_of(GOLD), won("gold"))
    assert with_it.permitted
    told = {each.key: each for each in with_it.requirements}["gold"]
    assert (told.found, told.counted) == ("in force, no end", (won("gold").id,))


def test_its_remedy_is_asked_for_once_and_cures() -> None:
    standard = standard_of(GOLD, leaf("medal", "gold_too", rank="gold"), leaf("medal", "silver", rank="silver"))
    remedy = decided(standard).remedy
    assert remedy is not None
    assert [(each.kind, each.leaf, each.sentence) for each in remedy.items] == [
        ("medal", "gold", "a medal: gold"),
        ("medal", "silver", "a medal: silver"),
    ]
    assert not decided(standard, won("gold")).permitted
    assert decided(standard, won("gold"), won("silver")).permitted


def test_it_stands_in_groups_like_any_other() -> None:
    either = {"any_of": [GOLD, leaf("certification", "certificate", schemes=["rigging"])]}
    assert decided(standard_of(either), won("gold")).permitted
    assert decided(standard_of(either), certificate(scheme="rigging")).permitted
    assert not decided(standard_of(either)).permitted


def test_a_case_file_may_ask_for_it() -> None:
    case = {
        "title": "A medal",
        "people": [{"id": "worker", "name": "Robin Field"}],
        "employers": [{"id": "kestrel", "name": "Kestrel Tower Works"}],
        "models": [{"id": "m", "maker": "Norrland Hoist", "designation": "NH 280", "class": "flat top"}],
        "standard": standard_data(GOLD),
        "question": {
            **{name: getattr(asked(), name) for name in ("worker", "role", "model", "operation", "employer")},
            "jurisdiction": "US",
            "start": "2026-06-01T07:00-05:00",
            "end": "2026-06-01T19:00-05:00",
            "time_zone": "America/Chicago",
        },
    }
    assert "gold" in {each.key for each in read_case(json.dumps(case)).standard.roles[0].leaves()}


def test_a_kind_that_is_not_in_the_table_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(KINDS, Medal.kind)
    with pytest.raises(BadInput):
        standard_of(GOLD)
