"""What would cure a refusal: the cheapest set of things to obtain.

Costs are declared by the standard. Of several branches the cheapest is named;
at equal cost the one with fewer things, then the first in the file.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import combinations, islice, product

from registry.eligibility.answer import Remedy, RemedyItem
from registry.eligibility.calendar import first_day_outside, local_date, start_of_day
from registry.eligibility.evidence import OPERATIONS, ROLES
from registry.eligibility.hours import INSTANT
from registry.eligibility.leaves import LeafEvaluation, tree_timeline
from registry.eligibility.question import Question
from registry.eligibility.sentences import (
    Sentence,
    authored,
    day_of,
    duration,
    either,
    joined,
    listed,
    say,
    sentence,
)
from registry.eligibility.standard import (
    Appointed,
    Certified,
    Group,
    Hours,
    Instructed,
    Leaf,
    Node,
    NoStandDown,
    PracticalAssessment,
    RoleStandard,
    SharedLanguage,
    Standard,
)
from registry.eligibility.words import term

MOST_ALTERNATIVES = 200
"""More alternatives than any readable standard has; past it only the cheapest are kept."""

SCOPES = ("configuration", "model", "family", "class", "any")
"""From the narrowest to the widest: hours that count for one count for all that follow."""

ON_WHAT = {
    "configuration": sentence("on the model in this configuration"),
    "model": sentence("on the model"),
    "family": sentence("on the model or its family"),
    "class": sentence("on cranes of the same class"),
    "any": sentence("on any crane"),
}
"""Where hours are to be worked, or an assessment given, by scope."""

FOR_WHAT = {
    "model": sentence("for this very model"),
    "class": sentence("for cranes of this class or this very model"),
}
"""What a certificate must cover."""

ASSESSMENTS = {
    "any": sentence("a practical assessment as %(role)s in %(operations)s, passed and given by an entitled assessor"),
    "third_party": sentence(
        "a practical assessment as %(role)s in %(operations)s, passed and given by an entitled third-party assessor"
    ),
    "employer": sentence(
        "a practical assessment as %(role)s in %(operations)s, passed and given by the employer's entitled assessor"
    ),
}
"""The assessment to obtain, by who must give it."""

LeafSet = frozenset[str]


def remedy_for(
    role: RoleStandard,
    evaluations: dict[str, LeafEvaluation],
    question: Question,
    standard: Standard,
) -> Remedy:
    """The remedy for a refused question, or an obstacle that no document removes."""
    finder = _Finder(role, evaluations, question, standard)
    alternatives = finder.alternatives(role.requirement)
    if not alternatives:
        return Remedy(obstacle=joined(dict.fromkeys(finder.obstacles.values())))
    best = min(alternatives, key=finder.preference)
    return Remedy(finder.items(best))


@dataclass(frozen=True, slots=True)
class _FreshHours:
    """Minutes that a leaf still needs, and what kinds of work count for it."""

    leaf: Hours
    minutes: int
    counts: frozenset[tuple[str, str]]
    scope: str
    after: tuple[str, ...]

    def narrowed_to(self, other: _FreshHours) -> _FreshHours:
        """The same minutes, worked so that they serve ``other`` too."""
        return replace(
            self,
            counts=self.counts & other.counts,
            scope=min(self.scope, other.scope, key=SCOPES.index),
            after=tuple(dict.fromkeys(self.after + other.after)),
        )


class _Finder:
    def __init__(
        self,
        role: RoleStandard,
        evaluations: dict[str, LeafEvaluation],
        question: Question,
        standard: Standard,
    ) -> None:
        self.evaluations = evaluations
        self.question = question
        self.standard = standard
        self.leaves = {leaf.key: leaf for leaf in role.leaves()}
        self.order = {key: index for index, key in enumerate(self.leaves)}
        self.obstacles: dict[str, str] = {}

    # Which leaves to cure

    def alternatives(self, node: Node) -> list[LeafSet]:
        """Sets of leaves, each of which would make ``node`` hold; none where nothing would."""
        timeline = tree_timeline(node, lambda leaf: self.evaluations[leaf.key].timeline)
        if timeline.holds_throughout(self.question.start, self.question.end):
            return [frozenset()]
        if not isinstance(node, Group):
            return self._cure(node)
        options = [self.alternatives(child) for child in node.children]
        curable = [each for each in options if each]
        found: list[LeafSet] = []
        for chosen in islice(combinations(curable, node.count), MOST_ALTERNATIVES):
            joined: list[LeafSet] = [frozenset()]
            for sets in chosen:
                joined = self._cheapest(one | other for one in joined for other in sets)
            found = self._cheapest([*found, *joined])
        return found

    def _cheapest(self, sets: Iterable[LeafSet]) -> list[LeafSet]:
        return sorted(dict.fromkeys(sets), key=self.preference)[:MOST_ALTERNATIVES]

    def _cure(self, leaf: Leaf) -> list[LeafSet]:
        obstacle = self._obstacle(leaf)
        if obstacle:
            self.obstacles[leaf.key] = obstacle
            return []
        first = self._must_come_first(leaf)
        if first is None:
            return [frozenset({leaf.key})]
        return [each | {leaf.key} for each in self._cure(first)]

    def _must_come_first(self, leaf: Leaf) -> Leaf | None:
        """The leaf named in ``after``, where it was never met so far."""
        if isinstance(leaf, Hours) and leaf.after is not None:
            first = self.leaves[leaf.after]
            first_met = self.evaluations[leaf.key].may_start
            if first_met is None or first_met >= self.question.start:
                return first
        return None

    def _obstacle(self, leaf: Leaf) -> str:
        """Why nothing obtained before the window would help, if so."""
        question = self.question
        if isinstance(leaf, Hours) and self._fresh_minutes(leaf) is None:
            return say(
                "The window is longer than hours stay current (%(requirement)s).", requirement=authored(leaf.sentence)
            )
        if isinstance(leaf, PracticalAssessment | Instructed) and leaf.within_months is not None:
            eve = local_date(question.start - INSTANT, question.zone)
            expires = start_of_day(first_day_outside(eve, leaf.within_months), question.zone)
            if expires < question.end:
                return say(
                    "The window is longer than this stays valid (%(requirement)s).", requirement=authored(leaf.sentence)
                )
        ended_at = self.evaluations[leaf.key].ended_at
        if any(question.start <= each < question.end for each in ended_at):
            if isinstance(leaf, PracticalAssessment):
                return say(
                    "A later assessment inside the window overturns it (%(requirement)s).",
                    requirement=authored(leaf.sentence),
                )
            return say("A stand-down begins inside the window (%(requirement)s).", requirement=authored(leaf.sentence))
        if (
            isinstance(leaf, Hours | PracticalAssessment)
            and leaf.scope == "configuration"
            and question.configuration is None
        ):
            return say("The crane's configuration is not stated.")
        if isinstance(leaf, SharedLanguage) and not (leaf.languages or question.working_language):
            return say("The site's working language is not stated.")
        return ""

    # What to obtain for a set of leaves

    def preference(self, leaves: LeafSet) -> tuple[int, int, list[int]]:
        """Cheapest first, then fewest things, then first in the file."""
        items = self.items(leaves)
        return sum(each.cost for each in items), len(items), sorted(map(self.order.get, leaves))  # type: ignore[arg-type]

    def items(self, leaves: LeafSet) -> tuple[RemedyItem, ...]:
        """The things to obtain, each once, in the order in which to obtain them."""
        chosen = sorted((self.leaves[key] for key in leaves), key=lambda leaf: self.order[leaf.key])
        reassessed = any(
            isinstance(leaf, PracticalAssessment)
            and leaf.role in (None, self.question.role)
            and (not leaf.operations or self.question.operation in leaf.operations)
            # After a stand-down somebody is assessed again on this very model.
            and leaf.scope in ("model", "configuration")
            for leaf in chosen
        )
        items: list[RemedyItem] = []
        for leaf in chosen:
            if isinstance(leaf, NoStandDown):
                for began in sorted(self.evaluations[leaf.key].retraining_due):
                    items.append(self._item(leaf, "retraining", self._retraining(began)))
                if not reassessed:
                    items.append(self._item(leaf, "assessment", self._assessment(None)))
            elif not isinstance(leaf, Hours):
                items.append(self._item(leaf, *self._other(leaf)))
        items += self._hours_items(leaf for leaf in chosen if isinstance(leaf, Hours))
        return tuple(sorted(items, key=lambda each: each.kind != "retraining"))

    def _item(self, leaf: Leaf, kind: str, wanted: str) -> RemedyItem:
        return RemedyItem(kind, leaf.key, wanted, leaf.cost)

    def _other(self, leaf: Leaf) -> tuple[str, str]:
        question = self.question
        if isinstance(leaf, PracticalAssessment):
            return "assessment", self._assessment(leaf)
        if isinstance(leaf, Certified):
            return "certification", self._certificate(leaf)
        if isinstance(leaf, Instructed):
            return "instruction", _instruction(leaf)
        if isinstance(leaf, Appointed):
            return "appointment", self._appointment(leaf)
        assert isinstance(leaf, SharedLanguage)
        wanted = either(sorted(leaf.languages)) or question.working_language or ""
        return "language", say("a working language in common: %(languages)s", languages=wanted)

    def _certificate(self, leaf: Certified) -> Sentence:
        schemes, day = either(leaf.schemes), self._last_day
        wanted = say("a certificate of the scheme %(schemes)s, valid through %(day)s", schemes=schemes, day=day)
        if leaf.scope:
            wanted = say(
                "a certificate of the scheme %(schemes)s covering %(scope)s, valid through %(day)s",
                schemes=schemes,
                scope=listed(sorted(leaf.scope)),
                day=day,
            )
        if leaf.covers == "any":
            return wanted
        return say("%(remedy)s, %(where)s", remedy=wanted, where=say(FOR_WHAT[leaf.covers]))

    def _appointment(self, leaf: Appointed) -> Sentence:
        values = {"kinds": either(map(term, sorted(leaf.kinds))), "duty": term(leaf.duty), "day": self._last_day}
        if leaf.stop_work_authority:
            return say(
                "a written %(kinds)s appointment as %(duty)s with authority to stop work, through %(day)s", **values
            )
        return say("a written %(kinds)s appointment as %(duty)s, through %(day)s", **values)

    @property
    def _last_day(self) -> Sentence:
        return day_of(local_date(self.question.end - INSTANT, self.question.zone))

    def _assessment(self, leaf: PracticalAssessment | None) -> Sentence:
        role = leaf.role if leaf and leaf.role else self.question.role
        operations = [self.question.operation]
        if leaf is not None and leaf.operations and operations[0] not in leaf.operations:
            operations = sorted(leaf.operations)
        wanted = say(
            ASSESSMENTS[leaf.assessor if leaf else "any"], role=term(role), operations=either(map(term, operations))
        )
        return say("%(remedy)s, %(where)s", remedy=wanted, where=say(ON_WHAT[leaf.scope if leaf else "model"]))

    def _retraining(self, began: datetime) -> Sentence:
        day = day_of(local_date(began, self.question.zone))
        return say("retraining that answers the stand-down of %(day)s, then a re-assessment", day=day)

    def _hours_items(self, leaves: Iterable[Hours]) -> list[RemedyItem]:
        """Hours still to work; an hour that counts for several requirements is asked for once."""
        needs = [self._need(leaf) for leaf in leaves]
        # The narrowest requirement comes first, as its hours may serve the wider ones.
        needs.sort(key=lambda need: (len(need.counts), self.order[need.leaf.key]))
        planned: list[_FreshHours] = []
        for need in needs:
            serving = [each for each in planned if each.counts & need.counts]
            rest = replace(need, minutes=need.minutes - sum(each.minutes for each in serving))
            planned = [each.narrowed_to(need) if each in serving else each for each in planned]
            if rest.minutes > 0:
                planned.append(rest)
        return [self._hours_item(each) for each in planned]

    def _need(self, leaf: Hours) -> _FreshHours:
        after = (leaf.after,) if leaf.after else ()
        minutes = self._fresh_minutes(leaf) or 0
        return _FreshHours(leaf, minutes, self._kinds_of_work(leaf), leaf.scope, after)

    def _hours_item(self, need: _FreshHours) -> RemedyItem:
        operations = {operation for operation, _ in need.counts}
        capacities = {capacity for _, capacity in need.counts}
        values: dict[str, Sentence] = {
            "amount": duration(need.minutes),
            "where": say(ON_WHAT[need.scope]),
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
        for key in need.after:
            wanted = say(
                "%(remedy)s, after: %(requirement)s", remedy=wanted, requirement=authored(self.leaves[key].sentence)
            )
        return RemedyItem("hours", need.leaf.key, wanted, need.leaf.cost, need.minutes)

    def _kinds_of_work(self, leaf: Hours) -> frozenset[tuple[str, str]]:
        operations = leaf.operations or {self.question.operation}
        capacities = [leaf.capacity] if leaf.capacity else ROLES
        return frozenset(product(operations, capacities))

    def _fresh_minutes(self, leaf: Hours) -> int | None:
        start, end = self.question.start, self.question.end
        needed = 1
        for span, profile in self.evaluations[leaf.key].hours:
            first, last = _overlap(span, (start, end))
            if first < last:
                fresh = profile.fresh_minutes_needed(leaf.minimum, first, last)
                if fresh is None:
                    return None
                needed = max(needed, fresh)
        return needed


def _instruction(leaf: Instructed) -> Sentence:
    topic, providers = term(leaf.topic), either(map(term, sorted(leaf.providers)))
    if leaf.scope == "model":
        if leaf.providers:
            return say("instruction: %(topic)s, on the model, by the %(providers)s", topic=topic, providers=providers)
        return say("instruction: %(topic)s, on the model", topic=topic)
    if leaf.providers:
        return say("instruction: %(topic)s, by the %(providers)s", topic=topic, providers=providers)
    return say("instruction: %(topic)s", topic=topic)


def _overlap(one: tuple[datetime, datetime], other: tuple[datetime, datetime]) -> tuple[datetime, datetime]:
    return max(one[0], other[0]), min(one[1], other[1])
