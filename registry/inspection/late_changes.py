"""Which of the things recorded since an instant turn one account into another.

Pure, like the engine it asks: evidence in, no database, no clock. What the
register learned of after the instant is cut into :class:`Change` units: a record
with the corrections made to it since, a countersignature of an entry that was
there before, a version of the role standard, an employer's figure. Any subset of
them can be laid over what was known then, and the engine asked again. The changes
that make the difference are those without which the account of then does not
become the account of now; what came late and alters nothing is not among them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any

from registry.engine.answer import Decision, LeafResult
from registry.engine.decide import decide
from registry.engine.evidence import Countersignature, Evidence, HoursEntry, Record
from registry.engine.question import Question
from registry.engine.standard import Standard

Keys = frozenset[str]
StandardOf = Callable[[Keys], Standard]
"""The role standard as it reads when these changes are known (keys of :class:`Change`)."""


@dataclass(frozen=True, slots=True)
class Change:
    """Something the register learned of after the instant.

    ``records`` are evidence records that come with it, oldest first: a record
    and its corrections. ``entry`` and ``signature`` are set for a
    countersignature alone. A change of the standard has neither.
    """

    key: str
    recorded_at: datetime
    records: tuple[Record, ...] = ()
    entry: HoursEntry | None = None
    signature: Countersignature | None = None

    @property
    def latest(self) -> Record:
        """The record as it stands after its corrections."""
        return self.records[-1]

    @property
    def corrects(self) -> str | None:
        """The record known before that this corrects or withdraws."""
        return self.records[0].supersedes if self.records else None


@dataclass(frozen=True, slots=True)
class Account:
    """Of a decision, what two accounts must share to be the same account.

    ``requirements`` maps each requirement's key to its figures, the records that
    counted, and why watched records did not.
    """

    outcome: str
    fails_from: datetime | None
    holds_until: datetime | None
    standard_version: int
    requirements: dict[str, tuple[Any, ...]]

    def changed_requirements(self, other: Account) -> Keys:
        """Keys of the requirements that read differently in ``other``."""
        keys = self.requirements.keys() | other.requirements.keys()
        return frozenset(key for key in keys if self.requirements.get(key) != other.requirements.get(key))


class LateChanges:
    """All that was recorded after ``known_at``, and what comes of knowing some of it.

    ``evidence`` is everything recorded up to now about the worker and about
    everybody whose signature stands behind the worker's records.
    ``standard_changes`` are changes that ``standard_of`` understands.
    """

    def __init__(
        self,
        evidence: Evidence,
        question: Question,
        known_at: datetime,
        standard_of: StandardOf,
        standard_changes: Iterable[Change] = (),
    ) -> None:
        self.evidence = evidence
        self.question = replace(question, known_at=None)
        self.known_at = known_at
        self.standard_of = standard_of
        found = [*_late_records(evidence, known_at), *_late_signatures(evidence, known_at), *standard_changes]
        self.changes = sorted(found, key=lambda each: (each.recorded_at, each.key))
        self._decided: dict[Keys, Decision] = {}

    def decision(self, known: Keys) -> Decision:
        """The engine's answer on what was known then and the changes ``known``."""
        if known not in self._decided:
            standard = self.standard_of(known)
            self._decided[known] = decide(self._evidence_with(known), standard, self.question)
        return self._decided[known]

    def account(self, known: Keys) -> Account:
        """The account of :meth:`decision`."""
        given = self.decision(known)
        return Account(
            given.outcome,
            given.fails_from,
            given.holds_until,
            given.standard_version,
            {leaf.key: self._leaf(leaf) for leaf in given.requirements},
        )

    @cached_property
    def everything(self) -> Keys:
        """The keys of all changes."""
        return frozenset(each.key for each in self.changes)

    @cached_property
    def responsible(self) -> list[Change]:
        """The changes that make the difference, in the order in which they were recorded.

        Laid over what was known then they give the account of now, and none of
        them can be left out. Of several that would do as well the one recorded
        first is named: with it the account had changed.
        """
        target = self.account(self.everything)
        if self.account(frozenset()) == target:
            return []
        certain = {each.key for each in self.changes if self._bears_evidence(each)}
        doubtful = [each.key for each in self.changes if each.key not in certain]

        def explains(keys: Iterable[str]) -> bool:
            return self.account(frozenset(certain.union(keys))) == target

        kept = certain.union(_fewest(doubtful, explains))
        return [each for each in self.changes if each.key in kept]

    def requirements_changed_by(self, change: Change) -> Keys:
        """Keys of the requirements that the change bears on.

        Of evidence that came or went with it, those that it counted for; otherwise those
        that would read differently were this change alone unknown.
        """
        if self._bears_evidence(change):
            evidence = {each.id for each in change.records} | {change.corrects}
            if change.entry is not None:
                evidence.add(change.entry.id)
            accounts = self.decision(frozenset()), self.decision(self.everything)
            return frozenset(
                leaf.key for given in accounts for leaf in given.requirements if evidence.intersection(leaf.counted)
            )
        known = frozenset(each.key for each in self.responsible)
        return self.account(known - {change.key}).changed_requirements(self.account(known))

    # What may be left untried: an entry that counts now cannot have been there without its record.

    def _bears_evidence(self, change: Change) -> bool:
        """Whether evidence that counts came or went with this change, plain to see."""
        counted_then, counted_now = self._counted
        if change.signature is not None:
            entry = change.entry
            assert entry is not None
            alone = len(entry.countersignatures) == 1 and entry.origin != "import"
            return alone and entry.id in counted_now and entry.id not in counted_then
        if any(each.id in counted_now for each in change.records):
            return True
        return change.corrects is not None and change.corrects in counted_then

    @cached_property
    def _counted(self) -> tuple[Keys, Keys]:
        def counted(known: Keys) -> Keys:
            return frozenset(key for leaf in self.decision(known).requirements for key in leaf.counted)

        return counted(frozenset()), counted(self.everything)

    @cached_property
    def _watched(self) -> Keys:
        """Records known then and standing now: why they did not count is part of the account.

        Of a record that is new or gone it says nothing that it did not count.
        """
        corrected = {each.corrects for each in self.changes}
        return frozenset(
            each.id
            for _, records in self.evidence.record_kinds()
            for each in records
            if each.recorded_at <= self.known_at and each.id not in corrected
        )

    def _leaf(self, leaf: LeafResult) -> tuple[Any, ...]:
        reasons = frozenset(
            (each.reason, record)
            for each in leaf.not_counted
            for record in each.records
            if record in self._watched or each.reason == "stand_down"
        )
        figures = (leaf.met, leaf.required, leaf.found, leaf.shortfall, leaf.fails_from)
        return (*figures, frozenset(leaf.counted), reasons)

    # Evidence with some of the changes

    @cached_property
    def _change_of(self) -> dict[str, str]:
        """Record → key of the change it came with."""
        return {record.id: each.key for each in self.changes for record in each.records}

    def _evidence_with(self, known: Keys) -> Evidence:
        kinds: dict[str, Any] = {}
        for name, records in self.evidence.record_kinds():
            kinds[name] = tuple(
                self._signed_with(each, known)
                for each in records
                if each.id not in self._change_of or self._change_of[each.id] in known
            )
        return replace(self.evidence, **kinds)

    def _signed_with(self, record: Record, known: Keys) -> Record:
        if not isinstance(record, HoursEntry) or record.id in self._change_of:
            return record
        signed = tuple(
            each
            for each in record.countersignatures
            if each.recorded_at <= self.known_at or signature_key(record, each) in known
        )
        return record if len(signed) == len(record.countersignatures) else replace(record, countersignatures=signed)


def signature_key(entry: HoursEntry, signature: Countersignature) -> str:
    """One countersignature of one entry, as the key of a change."""
    return f"countersignature:{entry.id}:{signature.by}"


def _late_records(evidence: Evidence, known_at: datetime) -> list[Change]:
    """One change for each late record that corrects no late one, together with its corrections."""
    found = []
    for _, records in evidence.record_kinds():
        late = {each.id: each for each in records if each.recorded_at > known_at}
        correction_of = {each.supersedes: each for each in late.values() if each.supersedes is not None}
        for first in late.values():
            if first.supersedes in late:
                continue
            chain = [first]
            while chain[-1].id in correction_of:
                chain.append(correction_of[chain[-1].id])
            found.append(Change(first.id, first.recorded_at, tuple(chain)))
    return found


def _late_signatures(evidence: Evidence, known_at: datetime) -> list[Change]:
    """Countersignatures given since to entries that were there before."""
    return [
        Change(signature_key(entry, each), each.recorded_at, entry=entry, signature=each)
        for entry in evidence.hours
        if entry.recorded_at <= known_at
        for each in entry.countersignatures
        if each.recorded_at > known_at
    ]


def _fewest(keys: list[str], explains: Callable[[Iterable[str]], bool]) -> list[str]:
    """A subset of ``keys`` that explains, from which none can be left out.

    All of ``keys`` must explain. The later ones are left out first, in halves, quarters and
    so on, so that a few that matter among many that do not are found in few trials.
    """
    if explains([]):
        return []
    kept = list(keys)
    size = len(kept)
    while kept:
        before = len(kept)
        end = before
        while end > 0:
            begin = max(0, end - size)
            trial = kept[:begin] + kept[end:]
            if explains(trial):
                kept = trial
            end = begin
        if size == 1 and len(kept) == before:
            break
        size = max(1, size // 2)
    return kept
