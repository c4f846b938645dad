"""Each kind of requirement: when it is met, and the account of it.

:func:`evaluate` gives a :class:`LeafEvaluation`: the exact timeline from
``asked.since`` on, the records that counted and those that did not. Leaves only
ever gain from a favourable record, which is what makes the fixed point of
``signing`` well defined.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from itertools import chain, pairwise
from typing import TypeVar
from zoneinfo import ZoneInfo

from registry.engine.calendar import end_of_day, first_day_outside, local_date, start_of_day
from registry.engine.evidence import (
    Appointment,
    Assessment,
    Certification,
    Evidence,
    Instruction,
    StandDown,
)
from registry.engine.fast.batches import (
    Batch,
    GroupKey,
    HoursGroup,
    Worked,
    days_of,
)
from registry.engine.harmless import spelled_alike
from registry.engine.hours_profile import (
    Batched,
    CountedEntry,
    HoursProfile,
    HoursRule,
    WorstTotal,
)
from registry.engine.intervals import (
    ALWAYS,
    BEGINNING,
    FOREVER,
    NEVER,
    Interval,
    Timeline,
    at_least,
)
from registry.engine.question import Asked
from registry.engine.signing import Signatures
from registry.engine.standard import (
    Appointed,
    Certified,
    Group,
    Hours,
    Instructed,
    Leaf,
    Node,
    NoStandDown,
    PracticalAssessment,
    SharedLanguage,
)


@dataclass(slots=True)
class LeafEvaluation:
    """When a leaf is met, and by which records."""

    timeline: Timeline
    counted: list[str] = field(default_factory=list)
    not_counted: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    hours: list[tuple[Interval, HoursProfile]] = field(default_factory=list)
    in_part: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    """Entries of hours that count only up to the standard's share, by the reason."""
    lost_minutes: int = 0
    """What overlaps and the day's limit take off the entries that count when the time asked about begins."""
    epochs: list[tuple[Interval, frozenset[str]]] = field(default_factory=list)
    """Which crane models count, and when: for hours and assessments."""
    may_start: datetime | None = None
    """From when on hours count, where another requirement must have been met first."""
    ended_at: list[datetime] = field(default_factory=list)
    """When a later record ends it, whatever was obtained before: a setback, a stand-down."""
    retraining_due: list[datetime] = field(default_factory=list)
    """When the stand-downs in force began that no retraining answers yet."""
    lifted_by_its_author: bool = False
    """Whether a re-assessment lifts no stand-down because of who recorded what."""

    def worst_total(self, start: datetime, end: datetime) -> WorstTotal:
        """The lowest total of hours within ``[start, end)``, whichever models count when."""
        return min(
            profile.worst(max(start, span[0]), min(end, span[1]))
            for span, profile in self.hours
            if max(start, span[0]) < min(end, span[1])
        )


class Requirements:
    """Evaluates one role standard's tree for whoever is asked about."""

    def __init__(self, evidence: Evidence, signatures: Signatures) -> None:
        self.evidence = evidence
        self.signatures = signatures
        signatures.evaluate = self.of_role
        self._certified: dict[tuple[int, str, str, ZoneInfo], LeafEvaluation] = {}
        self._reduced: dict[frozenset[str], Requirements] = {}
        self._certificates: dict[tuple[str, ZoneInfo], tuple[Timeline, Timeline]] = {}
        """Of each certificate, by the clock of a zone, when it is in force and when it is taken out."""

    def of_role(self, asked: Asked) -> Timeline:
        """When the person meets the standard of the role."""
        role = self.signatures.standard.by_role_and_operation[asked.role, asked.operation]
        leaves = {leaf.key: leaf for leaf in role.leaves()}
        return tree_timeline(role.requirement, lambda leaf: self.evaluate(leaf, asked, leaves).timeline)

    def evaluate(self, leaf: Leaf, asked: Asked, leaves: dict[str, Leaf]) -> LeafEvaluation:
        """Evaluate one leaf; ``leaves`` finds what an ``after`` names."""
        if isinstance(leaf, Hours):
            return self.hours(leaf, asked, leaves)
        if isinstance(leaf, PracticalAssessment):
            return self.assessment(leaf, asked)
        if isinstance(leaf, Certified):
            if not asked.signing:
                return self.certification(leaf, asked)
            # Every signer's certificates are looked up once for each model.
            key = id(leaf), asked.person, asked.model, asked.zone
            if key not in self._certified:
                self._certified[key] = self.certification(leaf, asked)
            return self._certified[key]
        if isinstance(leaf, Instructed):
            return self.instruction(leaf, asked)
        if isinstance(leaf, Appointed):
            return self.appointment(leaf, asked)
        if isinstance(leaf, SharedLanguage):
            return self.language(leaf, asked)
        assert isinstance(leaf, NoStandDown)
        return self.no_stand_down(asked)

    # Hands-on hours

    def hours(self, leaf: Hours, asked: Asked, leaves: dict[str, Leaf]) -> LeafEvaluation:
        evaluation = LeafEvaluation(NEVER)
        if leaf.after:
            evaluation.may_start = self._first_met(leaves[leaf.after], asked, leaves)
        wanted = leaf.operations or {asked.operation}
        scopes = evaluation.epochs = self._model_epochs(leaf.scope, asked)
        models = frozenset().union(*(each[1] for each in scopes))
        worked = self.signatures.worked_by(asked.person)
        judged = _Judged()
        for key, group in worked.groups.items():
            reason = self._irrelevant(key, leaf, asked, wanted, models)
            if reason is not None:
                evaluation.not_counted[reason] += group.ids
            else:
                self._judge(group, evaluation, judged)
        rule = HoursRule(
            asked.zone,
            leaf.within_months,
            leaf.longest_gap_months,
            leaf.day_cap,
            leaf.minimum * self.signatures.standard.provenance.part_at_most_percent // 100,
        )
        epochs = []
        for span, models_then in scopes:
            batched, singly = judged.on_models(worked, models_then)
            profile = HoursProfile.of(singly, rule, batched)
            epochs.append(profile.timeline(leaf.minimum, asked.since).limited_to(*span))
            evaluation.hours.append((span, profile))
            if asked.since != BEGINNING and span[0] <= asked.since < span[1]:
                evaluation.not_counted["another_model"] += judged.ids_on_others(models_then)
                _account_for(batched, singly, profile, asked.since, evaluation)
        evaluation.timeline = at_least(1, epochs)
        return evaluation

    def _judge(self, group: HoursGroup, evaluation: LeafEvaluation, judged: _Judged) -> None:
        """Add the group's entries to what counts, or to what does not and why."""
        may_start = evaluation.may_start or BEGINNING
        singly = list(group.signed_by_several)
        for batch in group.batches:
            if batch.start < may_start or not self.signatures.are_alike(batch):
                singly += batch.entries
                continue
            verdict = self.signatures.judge_hours(batch.entries[0])
            if isinstance(verdict, str):
                evaluation.not_counted[verdict] += [entry.id for entry in batch.entries]
            else:
                judged.batches.append((batch, verdict.in_full_from is not None))
                if verdict.in_part_for:
                    evaluation.in_part[verdict.in_part_for] += [entry.id for entry in batch.entries]
        for entry in singly:
            if entry.start < may_start:
                evaluation.not_counted["before_what_must_come_first"].append(entry.id)
                continue
            verdict = self.signatures.judge_hours(entry)
            if isinstance(verdict, str):
                evaluation.not_counted[verdict].append(entry.id)
            else:
                judged.singly.append(verdict)
                if verdict.in_part_for:
                    evaluation.in_part[verdict.in_part_for].append(entry.id)

    def _irrelevant(
        self,
        key: GroupKey,
        leaf: Hours,
        asked: Asked,
        operations: Iterable[str],
        models: frozenset[str],
    ) -> str | None:
        model, operation, capacity, configuration = key
        if model not in models:
            return "another_model"
        if leaf.scope == "configuration" and (asked.configuration is None or configuration != asked.configuration):
            return "another_configuration"
        if operation not in operations:
            return "another_operation"
        if leaf.capacity is not None and capacity != leaf.capacity:
            return "another_capacity"
        return None

    def _first_met(self, leaf: Leaf, asked: Asked, leaves: dict[str, Leaf]) -> datetime:
        whole_past = replace(asked, since=BEGINNING)
        intervals = self.evaluate(leaf, whole_past, leaves).timeline.intervals
        return intervals[0][0] if intervals else FOREVER

    def _model_epochs(self, scope: str, asked: Asked) -> list[tuple[Interval, frozenset[str]]]:
        """Which models count, and when: a maker's declaration is in force only for a time."""
        own = frozenset({asked.model})
        models = self.evidence.models
        if scope in ("model", "configuration"):
            return [((BEGINNING, FOREVER), own)]
        if scope == "any":
            return [((BEGINNING, FOREVER), frozenset(models))]
        if scope == "class":
            crane_class = models[asked.model].crane_class
            same = {key for key, each in models.items() if each.crane_class == crane_class}
            return [((BEGINNING, FOREVER), frozenset(same))]
        maker = models[asked.model].maker
        declared = [
            (self._in_force(each.valid_from, each.valid_until, asked), each.models)
            for each in self.evidence.families
            if asked.model in each.models
            and each.maker == maker
            and all(models[member].maker == maker for member in each.models)
        ]
        edges = sorted({BEGINNING, FOREVER, *(edge for span, _ in declared for edge in span)})
        return [
            (
                (start, end),
                own.union(*(group for span, group in declared if span[0] <= start < span[1])),
            )
            for start, end in pairwise(edges)
        ]

    # Practical assessment

    def assessment(self, leaf: PracticalAssessment, asked: Asked) -> LeafEvaluation:
        evaluation = LeafEvaluation(NEVER)
        role = leaf.role or asked.role
        passes: list[Assessment] = []
        setbacks: list[Assessment] = []
        scopes = evaluation.epochs = self._model_epochs(leaf.scope, asked)
        models = frozenset().union(*(each[1] for each in scopes))
        wanted = leaf.operations or frozenset({asked.operation})
        for given in self.evidence.assessments_of.get(asked.person, []):
            reason = self._assessed_something_else(given, leaf, asked, role, models, wanted)
            if reason is None and given.outcome != "pass":
                # Counts against the worker whoever gave it: doubt is not met.
                setbacks.append(given)
                reason = "not_yet_competent"
            if reason is None:
                reason = self.signatures.judge_assessment(given, leaf, asked)
            if reason is None:
                passes.append(given)
            else:
                evaluation.not_counted[reason].append(given.id)
        # A setback ends a pass only while its own model counts, as a pass counts only while its model does.
        evaluation.ended_at = [
            each.assessed_at
            for each in setbacks
            if any(span[0] <= each.assessed_at < span[1] and each.model in models_then for span, models_then in scopes)
        ]
        standing: list[Interval] = []
        for given in passes:
            valid_until = FOREVER
            if leaf.within_months is not None:
                day = local_date(given.assessed_at, asked.zone)
                valid_until = start_of_day(first_day_outside(day, leaf.within_months), asked.zone)
            reason = "too_old" if valid_until <= asked.since else None
            for span, models_then in scopes:
                now = span[0] <= asked.since < span[1]
                if given.model not in models_then:
                    reason = reason or ("another_model" if now else None)
                    continue
                later = [
                    each.assessed_at
                    for each in setbacks
                    if each.assessed_at >= given.assessed_at and each.model in models_then
                ]
                standing.append((max(given.assessed_at, span[0]), min([valid_until, span[1], *later])))
                if now and any(each <= asked.since for each in later):
                    reason = "overturned"
            if reason is None:
                evaluation.counted.append(given.id)
            else:
                evaluation.not_counted[reason].append(given.id)
        evaluation.timeline = Timeline.of(standing)
        return evaluation

    def _assessed_something_else(
        self,
        given: Assessment,
        leaf: PracticalAssessment,
        asked: Asked,
        role: str,
        models: frozenset[str],
        operations: frozenset[str],
    ) -> str | None:
        if given.kind != "practical":
            return "not_practical"
        if given.role != role:
            return "another_role"
        if given.model not in models:
            return "another_model"
        if leaf.scope == "configuration" and (
            asked.configuration is None or given.configuration != asked.configuration
        ):
            return "another_configuration"
        if not given.operations & operations:
            return "another_operation"
        return None

    # Certification

    def certification(self, leaf: Certified, asked: Asked) -> LeafEvaluation:
        evaluation = LeafEvaluation(NEVER)
        valid: list[Timeline] = []
        for each in self.evidence.certifications_of.get(asked.person, []):
            reason = self._certified_something_else(each, leaf, asked)
            if reason is None:
                in_force, suspended = self._certificate_in_force(each, asked)
                valid.append(in_force)
                if in_force.holds_at(asked.since) or asked.signing:
                    evaluation.counted.append(each.id)
                    continue
                reason = "suspended_or_revoked" if suspended else "not_in_the_window"
            evaluation.not_counted[reason].append(each.id)
        evaluation.timeline = at_least(1, valid)
        return evaluation

    def _certified_something_else(self, held: Certification, leaf: Certified, asked: Asked) -> str | None:
        if not any(spelled_alike(held.scheme, each) for each in leaf.schemes):
            return "another_scheme"
        if not leaf.scope <= held.scope:
            return "scope_missing"
        crane_class = self.evidence.models[asked.model].crane_class
        if leaf.covers == "model" and asked.model not in held.models:
            return "scope_missing"
        if leaf.covers == "class" and not (crane_class in held.classes or asked.model in held.models):
            return "scope_missing"
        return None

    def _certificate_in_force(self, held: Certification, asked: Asked) -> tuple[Timeline, bool]:
        """When it is in force, and whether a suspension or revocation took it out at ``asked.since``."""
        key = held.id, asked.zone
        known = self._certificates.get(key)
        if known is None:
            taken_out = Timeline.of(self._barred(held, asked.zone))
            whole = Timeline.of([self._in_force(held.issued, held.expires, asked)])
            known = self._certificates[key] = whole.minus(taken_out), taken_out
        in_force, taken_out = known
        return in_force, taken_out.holds_at(asked.since)

    def _barred(self, held: Certification, zone: ZoneInfo) -> Iterator[Interval]:
        """From each suspension to the reinstatement, and from a revocation for ever."""
        since: datetime | None = None
        for change in self.evidence.statuses_about(held, zone):
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

    # Instruction, appointment, language

    def instruction(self, leaf: Instructed, asked: Asked) -> LeafEvaluation:
        def end(given: Instruction) -> datetime:
            if leaf.within_months is None:
                return FOREVER
            day = local_date(given.completed_at, asked.zone)
            return start_of_day(first_day_outside(day, leaf.within_months), asked.zone)

        def reason(given: Instruction) -> str | None:
            if not spelled_alike(given.topic, leaf.topic):
                return "another_topic"
            if leaf.providers and given.provider not in leaf.providers:
                return "another_provider"
            if leaf.scope == "model" and given.model != asked.model:
                return "another_model"
            return None

        return _spans(
            self.evidence.instruction_of.get(asked.person, []),
            reason,
            lambda given: (given.completed_at, end(given)),
            asked,
        )

    def appointment(self, leaf: Appointed, asked: Asked) -> LeafEvaluation:
        def reason(act: Appointment) -> str | None:
            if not spelled_alike(act.duty, leaf.duty):
                return "another_duty"
            if act.kind not in leaf.kinds:
                return "another_kind"
            if act.model not in (None, asked.model):
                return "another_model"
            if act.kind != "duty" and act.document is None:
                return "no_document"
            if act.kind == "maker_instructor":
                if act.maker != self.evidence.models[asked.model].maker:
                    return "another_model"
            elif act.employer is None or act.employer != asked.employer:
                return "another_employer"
            if leaf.stop_work_authority and not act.stop_work_authority:
                return "no_stop_work_authority"
            return None

        return _spans(
            self.evidence.appointments_of.get(asked.person, []),
            reason,
            lambda act: (act.start, act.end or FOREVER),
            asked,
        )

    def language(self, leaf: SharedLanguage, asked: Asked) -> LeafEvaluation:
        if asked.signing and not leaf.languages:
            # A signature does not depend on the language of somebody's later site.
            return LeafEvaluation(ALWAYS)
        wanted = leaf.languages or {asked.working_language}
        evaluation = LeafEvaluation(NEVER)
        for skill in self.evidence.languages_of.get(asked.person, []):
            if skill.language in wanted:
                evaluation.counted.append(skill.id)
                evaluation.timeline = ALWAYS
            else:
                evaluation.not_counted["other_language"].append(skill.id)
        return evaluation

    # Stand-down

    def no_stand_down(self, asked: Asked) -> LeafEvaluation:
        """No stand-down for the role, the model and the employer bars.

        One bars from its start, but for the time in which the registrar suspends it, until it is lifted:
        by retraining that answers it and by a re-assessment passed later than that retraining. Who stood
        somebody down does not undo it in the same sitting, so three things are asked of the two records:

        - The assessor's right to assess does not rest on what the author of the retraining or of the
          re-assessment recorded after the stand-down began: a founding appointment, a maker's
          instructor's, a certificate. It must follow from all the rest.
        - One author does not record both, unless the assessor recorded the re-assessment in their own account.
        - In that last case the assessor's right does not rest on such a record of the same author's at any time.

        Where the author of such a record, or of what it is compared with, is not known, they may be one: what
        was recorded after the stand-down has to show that it is somebody else's. That one author recorded
        retraining and re-assessment is held against them only where it is known: of most old records it is not
        known who brought them in, and that alone is no sign of anything.
        """
        evaluation = LeafEvaluation(ALWAYS)
        barred: list[Interval] = []
        for each in self.evidence.stand_downs_of.get(asked.person, []):
            if each.role not in (None, asked.role) or each.model not in (None, asked.model):
                continue
            if each.only_at not in (None, asked.employer):
                continue
            lifted, not_lifting = self._lifting(each, asked)
            suspended = [
                (every.start, FOREVER if every.end is None else every.end)
                for every in self.evidence.suspensions_of.get(each.id, [])
            ]
            bars = Timeline.of([(each.start, lifted)]).minus(Timeline.of(suspended))
            barred += bars.intervals
            bars_then = bars.limited_to(asked.since, asked.until).intervals
            if not bars_then:
                continue
            if each.start >= asked.since:
                evaluation.ended_at.append(bars_then[0][0])
            evaluation.not_counted["stand_down"].append(each.id)
            for reason, given in not_lifting:
                evaluation.lifted_by_its_author = True
                evaluation.not_counted[reason].append(given)
            if not any(answer.completed_at < asked.since for answer in self._retraining(each, asked)):
                evaluation.retraining_due.append(each.start)
        for given_ids in evaluation.not_counted.values():
            given_ids[:] = dict.fromkeys(given_ids)
        evaluation.timeline = Timeline.of(barred).outside()
        return evaluation

    def _lifting(self, barred: StandDown, asked: Asked) -> tuple[datetime, list[tuple[str, str]]]:
        """When retraining and a re-assessment lift it, and ``(reason, assessment)`` of those that do not."""
        answers = self._retraining(barred, asked)
        not_lifting: list[tuple[str, str]] = []
        for given in self.evidence.assessments_of.get(asked.person, []) if answers else ():
            before = [each for each in answers if each.completed_at < given.assessed_at]
            if not (
                before
                and given.outcome == "pass"
                and given.kind == "practical"
                and given.role == asked.role
                and given.model == asked.model
                and asked.operation in given.operations
                and self.signatures.judge_assessment(given, None, asked) is None
            ):
                continue
            reasons = [self._lifts_its_own(barred, each, given, asked) for each in before]
            if None in reasons:
                return given.assessed_at, []
            not_lifting += [(reason, given.id) for reason in reasons if reason is not None]
        return FOREVER, not_lifting

    def _retraining(self, barred: StandDown, asked: Asked) -> list[Instruction]:
        """The retraining that answers it."""
        return [
            each
            for each in self.evidence.instruction_of.get(asked.person, [])
            if each.after_stand_down == barred.id and each.completed_at >= barred.start
        ]

    def _lifts_its_own(self, barred: StandDown, retraining: Instruction, given: Assessment, asked: Asked) -> str | None:
        """Why the two do not lift the stand-down, for who recorded them; ``None`` if they do."""
        authors = {retraining.recorded_by, given.recorded_by}
        both_by = retraining.recorded_by if len(authors) == 1 else None
        if both_by is not None and not given.signed_by_assessor:
            return "one_author_lifts"
        began = min(barred.start, barred.recorded_at)

        def profits(ground: Appointment | Certification) -> bool:
            author = ground.recorded_by
            if author is not None and author == both_by:
                return True
            return ground.recorded_at > began and (author is None or None in authors or author in authors)

        grounds: list[Appointment | Certification] = [
            *(each for each in self.evidence.appointments if each.kind != "duty"),
            *self.evidence.certifications,
        ]
        left_out = frozenset(each.id for each in grounds if profits(each))
        if not left_out:
            return None
        if self._without(left_out).signatures.judge_assessment(given, None, asked) is None:
            return None
        self.signatures.doubt(given.assessor)
        return "assessor_made_by_who_lifts"

    def _without(self, grounds: frozenset[str]) -> Requirements:
        """The same, were these appointments and certificates not there: signers are settled on their own."""
        found = self._reduced.get(grounds)
        if found is None:
            evidence = replace(
                self.evidence,
                appointments=tuple(each for each in self.evidence.appointments if each.id not in grounds),
                certifications=tuple(each for each in self.evidence.certifications if each.id not in grounds),
                every_certification=self.evidence.every_certification or self.evidence.certifications,
            )
            whole = self.signatures
            found = Requirements(evidence, Signatures(evidence, whole.standard, whole.worker, whole.zone))
            self._reduced[grounds] = found
        return found

    def _in_force(self, first: date, last: date | None, asked: Asked) -> Interval:
        """From the start of the day ``first`` through the end of ``last`` (``None``: open)."""
        start = start_of_day(first, asked.zone)
        return start, FOREVER if last is None else end_of_day(last, asked.zone)


@dataclass(slots=True)
class _Judged:
    """The entries that count as far as their signatures go; of a batch, whether in full."""

    batches: list[tuple[Batch, bool]] = field(default_factory=list)
    singly: list[CountedEntry] = field(default_factory=list)

    def on_models(self, worked: Worked, models: frozenset[str]) -> tuple[Batched, list[CountedEntry]]:
        batched = Batched(worked)
        for batch, in_full in self.batches:
            if batch.entries[0].model in models:
                batched.add(batch, in_full=in_full)
        return batched, [each for each in self.singly if each.entry.model in models]

    def ids_on_others(self, models: frozenset[str]) -> list[str]:
        """Identifiers of the entries on none of ``models``."""
        entries = [each.entry for each in self.singly if each.entry.model not in models]
        for batch, _ in self.batches:
            if batch.entries[0].model not in models:
                entries += batch.entries
        return [entry.id for entry in entries]


def _account_for(
    batched: Batched, singly: list[CountedEntry], profile: HoursProfile, instant: datetime, into: LeafEvaluation
) -> None:
    """Say of each entry whether it counts at ``instant``, and if not, why."""
    oldest, unbroken = profile.cutoffs_at(instant)
    last_days = [(entry.id, at, days_of(entry)[-1][2]) for entry, at, _, _ in singly]
    cutoff = max(oldest, unbroken)
    for key, available_at, last_day in chain(batched.last_days(), last_days):
        if available_at > instant:
            into.not_counted["after_the_window_starts"].append(key)
        elif last_day >= cutoff:
            into.counted.append(key)
        elif last_day < oldest:
            into.not_counted["too_old"].append(key)
        else:
            into.not_counted["after_a_long_pause"].append(key)
    into.not_counted["overlap_or_day_cap"] += profile.lost
    into.lost_minutes = profile.lost_at(instant, singly, batched)


def tree_timeline(node: Node, timeline_of: Callable[[Leaf], Timeline]) -> Timeline:
    """When a tree of requirements is met."""
    if isinstance(node, Group):
        return at_least(node.count, [tree_timeline(each, timeline_of) for each in node.children])
    return timeline_of(node)


Spanning = TypeVar("Spanning", Instruction, Appointment)


def _spans(
    records: Iterable[Spanning],
    reason: Callable[[Spanning], str | None],
    span: Callable[[Spanning], Interval],
    asked: Asked,
) -> LeafEvaluation:
    """A leaf met while any record that fits is in force."""
    evaluation = LeafEvaluation(NEVER)
    spans: list[Interval] = []
    for each in records:
        why = reason(each)
        if why is None:
            start, end = span(each)
            spans.append((start, end))
            if asked.signing or start <= asked.since < end:
                evaluation.counted.append(each.id)
                continue
            why = "not_in_the_window"
        evaluation.not_counted[why].append(each.id)
    evaluation.timeline = Timeline.of(spans)
    return evaluation
