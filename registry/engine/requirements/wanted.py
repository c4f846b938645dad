"""Things to obtain for requirements, each once: what a remedy is made of.

Things of one sort may do for one another. What is put together so costs what
the requirement costs that asks for just that thing, and where none of them
does, what the dearer costs.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Self

from registry.engine.answer import RemedyItem

if TYPE_CHECKING:
    from registry.engine.question import Question
    from registry.engine.requirements.leaf import Leaf


@dataclass(frozen=True, slots=True)
class Wanted(ABC):
    """Something still to be obtained for ``leaf``."""

    leaf: Leaf
    cost: int

    @property
    @abstractmethod
    def sort(self) -> Hashable:
        """Equal for things that may do for one another."""

    @property
    def thing(self) -> Any:
        """What it is, whatever requirement asks for it."""
        return self

    def serves(self, other: Self) -> bool:
        """Whether one thing can do for both, of one sort."""
        return False

    @classmethod
    def each_once(cls, needs: Sequence[Self]) -> list[Self]:
        """The things to obtain for needs of one sort, which stand in the order of the file."""
        return list(needs)

    @abstractmethod
    def item(self, question: Question) -> RemedyItem:
        """The thing in words."""

    def rank(self, place: int) -> tuple[int, int]:
        """Where it stands among other things to obtain; ``place`` is that of its leaf in the file."""
        return 1, place


def cost_of_both(one: Wanted, other: Wanted, together: Wanted) -> int:
    """What one thing for two requirements costs: as the one of them that asks for it alone, or else as the dearer."""
    costs = [need.cost for need in (one, other) if need.thing == together.thing]
    return min(costs, default=max(one.cost, other.cost))


@dataclass(frozen=True, slots=True)
class Paper(Wanted):
    """A paper, which :meth:`~registry.engine.requirements.leaf.Leaf.remedy` names."""

    @property
    def sort(self) -> Hashable:
        return self.leaf.kind

    @property
    def thing(self) -> Any:
        return self.leaf.paper

    def serves(self, other: Paper) -> bool:
        return self.leaf.together_with(other.leaf) is not None

    @classmethod
    def each_once(cls, needs: Sequence[Paper]) -> list[Paper]:
        """Put together where one paper does for two; the first in the file names it."""
        planned: list[Paper] = []
        for need in needs:
            for place, other in enumerate(planned):
                both = other.leaf.together_with(need.leaf)
                if both is not None:
                    together = Paper(both, 0)
                    planned[place] = replace(together, cost=cost_of_both(other, need, together))
                    break
            else:
                planned.append(need)
        return planned

    def item(self, question: Question) -> RemedyItem:
        return RemedyItem(self.leaf.kind, self.leaf.key, self.leaf.remedy(question), self.cost)
