"""Hashes out of the database: of any run of leaves, reading as little as may be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from registry.ledger.models import Leaf, Node
from registry.ledger.tree import node_hash, root_of, split

STEP = 8
"""Nodes are kept for every eighth level: complete subtrees of 256, 65,536 … leaves."""


def hash_of(first: int, end: int) -> bytes:
    """The root over leaves ``[first, end)``, which must have their places.

    ``first`` is a multiple of every complete subtree in the run, as in all roots
    and paths. A complete subtree costs one statement and at most 255 hashes.
    """
    size = end - first
    if size & (size - 1) == 0:
        return _complete(first, size)
    middle = first + split(size)
    return node_hash(hash_of(first, middle), hash_of(middle, end))


def _complete(first: int, size: int) -> bytes:
    level = size.bit_length() - 1
    kept = level - level % STEP
    if kept == 0:
        return root_of(_bytes(Leaf.objects.filter(index__gte=first, index__lt=first + size), "index"))
    nodes = Node.objects.filter(level=kept, index__gte=first >> kept, index__lt=(first + size) >> kept)
    return root_of(_bytes(nodes, "index"))


def _bytes(found: Iterable[object], order: str) -> Iterator[bytes]:
    hashes = found.order_by(order).values_list("hash", flat=True)  # type: ignore[attr-defined]
    return (bytes(each) for each in hashes.iterator())


def keep_nodes(size: int) -> None:
    """Keep the nodes that a tree of ``size`` leaves completes and that are not kept yet."""
    level = STEP
    while size >> level:
        known = Node.objects.filter(level=level).order_by("-index").values_list("index", flat=True).first()
        start = 0 if known is None else known + 1
        # Known to every caller at once: two that make the same checkpoint find the same nodes.
        made = (
            Node(level=level, index=index, hash=_made_of_parts(level, index)) for index in range(start, size >> level)
        )
        Node.objects.bulk_create(made, batch_size=1000, ignore_conflicts=True)
        level += STEP


def _made_of_parts(level: int, index: int) -> bytes:
    parts = 1 << STEP
    if level == STEP:
        return root_of(_bytes(Leaf.objects.filter(index__gte=index * parts, index__lt=(index + 1) * parts), "index"))
    below = Node.objects.filter(level=level - STEP, index__gte=index * parts, index__lt=(index + 1) * parts)
    return root_of(_bytes(below, "index"))
