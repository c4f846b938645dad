"""When anybody meets a requirement, or a whole role standard: what the signatures of others rest on, too."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any, TypeVar

from registry.engine.evidence import Evidence
from registry.engine.intervals import BEGINNING, FOREVER, Timeline
from registry.engine.question import Asked
from registry.engine.requirements.leaf import Leaf
from registry.engine.signing import Signatures
from registry.engine.tree import tree_timeline

Made = TypeVar("Made")


class Evaluator:
    """Evaluates requirements for whoever is asked about, on one reading of the evidence."""

    def __init__(self, evidence: Evidence, signatures: Signatures) -> None:
        self.evidence = evidence
        self.signatures = signatures
        signatures.evaluate = self.of_role
        self._made: dict[Hashable, Any] = {}
        self._reduced: dict[frozenset[str], Evaluator] = {}

    def of_role(self, asked: Asked) -> Timeline:
        """When the person meets the standard of the role."""
        role = self.signatures.standard.by_role_and_operation[asked.role, asked.operation]
        leaves = {leaf.key: leaf for leaf in role.leaves()}
        return tree_timeline(role.requirement, lambda leaf: self.evaluate(leaf, asked, leaves).timeline)

    def evaluate(self, leaf: Leaf, asked: Asked, leaves: Mapping[str, Leaf]) -> Any:
        """The leaf's own evaluation; ``leaves`` finds what it comes after."""
        return leaf.evaluate(asked, self, leaves)

    def first_met(self, leaf: Leaf, asked: Asked, leaves: Mapping[str, Leaf]) -> datetime:
        """When the leaf was met for the first time; ``FOREVER``: never."""
        whole_past = replace(asked, since=BEGINNING)
        intervals = self.evaluate(leaf, whole_past, leaves).timeline.intervals
        return intervals[0][0] if intervals else FOREVER

    def once(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """What ``make`` gives, made at the first question for ``key``. It rests on the evidence alone."""
        if key not in self._made:
            self._made[key] = make()
        made: Made = self._made[key]
        return made

    def without(self, grounds: frozenset[str]) -> Evaluator:
        """The same, were these appointments and certificates not there: signers are settled on their own."""
        reduced = self._reduced.get(grounds)
        if reduced is None:
            evidence = replace(
                self.evidence,
                appointments=tuple(act for act in self.evidence.appointments if act.id not in grounds),
                certifications=tuple(held for held in self.evidence.certifications if held.id not in grounds),
                every_certification=self.evidence.every_certification or self.evidence.certifications,
            )
            whole = self.signatures
            reduced = Evaluator(evidence, Signatures(evidence, whole.standard, whole.worker, whole.zone))
            self._reduced[grounds] = reduced
        return reduced
