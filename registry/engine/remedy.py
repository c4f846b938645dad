"""What would cure a refusal: the cheapest set of things to obtain, which then does cure it.

Costs are declared by the standard, requirement by requirement. At equal cost the remedy is the one
with fewer things, then with fewer requirements, then the first in the file.

How the cheapest is found. The cost of a set of requirements is the sum of their own costs, except where one
thing serves several of them. It costs what the requirement costs that asks for just that thing, and where none
of them does, what the dearest costs: an hour or an assessment that counts for two, a
certificate, instruction or appointment that does for two, what must come first before hours count, a
re-assessment after a stand-down. Requirements that may share something so are *bound*. For each choice of bound
requirements the rest is a matter of sums, so the cheapest way through the tree is found group by group: the
least of an ``any_of``, all of an ``all_of``, the ``count`` least of an ``at_least``. That is exact however many
branches there are. With more than :data:`MOST_BOUND` bound requirements the choice is made as if those past it
shared nothing: the remedy still cures and asks for each thing once, but a cheaper one may have been missed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import combinations, product
from typing import Any, TypeVar

from registry.engine.answer import Remedy, RemedyItem
from registry.engine.calendar import first_day_outside, local_date, start_of_day
from registry.engine.evidence import OPERATIONS, ROLES
from registry.engine.hours_profile import INSTANT
from registry.engine.leaves import LeafEvaluation, tree_timeline
from registry.engine.question import Question
from registry.engine.sentences import (
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
    RoleStandard,
    SharedLanguage,
    Standard,
)
from registry.engine.terms import term

MOST_BOUND = 12
"""Choices double with each. No readable standard leaves as many requirements unmet that share something."""

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
NOTHING: LeafSet = frozenset()


def remedy_for(
    role: RoleStandard,
    evaluations: dict[str, LeafEvaluation],
    question: Question,
    standard: Standard,
) -> Remedy:
    """The remedy for a refused question, or an obstacle that no document removes."""
    finder = _Finder(role, evaluations, question, standard)
    best = finder.cheapest(role.requirement)
    if best is None:
        return Remedy(obstacle=joined(dict.fromkeys(finder.obstacles.values())))
    return Remedy(finder.items(best))


@dataclass(frozen=True, slots=True)
class _Place:
    """On which crane models something may be shown so that it counts throughout the window, and how that is said."""

    scope: str
    models: frozenset[str]

    def narrowed_to(self, other: _Place, own: str) -> _Place:
        """What counts for both; the model in question always does."""
        if "configuration" in (self.scope, other.scope):
            return self if self.scope == "configuration" else other
        both = self.models & other.models
        for each in (self, other):
            if each.models == both:
                return each
        return _Place("model", frozenset({own}))


@dataclass(frozen=True, slots=True)
class _FreshHours:
    """Minutes that a leaf still needs, and what kinds of work count for it."""

    leaf: Hours
    cost: int
    minutes: int
    counts: frozenset[tuple[str, str]]
    place: _Place
    day_cap: int
    after: tuple[str, ...]

    def narrowed_to(self, other: _FreshHours, own: str) -> _FreshHours:
        """The same minutes, worked so that they serve ``other`` too."""
        return replace(
            self,
            counts=self.counts & other.counts,
            place=self.place.narrowed_to(other.place, own),
            day_cap=min(self.day_cap, other.day_cap),
            after=tuple(dict.fromkeys(self.after + other.after)),
        )

    def kind_of_thing(self) -> Any:
        """What work is to be done, whatever requirement asks for it."""
        configured = self.place.scope == "configuration"
        return self.minutes, self.counts, self.place.models, configured, self.day_cap, frozenset(self.after)


@dataclass(frozen=True, slots=True)
class _FreshAssessment:
    """An assessment that a leaf still needs; ``lifts`` where it answers a stand-down too."""

    leaf: Leaf
    cost: int
    role: str
    operations: frozenset[str]
    place: _Place
    by: str
    lifts: bool = False

    def serves(self, other: _FreshAssessment) -> bool:
        """Whether one assessment can do for both."""
        return (
            self.role == other.role
            and not self.operations.isdisjoint(other.operations)
            and ("any" in (self.by, other.by) or self.by == other.by)
        )

    def narrowed_to(self, other: _FreshAssessment, own: str) -> _FreshAssessment:
        """One assessment for both."""
        narrowed = replace(
            self,
            operations=self.operations & other.operations,
            place=self.place.narrowed_to(other.place, own),
            by=other.by if self.by == "any" else self.by,
            lifts=self.lifts or other.lifts,
        )
        return replace(narrowed, cost=_cost_of_both(self, other, narrowed))

    def kind_of_thing(self) -> Any:
        """What is judged, whatever requirement asks for it."""
        return self.role, self.operations, self.place.models, self.place.scope == "configuration", self.by


Fresh = TypeVar("Fresh", _FreshHours, _FreshAssessment)


def _cost_of_both(one: Fresh, other: Fresh, together: Fresh) -> int:
    """What one thing for two requirements costs: as the one of them that asks for it alone, or else as the dearer."""
    costs = [each.cost for each in (one, other) if each.kind_of_thing() == together.kind_of_thing()]
    return min(costs, default=max(one.cost, other.cost))


@dataclass(frozen=True, slots=True)
class _Price:
    """What a set of leaves costs. Prices of sets that share nothing add up, and so compare alike in any sum."""

    cost: int
    things: int
    leaves: LeafSet
    earliest: int
    """A number that is the smaller the earlier the leaves stand in the file."""

    @property
    def order(self) -> tuple[int, int, int, int]:
        return self.cost, self.things, len(self.leaves), self.earliest

    def __add__(self, other: _Price) -> _Price:
        return _Price(
            self.cost + other.cost,
            self.things + other.things,
            self.leaves | other.leaves,
            self.earliest + other.earliest,
        )


FREE = _Price(0, 0, NOTHING, 0)


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
        self._holding: dict[int, bool] = {}

    # Which leaves to cure

    def cheapest(self, root: Node) -> LeafSet | None:
        """The leaves to cure, or ``None`` where nothing would."""
        unmet = self._unmet(root)
        curable = [key for key in self.leaves if key in unmet and self._is_curable(self.leaves[key])]
        bound = self._bound(curable)[:MOST_BOUND]
        alone = {key: self._price(self._with_what_comes_first(key)) for key in curable if key not in bound}
        best: _Price | None = None
        for number in range(len(bound) + 1):
            for chosen in map(frozenset, combinations(bound, number)):
                if any(self._with_what_comes_first(key) & set(bound) - chosen for key in chosen):
                    continue
                price = self._price(chosen)
                if best is not None and price.order > best.order:
                    continue
                rest = self._way_through(root, alone | dict.fromkeys(chosen, FREE))
                if rest is not None and (best is None or (price + rest).order < best.order):
                    best = price + rest
        return None if best is None else best.leaves

    def _unmet(self, node: Node) -> LeafSet:
        """The leaves under ``node`` that are not met where that matters, and what must come first for them."""
        if self._holds(node):
            return NOTHING
        if isinstance(node, Group):
            return NOTHING.union(*map(self._unmet, node.children))
        return self._with_what_comes_first(node.key)

    def _holds(self, node: Node) -> bool:
        if id(node) not in self._holding:
            timeline = tree_timeline(node, lambda leaf: self.evaluations[leaf.key].timeline)
            self._holding[id(node)] = timeline.holds_throughout(self.question.start, self.question.end)
        return self._holding[id(node)]

    def _way_through(self, node: Node, prices: dict[str, _Price]) -> _Price | None:
        """The cheapest way to make ``node`` hold by leaves that have a price; ``None`` if there is none."""
        if self._holds(node):
            return FREE
        if not isinstance(node, Group):
            return prices.get(node.key)
        ways = [each for child in node.children if (each := self._way_through(child, prices)) is not None]
        if len(ways) < node.count:
            return None
        return sum(sorted(ways, key=lambda each: each.order)[: node.count], FREE)

    def _price(self, leaves: LeafSet) -> _Price:
        items = self.items(leaves)
        earliest = -sum(1 << (len(self.order) - self.order[key]) for key in leaves)
        return _Price(sum(each.cost for each in items), len(items), leaves, earliest)

    def _is_curable(self, leaf: Leaf) -> bool:
        for key in self._with_what_comes_first(leaf.key):
            obstacle = self._obstacle(self.leaves[key])
            if obstacle:
                self.obstacles[key] = obstacle
                return False
        return True

    def _with_what_comes_first(self, key: str) -> LeafSet:
        """The leaf, and the leaves named in ``after`` that were never met so far."""
        found = {key}
        leaf = self.leaves[key]
        while isinstance(leaf, Hours) and leaf.after is not None:
            first_met = self.evaluations[leaf.key].may_start
            if first_met is not None and first_met < self.question.start:
                break
            leaf = self.leaves[leaf.after]
            found.add(leaf.key)
        return frozenset(found)

    def _bound(self, curable: list[str]) -> list[str]:
        """Those of the leaves that may share something with another."""
        return [
            one
            for one in curable
            if len(self._with_what_comes_first(one)) > 1
            or any(one != other and self._may_share(self.leaves[one], self.leaves[other]) for other in curable)
        ]

    def _may_share(self, one: Leaf, other: Leaf) -> bool:
        if one.key in self._with_what_comes_first(other.key):
            return True
        if isinstance(one, Hours) and isinstance(other, Hours):
            return not self._kinds_of_work(one).isdisjoint(self._kinds_of_work(other))
        judged = (NoStandDown, PracticalAssessment)
        if isinstance(one, judged) and isinstance(other, judged):
            return self._fresh_assessment(one).serves(self._fresh_assessment(other))
        return _both(one, other) is not None

    def _obstacle(self, leaf: Leaf) -> str:
        """Why nothing obtained before the window would help, if so."""
        question = self.question
        if isinstance(leaf, Hours) and "witnessed" not in self.standard.provenance.in_full:
            return say(
                "Hours countersigned from now on do not count in full under this standard (%(requirement)s).",
                requirement=authored(leaf.sentence),
            )
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

    def items(self, leaves: LeafSet) -> tuple[RemedyItem, ...]:
        """The things to obtain, each once, in the order in which to obtain them."""
        chosen = sorted((self.leaves[key] for key in leaves), key=lambda leaf: self.order[leaf.key])
        items: list[RemedyItem] = []
        for leaf in chosen:
            if isinstance(leaf, NoStandDown):
                for began in sorted(self.evaluations[leaf.key].retraining_due):
                    items.append(self._item(leaf, "retraining", self._retraining(began)))
        judged = [self._assessment_item(each) for each in self._assessments(chosen)]
        others = [leaf for leaf in chosen if not isinstance(leaf, Hours | NoStandDown | PracticalAssessment)]
        papers = [self._item(leaf, *self._other(leaf)) for leaf in _each_once(others)]
        items += sorted([*judged, *papers], key=lambda each: self.order[each.leaf])
        items += self._hours_items(leaf for leaf in chosen if isinstance(leaf, Hours))
        return tuple(items)

    def _item(self, leaf: Leaf, kind: str, wanted: str) -> RemedyItem:
        return RemedyItem(kind, leaf.key, wanted, leaf.cost)

    def _other(self, leaf: Leaf) -> tuple[str, str]:
        question = self.question
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
        kinds = _kinds_offered(leaf)
        values = {"kinds": either(map(term, kinds)), "duty": term(leaf.duty), "day": self._last_day}
        wanted = say("a written %(kinds)s appointment as %(duty)s, through %(day)s", **values)
        if leaf.stop_work_authority:
            wanted = say(
                "a written %(kinds)s appointment as %(duty)s with authority to stop work, through %(day)s", **values
            )
        if kinds == ["duty"]:
            return wanted
        return say("%(remedy)s, with the outside document attached that it rests on", remedy=wanted)

    @property
    def _last_day(self) -> Sentence:
        return day_of(local_date(self.question.end - INSTANT, self.question.zone))

    def _assessments(self, chosen: Iterable[Leaf]) -> list[_FreshAssessment]:
        """Assessments still to pass; one that counts for several requirements is asked for once."""
        needs = [self._fresh_assessment(each) for each in chosen if isinstance(each, NoStandDown | PracticalAssessment)]
        # The narrowest requirement comes first; a stand-down is answered by what is passed anyway.
        needs.sort(key=lambda need: (need.lifts, len(need.operations), len(need.place.models), need.by == "any"))
        planned: list[_FreshAssessment] = []
        for need in needs:
            serving = next((each for each in planned if each.serves(need)), None)
            if serving is None:
                planned.append(need)
            else:
                planned[planned.index(serving)] = serving.narrowed_to(need, self.question.model)
        return planned

    def _fresh_assessment(self, leaf: NoStandDown | PracticalAssessment) -> _FreshAssessment:
        question = self.question
        if isinstance(leaf, NoStandDown):
            # After a stand-down somebody is assessed again on this very model.
            own = _Place("model", frozenset({question.model}))
            return _FreshAssessment(
                leaf, leaf.cost, question.role, frozenset({question.operation}), own, "any", lifts=True
            )
        operations = leaf.operations or frozenset({question.operation})
        return _FreshAssessment(
            leaf, leaf.cost, leaf.role or question.role, operations, self._place(leaf), leaf.assessor
        )

    def _assessment_item(self, need: _FreshAssessment) -> RemedyItem:
        operations = [self.question.operation]
        if operations[0] not in need.operations:
            operations = sorted(need.operations)
        wanted = say(ASSESSMENTS[need.by], role=term(need.role), operations=either(map(term, operations)))
        wanted = say("%(remedy)s, %(where)s", remedy=wanted, where=say(ON_WHAT[need.place.scope]))
        if need.lifts and any(each.lifted_by_its_author for each in self.evaluations.values()):
            wanted = say(
                "%(remedy)s, recorded by another account than the retraining or by the assessor's own; neither "
                "account may have recorded this assessor's right to assess after the stand-down",
                remedy=wanted,
            )
        return RemedyItem("assessment", need.leaf.key, wanted, need.cost)

    def _place(self, leaf: Hours | PracticalAssessment) -> _Place:
        """Where the leaf may be shown: on a model that counts throughout the window."""
        start, end = self.question.start, self.question.end
        epochs = self.evaluations[leaf.key].epochs
        models = frozenset[str].intersection(*(each for span, each in epochs if span[0] < end and start < span[1]))
        own = frozenset({self.question.model})
        # A family of one, or one whose declaration begins or ends inside the window, is no family to work on.
        return _Place("model" if leaf.scope == "family" and models == own else leaf.scope, models)

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
            planned = [each.narrowed_to(need, self.question.model) if each in serving else each for each in planned]
            if rest.minutes > 0:
                planned.append(rest)
            elif len(serving) == 1:
                first = next(n for n, each in enumerate(planned) if each.counts & need.counts)
                planned[first] = replace(planned[first], cost=_cost_of_both(serving[0], need, planned[first]))
        return [self._hours_item(each) for each in planned]

    def _need(self, leaf: Hours) -> _FreshHours:
        after = (leaf.after,) if leaf.after else ()
        minutes = self._fresh_minutes(leaf) or 0
        return _FreshHours(leaf, leaf.cost, minutes, self._kinds_of_work(leaf), self._place(leaf), leaf.day_cap, after)

    def _hours_item(self, need: _FreshHours) -> RemedyItem:
        operations = {operation for operation, _ in need.counts}
        capacities = {capacity for _, capacity in need.counts}
        values: dict[str, Sentence] = {
            "amount": duration(need.minutes),
            "where": say(ON_WHAT[need.place.scope]),
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
        if need.day_cap < 24 * 60:
            wanted = say(
                "%(remedy)s; of one day at most %(amount)s count", remedy=wanted, amount=duration(need.day_cap)
            )
        for key in need.after:
            wanted = say(
                "%(remedy)s, after: %(requirement)s", remedy=wanted, requirement=authored(self.leaves[key].sentence)
            )
        return RemedyItem("hours", need.leaf.key, wanted, need.cost, need.minutes)

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


COVERS = ("any", "class", "model")
"""From what covers least to what covers most: a certificate for this very model is one for its class."""


def _each_once(leaves: Iterable[Leaf]) -> list[Leaf]:
    """What to obtain for the leaves, put together where one thing does for two; the first in the file names it."""
    found: list[Leaf] = []
    for leaf in leaves:
        for place, other in enumerate(found):
            both = _both(other, leaf)
            if both is not None:
                costs = [each.cost for each in (other, leaf) if _kind_of_paper(each) == _kind_of_paper(both)]
                found[place] = replace(both, cost=min(costs, default=max(other.cost, leaf.cost)))
                break
        else:
            found.append(leaf)
    return found


def _both(one: Leaf, other: Leaf) -> Leaf | None:
    """The first leaf, narrowed so that what it asks for does for the second too; ``None`` if nothing does."""
    if isinstance(one, Certified) and isinstance(other, Certified):
        schemes = tuple(each for each in one.schemes if each in other.schemes)
        if schemes and (one.scope <= other.scope or other.scope <= one.scope):
            covers = max(one.covers, other.covers, key=COVERS.index)
            return replace(one, schemes=schemes, scope=one.scope | other.scope, covers=covers)
    if isinstance(one, Instructed) and isinstance(other, Instructed) and one.topic == other.topic:
        providers = one.providers & other.providers or one.providers | other.providers
        if providers <= (one.providers or providers) and providers <= (other.providers or providers):
            scope = "model" if "model" in (one.scope, other.scope) else one.scope
            return replace(one, providers=providers, scope=scope)
    if isinstance(one, Appointed) and isinstance(other, Appointed) and one.duty == other.duty:
        kinds = one.kinds & other.kinds
        if kinds:
            stop_work = one.stop_work_authority or other.stop_work_authority
            return replace(one, kinds=kinds, stop_work_authority=stop_work)
    if isinstance(one, SharedLanguage) and isinstance(other, SharedLanguage):
        languages = one.languages & other.languages
        if languages or one.languages == other.languages:
            return replace(one, languages=languages)
    return None


def _kind_of_paper(leaf: Leaf) -> Any:
    """What is asked for, whatever requirement asks for it."""
    if isinstance(leaf, Certified):
        return frozenset(leaf.schemes), leaf.scope, leaf.covers
    if isinstance(leaf, Appointed):
        return _kinds_offered(leaf), leaf.duty, leaf.stop_work_authority
    if isinstance(leaf, Instructed):
        return leaf.topic, leaf.providers, leaf.scope
    assert isinstance(leaf, SharedLanguage)
    return leaf.languages


def _kinds_offered(leaf: Appointed) -> list[str]:
    """Where a plain appointment does, nobody needs one with a document from outside."""
    return ["duty"] if "duty" in leaf.kinds else sorted(leaf.kinds)


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
