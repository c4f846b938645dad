"""The tree of requirements a role asks for: groups above, one requirement at each leaf."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

from registry.engine.intervals import Timeline, at_least
from registry.engine.requirements.leaf import Leaf

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Group:
    """``all_of``, ``any_of`` or ``at_least`` ``count`` of ``children``."""

    kind: str
    count: int
    children: tuple[Node, ...]

    def fold(self, of_leaf: Callable[[Leaf], Result], of_group: Callable[[Group, list[Result]], Result]) -> Result:
        """What ``of_group`` makes of this group, and of the results for its children."""
        return of_group(self, [child.fold(of_leaf, of_group) for child in self.children])


Node: TypeAlias = Group | Leaf


def leaves_of(node: Node) -> list[Leaf]:
    """Every leaf of the tree, in the order of the file."""
    return node.fold(lambda leaf: [leaf], lambda group, below: [leaf for leaves in below for leaf in leaves])


def tree_timeline(node: Node, timeline_of: Callable[[Leaf], Timeline]) -> Timeline:
    """When a tree of requirements is met."""
    return node.fold(timeline_of, lambda group, below: at_least(group.count, below))
