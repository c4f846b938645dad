"""Rings of people who sign for one another: strongly connected parts of who signed for whom."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

Node = TypeVar("Node")


def rings(signed_for: Mapping[Node, Iterable[Node]]) -> list[set[Node]]:
    """The strongly connected components of two or more people.

    ``signed_for`` maps a signer to those signed for. Tarjan's algorithm, without
    recursion, since chains of signatures may be longer than Python's stack.
    """
    order: dict[Node, int] = {}
    lowest: dict[Node, int] = {}
    stack: list[Node] = []
    on_stack: set[Node] = set()
    found: list[set[Node]] = []
    for root in signed_for:
        if root in order:
            continue
        order[root] = lowest[root] = len(order)
        stack.append(root)
        on_stack.add(root)
        pending = [(root, iter(signed_for[root]))]
        while pending:
            person, others = pending[-1]
            for other in others:
                if other not in order:
                    order[other] = lowest[other] = len(order)
                    stack.append(other)
                    on_stack.add(other)
                    pending.append((other, iter(signed_for.get(other, ()))))
                    break
                if other in on_stack:
                    lowest[person] = min(lowest[person], order[other])
            else:
                pending.pop()
                if pending:
                    caller = pending[-1][0]
                    lowest[caller] = min(lowest[caller], lowest[person])
                if lowest[person] == order[person]:
                    component = set()
                    while person not in component:
                        component.add(stack.pop())
                    on_stack -= component
                    if len(component) > 1:
                        found.append(component)
    return found
