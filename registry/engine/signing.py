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
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from registry.engine.evidence import Assessment, CranePlacement, Evidence, HoursEntry
from registry.engine.harmless import spelled_alike
from registry.engine.hours_profile import CountedEntry
from registry.engine.intervals import BEGINNING, NEVER, Timeline, at_least
from registry.engine.question import Asked
from registry.engine.reasons import REASONS
from registry.engine.standard import Standard

if TYPE_CHECKING:
    from registry.engine.requirements.assessment import PracticalAssessment

Evaluate = Callable[[Asked], Timeline]
"""When a person meets the role standard asked about."""


class Signer(NamedTuple):
    """A person in the position of signing something: for what, and for whose work."""

    person: str
    roles: tuple[str, ...]
    model: str
    operation: str
    employer: str | None
    zone: ZoneInfo
    configuration: str | None = None


class Signatures:
    """Which signatures count, for one question worker's sake."""

    evaluate: Evaluate

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

        self._countersigners: dict[tuple[str, str, str, str, ZoneInfo, str | None], Timeline] = {}
        self._asks_for_configuration = any(
            leaf.asks_for_configuration
            for role in standard.roles
            if role.role in (*standard.countersigners, *standard.assessors)
            for leaf in role.leaves()
        )
        """Whether it depends on the crane's configuration who may sign."""
        self._judged: dict[str, CountedEntry | str] = {}
        self.late_after = timedelta(days=standard.provenance.countersign_within_days)
        self.recorded_late_after = timedelta(days=standard.plausibility.recorded_late_after_days)

    def _settle(self) -> None:
        """Raise the entitlements asked about so far to their least fixed point."""
        while self._unsettled:
            signer = self._unsettled.pop()
            self._asking = signer
            timelines = [
                self.evaluate(self._asked(signer, role))
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
        """When the signer was entitled; while signers are being settled, as far as known."""
        if signer.person == self.worker:
            return NEVER
        if self._asking is not None:
            self._asked_by[signer].add(self._asking)
        if signer not in self._entitled:
            self._entitled[signer] = NEVER
            self._unsettled.append(signer)
            if self._asking is None:
                # Asked for the question's worker, whom no signer depends on: final once settled.
                self._settle()
        return self._entitled[signer]

    def entitled_countersigner(self, by: str, entry: HoursEntry) -> Timeline:
        """When ``by`` was entitled to countersign such an entry."""
        # A certificate's last day is that of the site where the work was signed for.
        configuration = self._configuration_of(entry)
        key = by, entry.model, entry.operation, entry.employer, entry.zone, configuration
        found = self._countersigners.get(key) if self._asking is None else None
        if found is None:
            found = self.entitled(
                Signer(
                    by,
                    self.standard.countersigners,
                    entry.model,
                    entry.operation,
                    entry.employer,
                    entry.zone,
                    configuration,
                )
            )
            if self._asking is None:
                self._countersigners[key] = found
        return found

    def _configuration_of(self, signed: HoursEntry | Assessment) -> str | None:
        return signed.configuration if self._asks_for_configuration else None

    def unentitled(self) -> set[str]:
        """People asked about as signers who are entitled at no time at all."""
        return {signer.person for signer, when in self._entitled.items() if when == NEVER}

    def judge_hours(self, entry: HoursEntry) -> CountedEntry | str:
        """The entry as it counts, or the reason why it does not."""
        if entry.worker != self.worker:
            return self._judge_hours(entry)
        found = self._judged.get(entry.id)
        if found is None:
            found = self._judged[entry.id] = self._judge_hours(entry)
        return found

    def _judge_hours(self, entry: HoursEntry) -> CountedEntry | str:
        confirmed = self._confirmations(entry)
        if isinstance(confirmed, str):
            return confirmed
        rules = self.standard.provenance
        in_full = [at for provenance, at in confirmed if provenance in rules.in_full]
        in_part = [at for provenance, at in confirmed if provenance in rules.in_part]
        if not in_full and not in_part:
            return f"provenance_{min(confirmed)[0]}"
        available_at = min(in_full + in_part)
        in_part_for = "" if available_at in in_full else min(each for each, at in confirmed if at == available_at)
        doubtful = self.standard.plausibility
        if doubtful.recorded_late != "in_full" and entry.recorded_at - entry.end > self.recorded_late_after:
            if doubtful.recorded_late == "nothing":
                return "recorded_late"
            in_full, in_part_for = [], "recorded_late"
        if doubtful.crane_not_on_site != "in_full" and not self._crane_was_there(entry):
            if doubtful.crane_not_on_site == "nothing":
                return "crane_not_on_site"
            in_full, in_part_for = [], "crane_not_on_site"
        return CountedEntry(entry, available_at, min(in_full) if in_full else None, in_part_for)

    def _confirmations(self, entry: HoursEntry) -> list[tuple[str, datetime]] | str:
        """Each ``(provenance, available from)``, or the reason why there is none."""
        if entry.origin == "import":
            # The other register signed for the whole transcript, so its
            # signature stands where a countersigner's would.
            return "import_unverified" if entry.issuer is None else [("imported", entry.end)]
        if entry.origin == "paper" and entry.document is None:
            return "paper_without_scan"
        if not entry.countersignatures:
            return "claimed"
        found: list[tuple[str, datetime]] = []
        reasons: set[str] = set()
        for signature in entry.countersignatures:
            if signature.by == entry.worker:
                reasons.add("signed_by_the_worker")
                continue
            if signature.by == self.worker:
                reasons.add("leads_back_to_the_worker")
                continue
            entitled = self.entitled_countersigner(signature.by, entry)
            standing = entitled.interval_at(entry.start)
            if (
                standing is None
                or entry.end > standing[1]
                or not (standing[0] <= signature.at < standing[1] or entitled.holds_at(signature.at))
            ):
                reasons.add("countersigner_not_entitled")
                self.doubt(signature.by)
                continue
            if entry.origin == "paper":
                provenance = "transcribed"
            elif signature.recorded_at - entry.end > self.late_after:
                provenance = "countersigned_late"
            else:
                provenance = "witnessed"
            found.append((provenance, max(entry.end, signature.at)))
        return found or next(each for each in reversed(REASONS) if each in reasons)

    def _crane_was_there(self, entry: HoursEntry) -> bool:
        placed = self.evidence.placements_of.get((entry.crane, entry.site, entry.model), [])
        return any(stood_there(each, entry.start, entry.end) for each in placed)

    def doubt(self, signer: str) -> None:
        """Note that a signature for the question's worker was found wanting."""
        if self._asking is None:
            self.doubted.add(signer)

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
            signed_at = self.evidence.signed_for.get(given.worker, {}).get(given.assessor)
            if signed_at is not None and signed_at <= given.assessed_at:
                return "assessor_not_independent"
            if self._is_trainee(given.assessor, given.model, given.assessed_at):
                # What ended the time as trainee may be among what was not read of the assessor.
                self.doubt(given.assessor)
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
                    self.zone,
                    self._configuration_of(given),
                )
            ).holds_at(given.assessed_at)
            for operation in sorted(given.operations & wanted)
        ]
        if any(entitled):
            return None
        self.doubt(given.assessor)
        return "assessor_not_entitled"

    def _is_trainee(self, person: str, model: str, instant: datetime) -> bool:
        """Whether the person is a trainee on the model at that instant.

        By an appointment as trainee that is in force, or because the last work on the model that had begun
        by then was a trainee's, and no practical assessment on it was passed since. What comes later tells
        nothing of that instant. Of hours only those tell that somebody else countersigned: a claim without
        a signature is one party's word. Whether that signer was entitled is not asked, since a signature
        that tells against somebody would undo the least fixed point.
        """
        if any(
            spelled_alike(each.duty, "trainee")
            and each.model in (None, model)
            and each.start <= instant
            and (each.end is None or instant < each.end)
            for each in self.evidence.appointments_of.get(person, [])
        ):
            return True
        begun = [
            entry
            for entry in self.evidence.hours_of.get(person, [])
            if entry.model == model and entry.start <= instant and _signed_by_another(entry)
        ]
        last_as_trainee = max((each.start for each in begun if each.capacity == "trainee"), default=None)
        return (
            last_as_trainee is not None
            and all(each.start <= last_as_trainee for each in begun if each.capacity != "trainee")
            and not any(
                given.outcome == "pass"
                and given.kind == "practical"
                and given.model == model
                and given.assessor != person
                and last_as_trainee < given.assessed_at <= instant
                for given in self.evidence.assessments_of.get(person, [])
            )
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
            zone=signer.zone,
            since=BEGINNING,
            configuration=signer.configuration,
            signing=True,
        )


def _signed_by_another(entry: HoursEntry) -> bool:
    return any(each.by != entry.worker for each in entry.countersignatures)


def stood_there(placement: CranePlacement, start: datetime, end: datetime) -> bool:
    """Whether the crane stood there the whole time."""
    return placement.start <= start and (placement.end is None or end <= placement.end)
