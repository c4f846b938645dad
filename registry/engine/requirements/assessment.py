"""A passed practical assessment that no later one has overturned."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Self

from registry.engine.answer import RemedyItem
from registry.engine.calendar import first_day_outside, local_date, start_of_day
from registry.engine.evaluator import Evaluator
from registry.engine.evidence import Assessment
from registry.engine.intervals import FOREVER, Interval, Timeline
from registry.engine.question import Asked, Question
from registry.engine.requirements.account import Holds
from registry.engine.requirements.leaf import FiguresOfStandard, Leaf, Signable
from registry.engine.requirements.scope import (
    ON_WHAT,
    ModelsThatCount,
    ScopedEvaluation,
    configuration_not_stated,
    model_epochs,
    operations_in,
)
from registry.engine.requirements.validity import stays_valid_too_short
from registry.engine.requirements.wanted import Wanted, cost_of_both
from registry.engine.sentences import authored, either, say, sentence
from registry.engine.standard import Standard
from registry.engine.terms import term

ASSESSMENTS = {
    "any": sentence("a practical assessment as %(role)s in %(operations)s, passed and given by an entitled assessor"),
    "third_party": sentence(
        "a practical assessment as %(role)s in %(operations)s, passed and given by an entitled third-party assessor"
    ),
    "employer": sentence(
        "a practical assessment as %(role)s in %(operations)s, passed and given by the employer's entitled assessor"
    ),
}
"""The assessment to obtain, by who must give it."""


@dataclass(slots=True)
class AssessmentEvaluation(ScopedEvaluation):
    """``setbacks`` are when a later assessment ends it, whatever was obtained before."""

    setbacks: list[datetime] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticalAssessment(Leaf[AssessmentEvaluation]):
    """A passed practical assessment that no later one has overturned."""

    kind = "assessment"
    fields = {
        "scope": {"$ref": "#/$defs/scope"},
        "role": {"$ref": "#/$defs/role"},
        "operations": {"$ref": "#/$defs/operations"},
        "within_months": {"$ref": "#/$defs/months"},
        "assessor": {"enum": ["any", "third_party", "employer"]},
        "independent": {"type": "boolean"},
    }
    required = ("scope",)
    holds = Holds(
        sentence("passed, standing until %(instant)s"),
        sentence("passed, standing only from %(instant)s"),
        sentence("passed, standing, no end"),
    )

    scope: str
    role: str | None = None
    operations: frozenset[str] = frozenset()
    within_months: int | None = None
    assessor: str = "any"
    independent: bool = True

    @classmethod
    def read(
        cls, content: Mapping[str, Any], common: Mapping[str, Any], standard: FiguresOfStandard, path: str
    ) -> Self:
        return cls(
            **common,
            scope=content["scope"],
            role=content.get("role"),
            operations=operations_in(content),
            within_months=content.get("within_months"),
            assessor=content.get("assessor", "any"),
            independent=content.get("independent", True),
        )

    @property
    def asks_for_configuration(self) -> bool:
        return self.scope == "configuration"

    def can_be_signed(self, so_far: Signable) -> bool:
        return so_far.by(so_far.assessors, self.operations)

    # When it is met

    def evaluate(self, asked: Asked, evaluator: Evaluator, leaves: Mapping[str, Leaf]) -> AssessmentEvaluation:
        evaluation = AssessmentEvaluation(epochs=model_epochs(evaluator.evidence, self.scope, asked))
        passes, setbacks = self._passes_and_setbacks(asked, evaluator, evaluation)
        # A setback ends a pass only while its own model counts, as a pass counts only while its model does.
        evaluation.setbacks = [
            setback.assessed_at
            for setback in setbacks
            if any(
                span[0] <= setback.assessed_at < span[1] and setback.model in models_then
                for span, models_then in evaluation.epochs
            )
        ]
        standing: list[Interval] = []
        for passed in passes:
            valid_until = FOREVER
            if self.within_months is not None:
                day = local_date(passed.assessed_at, asked.zone)
                valid_until = start_of_day(first_day_outside(day, self.within_months), asked.zone)
            reason = "too_old" if valid_until <= asked.since else None
            for span, models_then in evaluation.epochs:
                now = span[0] <= asked.since < span[1]
                if passed.model not in models_then:
                    reason = reason or ("another_model" if now else None)
                    continue
                later = [
                    setback.assessed_at
                    for setback in setbacks
                    if setback.assessed_at >= passed.assessed_at and setback.model in models_then
                ]
                standing.append((max(passed.assessed_at, span[0]), min([valid_until, span[1], *later])))
                if now and any(instant <= asked.since for instant in later):
                    reason = "overturned"
            if reason is None:
                evaluation.counted.append(passed.id)
            else:
                evaluation.not_counted[reason].append(passed.id)
        evaluation.timeline = Timeline.of(standing)
        return evaluation

    def _passes_and_setbacks(
        self, asked: Asked, evaluator: Evaluator, evaluation: AssessmentEvaluation
    ) -> tuple[list[Assessment], list[Assessment]]:
        """The assessments that count for and against; the evaluation notes all others, and why."""
        passes: list[Assessment] = []
        setbacks: list[Assessment] = []
        models = frozenset().union(*(models_then for _, models_then in evaluation.epochs))
        for assessment in evaluator.evidence.assessments_of.get(asked.person, []):
            reason = self._why_another(assessment, asked, models)
            if reason is None and assessment.outcome != "pass":
                # Counts against the worker whoever gave it: doubt is not met.
                setbacks.append(assessment)
                reason = "not_yet_competent"
            if reason is None:
                reason = evaluator.signatures.judge_assessment(assessment, self, asked)
            if reason is None:
                passes.append(assessment)
            else:
                evaluation.not_counted[reason].append(assessment.id)
        return passes, setbacks

    def _why_another(self, assessment: Assessment, asked: Asked, models: frozenset[str]) -> str | None:
        """Why it is not such an assessment as is asked for; ``None`` if it is."""
        if assessment.kind != "practical":
            return "not_practical"
        if assessment.role != (self.role or asked.role):
            return "another_role"
        if assessment.model not in models:
            return "another_model"
        if self.scope == "configuration" and (
            asked.configuration is None or assessment.configuration != asked.configuration
        ):
            return "another_configuration"
        if not assessment.operations & (self.operations or frozenset({asked.operation})):
            return "another_operation"
        return None

    # What would meet it

    def obstacle(self, evaluation: AssessmentEvaluation, question: Question, standard: Standard) -> str:
        too_short = stays_valid_too_short(self, self.within_months, question)
        if too_short:
            return too_short
        if any(question.start <= setback < question.end for setback in evaluation.setbacks):
            return say(
                "A later assessment inside the window overturns it (%(requirement)s).",
                requirement=authored(self.sentence),
            )
        return configuration_not_stated(self.scope, question)

    def wanted(
        self, evaluation: AssessmentEvaluation, question: Question, leaves: Mapping[str, Leaf]
    ) -> Sequence[Wanted]:
        operations = self.operations or frozenset({question.operation})
        place = ModelsThatCount.throughout(question, self.scope, evaluation)
        return [WantedAssessment(self, self.cost, self.role or question.role, operations, place, self.assessor)]


@dataclass(frozen=True, slots=True)
class WantedAssessment(Wanted):
    """An assessment that a requirement still needs; ``lifts`` where it answers a stand-down too.

    ``by_others``: it must not rest on who recorded the retraining.
    """

    role: str
    operations: frozenset[str]
    place: ModelsThatCount
    by: str
    lifts: bool = False
    by_others: bool = False

    @property
    def sort(self) -> Hashable:
        return "assessment"

    @property
    def thing(self) -> Any:
        return self.role, self.operations, self.place.models, self.place.scope == "configuration", self.by

    def serves(self, other: WantedAssessment) -> bool:
        return (
            self.role == other.role
            and not self.operations.isdisjoint(other.operations)
            and ("any" in (self.by, other.by) or self.by == other.by)
        )

    def narrowed_to(self, other: WantedAssessment) -> WantedAssessment:
        """One assessment for both."""
        narrowed = replace(
            self,
            operations=self.operations & other.operations,
            place=self.place.narrowed_to(other.place),
            by=other.by if self.by == "any" else self.by,
            lifts=self.lifts or other.lifts,
            by_others=self.by_others or other.by_others,
        )
        return replace(narrowed, cost=cost_of_both(self, other, narrowed))

    @classmethod
    def each_once(cls, needs: Sequence[WantedAssessment]) -> list[WantedAssessment]:
        """One that counts for several requirements is asked for once."""
        planned: list[WantedAssessment] = []
        # The narrowest requirement comes first; a stand-down is answered by what is passed anyway.
        for need in sorted(
            needs, key=lambda need: (need.lifts, len(need.operations), len(need.place.models), need.by == "any")
        ):
            serving = next((other for other in planned if other.serves(need)), None)
            if serving is None:
                planned.append(need)
            else:
                planned[planned.index(serving)] = serving.narrowed_to(need)
        return planned

    def item(self, question: Question) -> RemedyItem:
        operations = [question.operation]
        if operations[0] not in self.operations:
            operations = sorted(self.operations)
        wanted = say(ASSESSMENTS[self.by], role=term(self.role), operations=either(map(term, operations)))
        wanted = say("%(remedy)s, %(where)s", remedy=wanted, where=say(ON_WHAT[self.place.scope]))
        if self.lifts and self.by_others:
            wanted = say(
                "%(remedy)s, recorded by another account than the retraining or by the assessor's own; neither "
                "account may have recorded this assessor's right to assess after the stand-down",
                remedy=wanted,
            )
        return RemedyItem("assessment", self.leaf.key, wanted, self.cost)
