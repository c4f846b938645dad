"""Completed instruction on a topic."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Self

from registry.engine.calendar import first_day_outside, local_date, start_of_day
from registry.engine.evaluator import Evaluator
from registry.engine.evidence import Instruction
from registry.engine.harmless import name_key, spelled_alike
from registry.engine.intervals import FOREVER
from registry.engine.question import Asked, Question
from registry.engine.requirements.account import Holds
from registry.engine.requirements.leaf import Evaluation, FiguresOfStandard, Leaf
from registry.engine.requirements.spans import while_in_force
from registry.engine.requirements.validity import stays_valid_too_short
from registry.engine.sentences import Sentence, either, say, sentence
from registry.engine.standard import Standard
from registry.engine.terms import term


@dataclass(frozen=True, slots=True, kw_only=True)
class Instructed(Leaf[Evaluation]):
    """Completed instruction on ``topic``."""

    kind = "instruction"
    fields = {
        "topic": {"type": "string", "minLength": 1},
        "providers": {
            "type": "array",
            "uniqueItems": True,
            "items": {"enum": ["maker", "employer", "third_party"]},
        },
        "scope": {"enum": ["any", "model"]},
        "within_months": {"$ref": "#/$defs/months"},
    }
    required = ("topic",)
    holds = Holds(
        sentence("completed, valid until %(instant)s"),
        sentence("completed, valid only from %(instant)s"),
        sentence("completed, valid, no end"),
    )

    topic: str
    providers: frozenset[str] = frozenset()
    scope: str = "any"
    within_months: int | None = None

    @classmethod
    def read(
        cls, content: Mapping[str, Any], common: Mapping[str, Any], standard: FiguresOfStandard, path: str
    ) -> Self:
        return cls(
            **common,
            topic=content["topic"],
            providers=frozenset(content.get("providers", [])),
            scope=content.get("scope", "any"),
            within_months=content.get("within_months"),
        )

    # When it is met

    def evaluate(self, asked: Asked, evaluator: Evaluator, leaves: Mapping[str, Leaf]) -> Evaluation:
        def end(course: Instruction) -> datetime:
            if self.within_months is None:
                return FOREVER
            day = local_date(course.completed_at, asked.zone)
            return start_of_day(first_day_outside(day, self.within_months), asked.zone)

        def why_not(course: Instruction) -> str | None:
            if not spelled_alike(course.topic, self.topic):
                return "another_topic"
            if self.providers and course.provider not in self.providers:
                return "another_provider"
            if self.scope == "model" and course.model != asked.model:
                return "another_model"
            return None

        courses = evaluator.evidence.instruction_of.get(asked.person, [])
        return while_in_force(courses, why_not, lambda course: (course.completed_at, end(course)), asked)

    # What would meet it

    def obstacle(self, evaluation: Evaluation, question: Question, standard: Standard) -> str:
        return stays_valid_too_short(self, self.within_months, question)

    def remedy(self, question: Question) -> Sentence:
        topic, providers = term(self.topic), either(map(term, sorted(self.providers)))
        if self.scope == "model":
            if self.providers:
                return say(
                    "instruction: %(topic)s, on the model, by the %(providers)s", topic=topic, providers=providers
                )
            return say("instruction: %(topic)s, on the model", topic=topic)
        if self.providers:
            return say("instruction: %(topic)s, by the %(providers)s", topic=topic, providers=providers)
        return say("instruction: %(topic)s", topic=topic)

    def together_with(self, other: Instructed) -> Instructed | None:
        providers = self.providers & other.providers or self.providers | other.providers
        one_course_does = (
            spelled_alike(self.topic, other.topic)
            and providers <= (self.providers or providers)
            and providers <= (other.providers or providers)
        )
        if not one_course_does:
            return None
        scope = "model" if "model" in (self.scope, other.scope) else self.scope
        return replace(self, providers=providers, scope=scope)

    @property
    def paper(self) -> Any:
        return name_key(self.topic), self.providers, self.scope
