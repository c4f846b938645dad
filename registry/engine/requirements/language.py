"""A language in common with the site."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Self

from registry.engine.evaluator import Evaluator
from registry.engine.intervals import ALWAYS
from registry.engine.question import Asked, Question
from registry.engine.requirements.account import Account
from registry.engine.requirements.leaf import Evaluation, FiguresOfStandard, Leaf
from registry.engine.sentences import Sentence, either, say
from registry.engine.standard import Standard


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedLanguage(Leaf[Evaluation]):
    """One of ``languages``; empty means the site's working language."""

    kind = "language"
    fields = {
        "any_of": {
            "description": "Absent: the site's working language.",
            "type": "array",
            "minItems": 1,
            "uniqueItems": True,
            "items": {"type": "string", "minLength": 2},
        },
    }

    languages: frozenset[str] = frozenset()

    @classmethod
    def read(
        cls, content: Mapping[str, Any], common: Mapping[str, Any], standard: FiguresOfStandard, path: str
    ) -> Self:
        return cls(**common, languages=frozenset(content.get("any_of", [])))

    def evaluate(self, asked: Asked, evaluator: Evaluator, leaves: Mapping[str, Leaf]) -> Evaluation:
        if asked.signing and not self.languages:
            # A signature does not depend on the language of somebody's later site.
            return Evaluation(ALWAYS)
        wanted = self.languages or {asked.working_language}
        evaluation = Evaluation()
        for skill in evaluator.evidence.languages_of.get(asked.person, []):
            if skill.language in wanted:
                evaluation.counted.append(skill.id)
                evaluation.timeline = ALWAYS
            else:
                evaluation.not_counted["other_language"].append(skill.id)
        return evaluation

    def account(self, evaluation: Evaluation, question: Question, fails_from: datetime | None) -> Account:
        wanted = either(sorted(self.languages)) or question.working_language or say("not stated")
        if fails_from is None:
            return Account(wanted, say("recorded"), "")
        return Account(wanted, say("not recorded"), say("missing"))

    # What would meet it

    def obstacle(self, evaluation: Evaluation, question: Question, standard: Standard) -> str:
        if not (self.languages or question.working_language):
            return say("The site's working language is not stated.")
        return ""

    def remedy(self, question: Question) -> Sentence:
        wanted = either(sorted(self.languages)) or question.working_language or ""
        return say("a working language in common: %(languages)s", languages=wanted)

    def together_with(self, other: SharedLanguage) -> SharedLanguage | None:
        languages = self.languages & other.languages
        if not languages and self.languages != other.languages:
            return None
        return replace(self, languages=languages)

    @property
    def paper(self) -> Any:
        return self.languages
