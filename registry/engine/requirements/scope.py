"""On which crane models, and in which operations, something must be shown so that it counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from typing import Any

from registry.engine.calendar import end_of_day, start_of_day
from registry.engine.evidence import OPERATIONS, Evidence
from registry.engine.intervals import BEGINNING, FOREVER, Interval
from registry.engine.question import Asked, Question
from registry.engine.requirements.leaf import Evaluation
from registry.engine.sentences import say, sentence

SAME = "same"

ON_WHAT = {
    "configuration": sentence("on the model in this configuration"),
    "model": sentence("on the model"),
    "family": sentence("on the model or its family"),
    "class": sentence("on cranes of the same class"),
    "any": sentence("on any crane"),
}
"""Where hours are to be worked, or an assessment given, by scope."""


def operations_in(content: Mapping[str, Any]) -> frozenset[str]:
    """The operations that a standard names; none: the one in question."""
    named = content.get("operations", SAME)
    if named == SAME:
        return frozenset()
    return frozenset(OPERATIONS) if named == "any" else frozenset(named)


@dataclass(slots=True)
class ScopedEvaluation(Evaluation):
    """An evaluation that depends on crane models: ``epochs`` says which count, and when."""

    epochs: list[tuple[Interval, frozenset[str]]] = field(default_factory=list)


def model_epochs(evidence: Evidence, scope: str, asked: Asked) -> list[tuple[Interval, frozenset[str]]]:
    """Which models count, and when: a maker's declaration is in force only for a time."""
    own = frozenset({asked.model})
    models = evidence.models
    if scope in ("model", "configuration"):
        return [((BEGINNING, FOREVER), own)]
    if scope == "any":
        return [((BEGINNING, FOREVER), frozenset(models))]
    if scope == "class":
        crane_class = models[asked.model].crane_class
        same = {key for key, model in models.items() if model.crane_class == crane_class}
        return [((BEGINNING, FOREVER), frozenset(same))]
    maker = models[asked.model].maker
    declared = [
        (whole_days(family.valid_from, family.valid_until, asked), family.models)
        for family in evidence.families
        if asked.model in family.models
        and family.maker == maker
        and all(models[member].maker == maker for member in family.models)
    ]
    edges = sorted({BEGINNING, FOREVER, *(edge for span, _ in declared for edge in span)})
    return [
        (
            (start, end),
            own.union(*(group for span, group in declared if span[0] <= start < span[1])),
        )
        for start, end in pairwise(edges)
    ]


def whole_days(first: date, last: date | None, asked: Asked) -> Interval:
    """From the start of the day ``first`` through the end of ``last`` (``None``: open)."""
    start = start_of_day(first, asked.zone)
    return start, FOREVER if last is None else end_of_day(last, asked.zone)


def configuration_not_stated(scope: str, question: Question) -> str:
    """The obstacle where a configuration is asked for, and none is stated."""
    if scope == "configuration" and question.configuration is None:
        return say("The crane's configuration is not stated.")
    return ""


@dataclass(frozen=True, slots=True)
class ModelsThatCount:
    """On which crane models something may be shown so that it counts throughout the window, and how that is said.

    ``own`` is the model in question.
    """

    scope: str
    models: frozenset[str]
    own: str

    @classmethod
    def throughout(cls, question: Question, scope: str, evaluation: ScopedEvaluation) -> ModelsThatCount:
        """The models that count throughout the window."""
        start, end = question.start, question.end
        models = frozenset[str].intersection(
            *(models_then for span, models_then in evaluation.epochs if span[0] < end and start < span[1])
        )
        # A family of one, or one whose declaration begins or ends inside the window, is no family to work on.
        alone = scope == "family" and models == {question.model}
        return cls("model" if alone else scope, models, question.model)

    def narrowed_to(self, other: ModelsThatCount) -> ModelsThatCount:
        """What counts for both; the model in question always does."""
        if "configuration" in (self.scope, other.scope):
            return self if self.scope == "configuration" else other
        both = self.models & other.models
        for one in (self, other):
            if one.models == both:
                return one
        return ModelsThatCount("model", frozenset({self.own}), self.own)
