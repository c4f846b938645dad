"""A written appointment that covers the whole window."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Self

from registry.engine.evaluator import Evaluator
from registry.engine.evidence import Appointment
from registry.engine.harmless import name_key, spelled_alike
from registry.engine.intervals import FOREVER
from registry.engine.question import Asked, Question
from registry.engine.requirements.leaf import Evaluation, FiguresOfStandard, Leaf
from registry.engine.requirements.spans import while_in_force
from registry.engine.sentences import Sentence, either, say
from registry.engine.terms import term


@dataclass(frozen=True, slots=True, kw_only=True)
class Appointed(Leaf[Evaluation]):
    """A written appointment to ``duty`` that covers the whole window."""

    kind = "appointment"
    fields = {
        "duty": {"type": "string", "minLength": 1},
        "kinds": {
            "type": "array",
            "minItems": 1,
            "uniqueItems": True,
            "items": {"enum": ["duty", "founding", "maker_instructor"]},
        },
        "stop_work_authority": {"type": "boolean"},
    }
    required = ("duty",)

    duty: str
    kinds: frozenset[str]
    stop_work_authority: bool = False

    @classmethod
    def read(
        cls, content: Mapping[str, Any], common: Mapping[str, Any], standard: FiguresOfStandard, path: str
    ) -> Self:
        return cls(
            **common,
            duty=content["duty"],
            kinds=frozenset(content.get("kinds", ["duty"])),
            stop_work_authority=content.get("stop_work_authority", False),
        )

    # When it is met

    def evaluate(self, asked: Asked, evaluator: Evaluator, leaves: Mapping[str, Leaf]) -> Evaluation:
        maker = evaluator.evidence.models[asked.model].maker

        def why_not(act: Appointment) -> str | None:
            if not spelled_alike(act.duty, self.duty):
                return "another_duty"
            if act.kind not in self.kinds:
                return "another_kind"
            if act.model not in (None, asked.model):
                return "another_model"
            if act.kind != "duty" and act.document is None:
                return "no_document"
            if act.kind == "maker_instructor":
                if act.maker != maker:
                    return "another_model"
            elif act.employer is None or act.employer != asked.employer:
                return "another_employer"
            if self.stop_work_authority and not act.stop_work_authority:
                return "no_stop_work_authority"
            return None

        acts = evaluator.evidence.appointments_of.get(asked.person, [])
        return while_in_force(acts, why_not, lambda act: (act.start, act.end or FOREVER), asked)

    # What would meet it

    def remedy(self, question: Question) -> Sentence:
        kinds = self._kinds_offered
        values = {"kinds": either(map(term, kinds)), "duty": term(self.duty), "day": question.last_day}
        wanted = say("a written %(kinds)s appointment as %(duty)s, through %(day)s", **values)
        if self.stop_work_authority:
            wanted = say(
                "a written %(kinds)s appointment as %(duty)s with authority to stop work, through %(day)s", **values
            )
        if kinds == ["duty"]:
            return wanted
        return say("%(remedy)s, with the outside document attached that it rests on", remedy=wanted)

    def together_with(self, other: Appointed) -> Appointed | None:
        kinds = self.kinds & other.kinds
        if not spelled_alike(self.duty, other.duty) or not kinds:
            return None
        stop_work = self.stop_work_authority or other.stop_work_authority
        return replace(self, kinds=kinds, stop_work_authority=stop_work)

    @property
    def paper(self) -> Any:
        return self._kinds_offered, name_key(self.duty), self.stop_work_authority

    @property
    def _kinds_offered(self) -> list[str]:
        """Where a plain appointment does, nobody needs one with a document from outside."""
        return ["duty"] if "duty" in self.kinds else sorted(self.kinds)
