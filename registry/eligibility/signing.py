"""Grounded competence: whose signature counts, and when.

An hours entry counts only if somebody entitled countersigned it, an assessment
only if its assessor was entitled, each on that date and by the same role
standards. Entitlement is a least fixed point: every signature starts out as
worth nothing, and evaluation goes on until nothing changes. What is met without
any signature (a third party's certificate, a maker's instructor, a founding
appointment) is the ground; two people who only signed for each other never rise.

Nothing that leads back to the worker in question counts for that worker: all
that this worker signed is left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from registry.eligibility.evidence import Assessment, Evidence, HoursEntry
from registry.eligibility.hours import CountedEntry
from registry.eligibility.intervals import BEGINNING, NEVER, Timeline, at_least
from registry.eligibility.question import Asked
from registry.eligibility.standard import PracticalAssessment, Standard


@dataclass(frozen=True, slots=True)
class Signer:
    """A person in the position of signing something: for what, and for whose work."""

    person: str
    roles: tuple[str, ...]
    model: str
    operation: str
    employer: str | None


Evaluate = Callable[[Asked], Timeline]
"""When a person meets the role standard asked about."""


class Signatures:
    """Which signatures count, for one question worker's sake."""

    def __init__(self, evidence: Evidence, standard: Standard, worker: str, zone: ZoneInfo) -> None:
        self.evidence = evidence
        self.standard = standard
        self.worker = worker
        self.zone = zone
        self._entitled: dict[Signer, Timeline] = {}
        self._asked_by: dict[Signer, set[Signer]] = defaultdict(set)
        self._unsettled: list[Signer] = []
        self._asking: Signer | None = None
        self.doubted: set[str] = set()
        """People whose signature was found wanting; see :attr:`Decision.doubted_signers`."""

    def settle(self, evaluate: Evaluate) -> None:
        """Raise the entitlements found so far to their least fixed point."""
        while self._unsettled:
            signer = self._unsettled.pop()
            self._asking = signer
            timelines = [
                evaluate(self._asked(signer, role))
                for role in signer.roles
                if (role, signer.operation) in self.standard.by_role_and_operation
            ]
            self._asking = None
            risen = at_least(1, timelines)
            if risen != self._entitled[signer]:
                self._entitled[signer] = risen
                for asking in self._asked_by[signer]:
                    if asking not in self._unsettled:
                        self._unsettled.append(asking)

    def entitled(self, signer: Signer) -> Timeline:
        """When the signer was entitled, as far as it is settled."""
        if signer.person == self.worker:
            return NEVER
        if self._asking is not None:
            self._asked_by[signer].add(self._asking)
        found = self._entitled.get(signer)
        if found is None:
            found = self._entitled[signer] = NEVER
            self._unsettled.append(signer)
        return found

    @property
    def is_settled(self) -> bool:
        """Whether every signature asked about so far has been judged."""
        return not self._unsettled

    def unentitled(self) -> set[str]:
        """People asked about as signers who are entitled at no time at all."""
        return {signer.person for signer, when in self._entitled.items() if when == NEVER}

    def judge_hours(self, entry: HoursEntry) -> CountedEntry | str:
        """The entry as it counts, or the reason why it does not."""
        provenance, available_at, reason = self._provenance(entry)
        if reason is not None:
            return reason
        rules = self.standard.provenance
        if provenance in rules.in_full:
            weight = "in_full"
        elif provenance in rules.in_part:
            weight = "in_part"
        else:
            return f"provenance_{provenance}"
        doubtful = self.standard.plausibility
        late = timedelta(days=doubtful.recorded_late_after_days)
        if doubtful.recorded_late != "in_full" and entry.recorded_at - entry.end > late:
            if doubtful.recorded_late == "nothing":
                return "recorded_late"
            weight = "in_part"
        if doubtful.crane_not_on_site != "in_full" and not self._crane_was_there(entry):
            if doubtful.crane_not_on_site == "nothing":
                return "crane_not_on_site"
            weight = "in_part"
        return CountedEntry(entry, available_at, weight == "in_full")

    def _provenance(self, entry: HoursEntry) -> tuple[str, datetime, str | None]:
        """``(provenance, available from, reason why it is worth nothing)``."""
        if entry.origin == "import":
            # The other register signed for the whole transcript, so its
            # signature stands where a countersigner's would.
            if entry.issuer is None:
                return "", BEGINNING, "import_unverified"
            return "imported", entry.end, None
        if entry.origin == "paper" and entry.document is None:
            return "", BEGINNING, "paper_without_scan"
        if not entry.countersignatures:
            return "", BEGINNING, "claimed"
        reason = "countersigner_not_entitled"
        for signature in sorted(entry.countersignatures, key=lambda each: each.at):
            if signature.by == entry.worker:
                reason = "signed_by_the_worker"
                continue
            if signature.by == self.worker:
                reason = "leads_back_to_the_worker"
                continue
            signer = Signer(
                signature.by,
                self.standard.countersigners,
                entry.model,
                entry.operation,
                entry.employer,
            )
            entitled = self.entitled(signer)
            if not (entitled.holds_throughout(entry.start, entry.end) and entitled.holds_at(signature.at)):
                reason = "countersigner_not_entitled"
                self.doubted.add(signature.by)
                continue
            available_at = max(entry.end, signature.at)
            if entry.origin == "paper":
                return "transcribed", available_at, None
            delay = timedelta(days=self.standard.provenance.countersign_within_days)
            late = signature.recorded_at - entry.end > delay
            return "countersigned_late" if late else "witnessed", available_at, None
        return "", BEGINNING, reason

    def _crane_was_there(self, entry: HoursEntry) -> bool:
        if entry.crane is None or entry.site is None:
            return False
        return any(
            placement.site == entry.site
            and placement.model == entry.model
            and placement.start <= entry.start
            and (placement.end is None or entry.end <= placement.end)
            for placement in self.evidence.placements_of.get(entry.crane, [])
        )

    def judge_assessment(self, given: Assessment, leaf: PracticalAssessment | None, asked: Asked) -> str | None:
        """``None`` if a pass counts for the leaf (``None``: a re-assessment), else why not."""
        if given.assessor == given.worker:
            return "assessed_by_the_worker"
        if given.assessor == self.worker:
            return "leads_back_to_the_worker"
        if not given.third_party and given.employer != asked.employer:
            return "other_employers_assessment"
        if leaf is not None and leaf.assessor == "third_party" and not given.third_party:
            return "not_a_third_party"
        if leaf is not None and leaf.assessor == "employer" and given.third_party:
            return "not_the_employers"
        if leaf is None or leaf.independent:
            if given.assessor in self.evidence.signed_for.get(given.worker, ()):
                return "assessor_not_independent"
            if self._is_trainee(given.assessor, given.model, given.assessed_at):
                return "assessor_is_a_trainee"
        wanted = leaf.operations if leaf is not None and leaf.operations else {asked.operation}
        entitled = [
            self.entitled(
                Signer(
                    given.assessor,
                    self.standard.assessors,
                    given.model,
                    operation,
                    given.employer,
                )
            ).holds_at(given.assessed_at)
            for operation in sorted(given.operations & wanted)
        ]
        if any(entitled):
            return None
        self.doubted.add(given.assessor)
        return "assessor_not_entitled"

    def _is_trainee(self, person: str, model: str, instant: datetime) -> bool:
        """Whether the person works on the model as a trainee then, or still did so later."""
        trainee_appointment = any(
            each.duty == "trainee"
            and each.model in (None, model)
            and each.start <= instant
            and (each.end is None or instant < each.end)
            for each in self.evidence.appointments_of.get(person, [])
        )
        return trainee_appointment or any(
            capacity == "trainee" and worked_on == model and entry.end > instant
            for (worked_on, _, capacity, _), entries in self.evidence.hours_groups_of.get(person, {}).items()
            for entry in entries
        )

    def ring_through(self, person: str) -> list[str]:
        """People who only sign for one another, from ``person`` back to ``person`` or the worker.

        Empty when the person's missing entitlement has another cause.
        """
        signers_of: dict[str, set[str]] = defaultdict(set)
        for signer, workers in self.evidence.signed_for.items():
            for each in workers:
                signers_of[each].add(signer)
        unentitled = self.unentitled() | {self.worker}
        path, pending = {person: [person]}, [person]
        while pending:
            current = pending.pop(0)
            for signer in sorted(signers_of[current] & unentitled):
                if signer in (person, self.worker):
                    return [*path[current], signer]
                if signer not in path:
                    path[signer] = [*path[current], signer]
                    pending.append(signer)
        return []

    def _asked(self, signer: Signer, role: str) -> Asked:
        return Asked(
            person=signer.person,
            role=role,
            model=signer.model,
            operation=signer.operation,
            employer=signer.employer,
            zone=self.zone,
            since=BEGINNING,
            signing=True,
        )
