"""A third party's certificate, in force throughout the window."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Self
from zoneinfo import ZoneInfo

from registry.engine.evaluator import Evaluator
from registry.engine.evidence import Certification, Evidence
from registry.engine.harmless import name_key, spelled_alike
from registry.engine.intervals import FOREVER, Interval, Timeline, at_least
from registry.engine.question import Asked, Question
from registry.engine.requirements.leaf import Evaluation, FiguresOfStandard, Leaf
from registry.engine.requirements.scope import whole_days
from registry.engine.sentences import Sentence, either, listed, say, sentence

FOR_WHAT = {
    "model": sentence("for this very model"),
    "class": sentence("for cranes of this class or this very model"),
}
"""What a certificate must cover."""

COVERS = ("any", "class", "model")
"""From what covers least to what covers most: a certificate for this very model is one for its class."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Certified(Leaf[Evaluation]):
    """A certificate in force of one of ``schemes`` whose scope has all of ``scope``."""

    kind = "certification"
    fields = {
        "schemes": {
            "type": "array",
            "minItems": 1,
            "uniqueItems": True,
            "items": {"type": "string", "minLength": 1},
        },
        "scope": {"type": "array", "uniqueItems": True, "items": {"type": "string", "minLength": 1}},
        "covers": {"enum": ["any", "class", "model"]},
    }
    required = ("schemes",)

    schemes: tuple[str, ...]
    scope: frozenset[str] = frozenset()
    covers: str = "any"

    @classmethod
    def read(
        cls, content: Mapping[str, Any], common: Mapping[str, Any], standard: FiguresOfStandard, path: str
    ) -> Self:
        return cls(
            **common,
            schemes=tuple(content["schemes"]),
            scope=frozenset(content.get("scope", [])),
            covers=content.get("covers", "any"),
        )

    # When it is met

    def evaluate(self, asked: Asked, evaluator: Evaluator, leaves: Mapping[str, Leaf]) -> Evaluation:
        if not asked.signing:
            return self._evaluate(asked, evaluator)
        # Every signer's certificates are looked up once for each model.
        key = "certified", id(self), asked.person, asked.model, asked.zone
        return evaluator.once(key, lambda: self._evaluate(asked, evaluator))

    def _evaluate(self, asked: Asked, evaluator: Evaluator) -> Evaluation:
        evaluation = Evaluation()
        valid: list[Timeline] = []
        for certificate in evaluator.evidence.certifications_of.get(asked.person, []):
            reason = self._why_another(certificate, asked, evaluator.evidence)
            if reason is None:
                in_force, suspended = _in_force(certificate, asked, evaluator)
                valid.append(in_force)
                if in_force.holds_at(asked.since) or asked.signing:
                    evaluation.counted.append(certificate.id)
                    continue
                reason = "suspended_or_revoked" if suspended else "not_in_the_window"
            evaluation.not_counted[reason].append(certificate.id)
        evaluation.timeline = at_least(1, valid)
        return evaluation

    def _why_another(self, certificate: Certification, asked: Asked, evidence: Evidence) -> str | None:
        """Why it is not such a certificate as is asked for; ``None`` if it is."""
        if not any(spelled_alike(certificate.scheme, scheme) for scheme in self.schemes):
            return "another_scheme"
        if not self.scope <= certificate.scope:
            return "scope_missing"
        crane_class = evidence.models[asked.model].crane_class
        if self.covers == "model" and asked.model not in certificate.models:
            return "scope_missing"
        if self.covers == "class" and not (crane_class in certificate.classes or asked.model in certificate.models):
            return "scope_missing"
        return None

    # What would meet it

    def remedy(self, question: Question) -> Sentence:
        schemes, day = either(self.schemes), question.last_day
        wanted = say("a certificate of the scheme %(schemes)s, valid through %(day)s", schemes=schemes, day=day)
        if self.scope:
            wanted = say(
                "a certificate of the scheme %(schemes)s covering %(scope)s, valid through %(day)s",
                schemes=schemes,
                scope=listed(sorted(self.scope)),
                day=day,
            )
        if self.covers == "any":
            return wanted
        return say("%(remedy)s, %(where)s", remedy=wanted, where=say(FOR_WHAT[self.covers]))

    def together_with(self, other: Certified) -> Certified | None:
        schemes = tuple(
            scheme for scheme in self.schemes if any(spelled_alike(scheme, theirs) for theirs in other.schemes)
        )
        if not schemes or not (self.scope <= other.scope or other.scope <= self.scope):
            return None
        covers = max(self.covers, other.covers, key=COVERS.index)
        return replace(self, schemes=schemes, scope=self.scope | other.scope, covers=covers)

    @property
    def paper(self) -> Any:
        return frozenset(map(name_key, self.schemes)), self.scope, self.covers


def _in_force(certificate: Certification, asked: Asked, evaluator: Evaluator) -> tuple[Timeline, bool]:
    """When it is in force, and whether a suspension or revocation took it out at ``asked.since``."""

    def by_the_clock() -> tuple[Timeline, Timeline]:
        taken_out = Timeline.of(_barred(certificate, asked.zone, evaluator.evidence))
        whole = Timeline.of([whole_days(certificate.issued, certificate.expires, asked)])
        return whole.minus(taken_out), taken_out

    in_force, taken_out = evaluator.once(("certificate", certificate.id, asked.zone), by_the_clock)
    return in_force, taken_out.holds_at(asked.since)


def _barred(certificate: Certification, zone: ZoneInfo, evidence: Evidence) -> Iterator[Interval]:
    """From each suspension to the reinstatement, and from a revocation for ever."""
    since: datetime | None = None
    for change in evidence.statuses_about(certificate, zone):
        if change.status == "revoked":
            yield since or change.effective_at, FOREVER
            return
        if change.status == "suspended":
            since = since or change.effective_at
        elif since is not None:
            yield since, change.effective_at
            since = None
    if since is not None:
        yield since, FOREVER
