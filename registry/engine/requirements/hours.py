"""Enough hands-on hours, recent enough, on crane models that count."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import product
from typing import Any, Self

from registry.engine.answer import CountedInPart, RemedyItem
from registry.engine.evaluator import Evaluator
from registry.engine.evidence import OPERATIONS, ROLES
from registry.engine.fast.batches import GroupKey, worked_by
from registry.engine.fast.counted_hours import HoursOnModels, HoursThatCount
from registry.engine.hours_profile import HoursProfile, HoursRule, WorstTotal
from registry.engine.intervals import BEGINNING, Interval, at_least
from registry.engine.question import Asked, Question
from registry.engine.reasons import IN_PART
from registry.engine.requirements.account import Account
from registry.engine.requirements.leaf import FiguresOfStandard, Leaf, Signable
from registry.engine.requirements.scope import (
    ON_WHAT,
    ModelsThatCount,
    ScopedEvaluation,
    configuration_not_stated,
    model_epochs,
    operations_in,
)
from registry.engine.requirements.wanted import Wanted, cost_of_both
from registry.engine.sentences import Sentence, authored, duration, either, joined, say
from registry.engine.standard import Standard
from registry.engine.terms import term


@dataclass(slots=True)
class HoursEvaluation(ScopedEvaluation):
    """How many hours there are, and when."""

    hours: list[tuple[Interval, HoursProfile]] = field(default_factory=list)
    in_part: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    """Entries that count only up to the standard's share, by the reason."""
    lost_minutes: int = 0
    """What overlaps and the day's limit take off the entries that count when the time asked about begins."""

    def worst_total(self, start: datetime, end: datetime) -> WorstTotal:
        """The lowest total of hours within ``[start, end)``, whichever models count when."""
        return min(
            profile.worst(max(start, span[0]), min(end, span[1]))
            for span, profile in self.hours
            if max(start, span[0]) < min(end, span[1])
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours(Leaf[HoursEvaluation]):
    """At least ``minimum`` minutes of hands-on hours.

    ``operations`` empty means the operation in question. ``within_months``
    looks back from every instant of the window; hours before a pause longer
    than ``longest_gap_months`` no longer count; ``day_cap`` minutes of one
    local day count at most. ``after`` names a leaf that must have been met
    before the work began.
    """

    kind = "hours"
    fields = {
        "minimum_minutes": {
            "anyOf": [
                {"type": "integer", "minimum": 1},
                {
                    "type": "object",
                    "additionalProperties": False,
                    "required": ["setting"],
                    "properties": {"setting": {"type": "string"}},
                },
            ]
        },
        "scope": {"$ref": "#/$defs/scope"},
        "operations": {"$ref": "#/$defs/operations"},
        "capacity": {"$ref": "#/$defs/role"},
        "after": {"$ref": "#/$defs/key"},
        "within_months": {"$ref": "#/$defs/months"},
        "longest_gap_months": {"$ref": "#/$defs/months"},
        "day_cap_minutes": {"type": "integer", "minimum": 1, "maximum": 1440},
    }
    required = ("minimum_minutes", "scope")

    minimum: int
    scope: str
    operations: frozenset[str] = frozenset()
    capacity: str | None = None
    after: str | None = None
    within_months: int | None = None
    longest_gap_months: int | None = None
    day_cap: int = 24 * 60
    set_by_employer: bool = False

    @classmethod
    def read(
        cls, content: Mapping[str, Any], common: Mapping[str, Any], standard: FiguresOfStandard, path: str
    ) -> Self:
        minimum, set_by_employer = standard.minutes(content["minimum_minutes"], f"{path}.minimum_minutes")
        return cls(
            **common,
            minimum=minimum,
            set_by_employer=set_by_employer,
            scope=content["scope"],
            operations=operations_in(content),
            capacity=content.get("capacity"),
            after=content.get("after"),
            within_months=content.get("within_months"),
            longest_gap_months=content.get("longest_gap_months"),
            day_cap=content.get("day_cap_minutes", 24 * 60),
        )

    @property
    def comes_after(self) -> str | None:
        return self.after

    @property
    def asks_for_configuration(self) -> bool:
        return self.scope == "configuration"

    def can_be_signed(self, so_far: Signable) -> bool:
        # Hours imported from another register need no signer here.
        if "imported" in so_far.counted_alone:
            return True
        return bool(so_far.counted_alone) and so_far.by(so_far.countersigners, self.operations)

    # When it is met

    def evaluate(self, asked: Asked, evaluator: Evaluator, leaves: Mapping[str, Leaf]) -> HoursEvaluation:
        signatures = evaluator.signatures
        evaluation = HoursEvaluation(epochs=model_epochs(evaluator.evidence, self.scope, asked))
        if self.after:
            evaluation.may_start = evaluator.first_met(leaves[self.after], asked, leaves)
        models = frozenset().union(*(models_then for _, models_then in evaluation.epochs))
        worked = worked_by(evaluator.evidence, asked.person, signatures.late_after, signatures.recorded_late_after)
        hours = HoursThatCount(worked, signatures, evaluation.not_counted, evaluation.in_part)
        for key, group in worked.groups.items():
            reason = self._why_other_work(key, asked, models)
            if reason is not None:
                evaluation.not_counted[reason] += group.ids
            else:
                hours.judge(group, evaluation.may_start or BEGINNING)
        rule = self._rule(asked, signatures.standard)
        timelines = []
        for span, models_then in evaluation.epochs:
            counted = hours.on_models(models_then)
            profile = counted.profile(rule)
            timelines.append(profile.timeline(self.minimum, asked.since).limited_to(*span))
            evaluation.hours.append((span, profile))
            if asked.since != BEGINNING and span[0] <= asked.since < span[1]:
                evaluation.not_counted["another_model"] += hours.ids_on_others(models_then)
                _note_what_counts(counted, profile, asked.since, evaluation)
        evaluation.timeline = at_least(1, timelines)
        return evaluation

    def _why_other_work(self, key: GroupKey, asked: Asked, models: frozenset[str]) -> str | None:
        """Why it is not such work as is asked for; ``None`` if it is."""
        model, operation, capacity, configuration = key
        if model not in models:
            return "another_model"
        if self.scope == "configuration" and (asked.configuration is None or configuration != asked.configuration):
            return "another_configuration"
        if operation not in (self.operations or {asked.operation}):
            return "another_operation"
        if self.capacity is not None and capacity != self.capacity:
            return "another_capacity"
        return None

    def _rule(self, asked: Asked, standard: Standard) -> HoursRule:
        return HoursRule(
            asked.zone,
            self.within_months,
            self.longest_gap_months,
            self.day_cap,
            self.minimum * standard.provenance.part_at_most_percent // 100,
        )

    # In words

    def account(self, evaluation: HoursEvaluation, question: Question, fails_from: datetime | None) -> Account:
        worst = evaluation.worst_total(question.start, question.end)
        missing = max(self.minimum - worst.minutes, 0)
        in_part = _counted_in_part(evaluation, worst)
        return Account(
            required=say("%(amount)s of hands-on hours", amount=duration(self.minimum)),
            found=_found(worst, in_part, evaluation.lost_minutes),
            shortfall="" if fails_from is None else say("%(amount)s missing", amount=duration(missing)),
            figures={
                "required_minutes": self.minimum,
                "found_minutes": worst.minutes,
                "shortfall_minutes": missing,
                "lost_minutes": evaluation.lost_minutes,
                "in_part": in_part,
                "set_by_employer": self.set_by_employer,
            },
        )

    # What would meet it

    def obstacle(self, evaluation: HoursEvaluation, question: Question, standard: Standard) -> str:
        if "witnessed" not in standard.provenance.in_full:
            return say(
                "Hours countersigned from now on do not count in full under this standard (%(requirement)s).",
                requirement=authored(self.sentence),
            )
        if self._fresh_minutes(evaluation, question) is None:
            return say(
                "The window is longer than hours stay current (%(requirement)s).", requirement=authored(self.sentence)
            )
        return configuration_not_stated(self.scope, question)

    def wanted(self, evaluation: HoursEvaluation, question: Question, leaves: Mapping[str, Leaf]) -> Sequence[Wanted]:
        capacities = [self.capacity] if self.capacity else ROLES
        return [
            WantedHours(
                self,
                self.cost,
                minutes=self._fresh_minutes(evaluation, question) or 0,
                counts=frozenset(product(self.operations or {question.operation}, capacities)),
                place=ModelsThatCount.throughout(question, self.scope, evaluation),
                day_cap=self.day_cap,
                after=(leaves[self.after],) if self.after else (),
            )
        ]

    def _fresh_minutes(self, evaluation: HoursEvaluation, question: Question) -> int | None:
        """The fewest minutes that would do, worked right before the window; ``None`` where none would."""
        needed = 1
        for span, profile in evaluation.hours:
            first, last = max(span[0], question.start), min(span[1], question.end)
            if first < last:
                fresh = profile.fresh_minutes_needed(self.minimum, first, last)
                if fresh is None:
                    return None
                needed = max(needed, fresh)
        return needed


@dataclass(frozen=True, slots=True)
class WantedHours(Wanted):
    """Minutes that a requirement still needs, and what kinds of work, ``(operation, capacity)``, count for it."""

    minutes: int
    counts: frozenset[tuple[str, str]]
    place: ModelsThatCount
    day_cap: int
    after: tuple[Leaf, ...]

    @property
    def sort(self) -> Hashable:
        return "hours"

    @property
    def thing(self) -> Any:
        configured = self.place.scope == "configuration"
        return self.minutes, self.counts, self.place.models, configured, self.day_cap, frozenset(self.after)

    def serves(self, other: WantedHours) -> bool:
        return not self.counts.isdisjoint(other.counts)

    def narrowed_to(self, other: WantedHours) -> WantedHours:
        """The same minutes, worked so that they serve ``other`` too."""
        return replace(
            self,
            counts=self.counts & other.counts,
            place=self.place.narrowed_to(other.place),
            day_cap=min(self.day_cap, other.day_cap),
            after=tuple(dict.fromkeys(self.after + other.after)),
        )

    @classmethod
    def each_once(cls, needs: Sequence[WantedHours]) -> list[WantedHours]:
        """An hour that counts for several requirements is asked for once."""
        planned: list[WantedHours] = []
        # The narrowest requirement comes first, as its hours may serve the wider ones.
        for need in sorted(needs, key=lambda need: len(need.counts)):
            serving = [other for other in planned if other.serves(need)]
            rest = replace(need, minutes=need.minutes - sum(other.minutes for other in serving))
            planned = [other.narrowed_to(need) if other in serving else other for other in planned]
            if rest.minutes > 0:
                planned.append(rest)
            elif len(serving) == 1:
                first = next(place for place, other in enumerate(planned) if other.serves(need))
                planned[first] = replace(planned[first], cost=cost_of_both(serving[0], need, planned[first]))
        return planned

    def item(self, question: Question) -> RemedyItem:
        operations = {operation for operation, _ in self.counts}
        capacities = {capacity for _, capacity in self.counts}
        values: dict[str, Sentence] = {
            "amount": duration(self.minutes),
            "where": say(ON_WHAT[self.place.scope]),
            "operations": say("any operation")
            if operations == set(OPERATIONS)
            else either(map(term, sorted(operations))),
        }
        if len(capacities) < len(ROLES):
            wanted = say(
                "%(amount)s more hands-on hours %(where)s in %(operations)s as %(roles)s, "
                "countersigned by an entitled person",
                roles=either(map(term, sorted(capacities))),
                **values,
            )
        else:
            wanted = say(
                "%(amount)s more hands-on hours %(where)s in %(operations)s, countersigned by an entitled person",
                **values,
            )
        if self.day_cap < 24 * 60:
            wanted = say(
                "%(remedy)s; of one day at most %(amount)s count", remedy=wanted, amount=duration(self.day_cap)
            )
        for leaf in self.after:
            wanted = say("%(remedy)s, after: %(requirement)s", remedy=wanted, requirement=authored(leaf.sentence))
        return RemedyItem("hours", self.leaf.key, wanted, self.cost, self.minutes)

    def rank(self, place: int) -> tuple[int, int]:
        return 2, 0


def _note_what_counts(
    counted: HoursOnModels, profile: HoursProfile, instant: datetime, evaluation: HoursEvaluation
) -> None:
    """Say of each entry whether it counts at ``instant``, and if not, why."""
    oldest, unbroken = profile.cutoffs_at(instant)
    cutoff = max(oldest, unbroken)
    for key, available_at, last_day in counted.last_days():
        if available_at > instant:
            evaluation.not_counted["after_the_window_starts"].append(key)
        elif last_day >= cutoff:
            evaluation.counted.append(key)
        elif last_day < oldest:
            evaluation.not_counted["too_old"].append(key)
        else:
            evaluation.not_counted["after_a_long_pause"].append(key)
    evaluation.not_counted["overlap_or_day_cap"] += profile.lost
    evaluation.lost_minutes = profile.lost_at(instant, counted.on_record())


def _counted_in_part(evaluation: HoursEvaluation, worst: WorstTotal) -> CountedInPart | None:
    """What of the hours counts only up to the standard's share, where that takes something off them."""
    if worst.in_part == worst.in_part_counted:
        return None
    counted = set(evaluation.counted)
    about = {reason: counted.intersection(records) for reason, records in evaluation.in_part.items()}
    reasons = tuple(reason for reason in IN_PART if about.get(reason))
    records = tuple(sorted(set[str]().union(*about.values())))
    return CountedInPart(worst.in_part, worst.in_part_counted, reasons, records)


def _found(worst: WorstTotal, in_part: CountedInPart | None, lost_minutes: int) -> Sentence:
    """The total, and how much more is on record that does not count."""
    details = [] if in_part is None else [in_part.sentence]
    if lost_minutes:
        details.append(say("%(amount)s overlap or lie past the day's limit", amount=duration(lost_minutes)))
    total = duration(worst.minutes)
    return say("%(found)s (%(details)s)", found=total, details=joined(details, "; ")) if details else total
