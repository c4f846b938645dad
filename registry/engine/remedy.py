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

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import combinations

from registry.engine.answer import Remedy, RemedyItem
from registry.engine.question import Question
from registry.engine.requirements.leaf import Evaluation, Leaf
from registry.engine.requirements.wanted import Wanted
from registry.engine.sentences import joined
from registry.engine.standard import RoleStandard, Standard
from registry.engine.tree import Group, Node, tree_timeline

MOST_BOUND = 12
"""Choices double with each. No readable standard leaves as many requirements unmet that share something."""

LeafSet = frozenset[str]
NOTHING: LeafSet = frozenset()


def remedy_for(
    role: RoleStandard,
    evaluations: dict[str, Evaluation],
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
        evaluations: dict[str, Evaluation],
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
        self._wanted: dict[str, Sequence[Wanted]] = {}

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

    def _unmet(self, root: Node) -> LeafSet:
        """The leaves under ``root`` that are not met where that matters, and what must come first for them."""

        def of_leaf(leaf: Leaf) -> LeafSet:
            return NOTHING if self._holds(leaf) else self._with_what_comes_first(leaf.key)

        def of_group(group: Group, below: list[LeafSet]) -> LeafSet:
            return NOTHING if self._holds(group) else NOTHING.union(*below)

        return root.fold(of_leaf, of_group)

    def _holds(self, node: Node) -> bool:
        if id(node) not in self._holding:
            timeline = tree_timeline(node, lambda leaf: self.evaluations[leaf.key].timeline)
            self._holding[id(node)] = timeline.holds_throughout(self.question.start, self.question.end)
        return self._holding[id(node)]

    def _way_through(self, root: Node, prices: dict[str, _Price]) -> _Price | None:
        """The cheapest way to make ``root`` hold by leaves that have a price; ``None`` if there is none."""

        def of_leaf(leaf: Leaf) -> _Price | None:
            return FREE if self._holds(leaf) else prices.get(leaf.key)

        def of_group(group: Group, below: list[_Price | None]) -> _Price | None:
            if self._holds(group):
                return FREE
            ways = [way for way in below if way is not None]
            if len(ways) < group.count:
                return None
            return sum(sorted(ways, key=lambda way: way.order)[: group.count], FREE)

        return root.fold(of_leaf, of_group)

    def _price(self, leaves: LeafSet) -> _Price:
        items = self.items(leaves)
        earliest = -sum(1 << (len(self.order) - self.order[key]) for key in leaves)
        return _Price(sum(each.cost for each in items), len(items), leaves, earliest)

    def _is_curable(self, leaf: Leaf) -> bool:
        for key in self._with_what_comes_first(leaf.key):
            obstacle = self.leaves[key].obstacle(self.evaluations[key], self.question, self.standard)
            if obstacle:
                self.obstacles[key] = obstacle
                return False
        return True

    def _with_what_comes_first(self, key: str) -> LeafSet:
        """The leaf, and those it comes after that were never met so far."""
        keys = {key}
        leaf = self.leaves[key]
        while leaf.comes_after is not None:
            first_met = self.evaluations[leaf.key].may_start
            if first_met is not None and first_met < self.question.start:
                break
            leaf = self.leaves[leaf.comes_after]
            keys.add(leaf.key)
        return frozenset(keys)

    def _bound(self, curable: list[str]) -> list[str]:
        """Those of the leaves that may share something with another."""
        return [
            one
            for one in curable
            if len(self._with_what_comes_first(one)) > 1
            or any(one != other and self._may_share(one, other) for other in curable)
        ]

    def _may_share(self, one: str, other: str) -> bool:
        return one in self._with_what_comes_first(other) or any(
            thing.sort == another.sort and thing.serves(another)
            for thing in self._things(one)
            for another in self._things(other)
        )

    # What to obtain for a set of leaves

    def items(self, leaves: LeafSet) -> tuple[RemedyItem, ...]:
        """The things to obtain, each once, in the order in which to obtain them."""
        by_sort: dict[Hashable, list[Wanted]] = {}
        for key in sorted(leaves, key=self.order.__getitem__):
            for thing in self._things(key):
                by_sort.setdefault(thing.sort, []).append(thing)
        things = [thing for needs in by_sort.values() for thing in needs[0].each_once(needs)]
        things.sort(key=lambda thing: thing.rank(self.order[thing.leaf.key]))
        return tuple(thing.item(self.question) for thing in things)

    def _things(self, key: str) -> Sequence[Wanted]:
        if key not in self._wanted:
            self._wanted[key] = self.leaves[key].wanted(self.evaluations[key], self.question, self.leaves)
        return self._wanted[key]
