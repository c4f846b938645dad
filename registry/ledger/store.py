"""Hashes out of the database: of any run of leaves, reading as little as may be."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import QuerySet

from registry.database.repeating import repeating
from registry.ledger.models import Leaf, Node
from registry.ledger.tree import node_hash, root_of, split

STEP = 8
"""Nodes are kept for every eighth level: complete subtrees of 256, 65,536 … leaves."""


class Hashes:
    """The root over leaves ``[first, end)``, which must have their places.

    ``first`` must be a multiple of every complete subtree in the run, as it is
    in all roots and paths. Hashes are read by the tile, 256 siblings of one kept
    level at a time, and remembered: many proofs cost hardly more than one.
    """

    def __init__(self) -> None:
        self._tiles: dict[tuple[int, int], list[list[bytes]]] = {}

    def __call__(self, first: int, end: int) -> bytes:
        size = end - first
        if size & (size - 1) == 0:
            return self._complete(first, size.bit_length() - 1)
        middle = first + split(size)
        return node_hash(self(first, middle), self(middle, end))

    def _complete(self, first: int, level: int) -> bytes:
        kept = level - level % STEP
        rows = self._tile(kept, first >> (kept + STEP))
        return rows[level - kept][(first >> level) & ((1 << (STEP - level + kept)) - 1)]

    def _tile(self, kept: int, number: int) -> list[list[bytes]]:
        """The tile's hashes at the kept level, and above them whatever they complete."""
        if (kept, number) not in self._tiles:
            rows = [list(_kept(kept, number << STEP, (number + 1) << STEP))]
            while len(rows[-1]) > 1:
                below = rows[-1]
                rows.append([node_hash(below[at], below[at + 1]) for at in range(0, len(below) - 1, 2)])
            self._tiles[kept, number] = rows
        return self._tiles[kept, number]


def _kept(level: int, first: int, end: int) -> Iterator[bytes]:
    found: QuerySet[Leaf] | QuerySet[Node] = Leaf.objects.all() if level == 0 else Node.objects.filter(level=level)
    hashes = found.filter(index__gte=first, index__lt=end).order_by("index").values_list("hash", flat=True)
    return (bytes(each) for each in hashes.iterator())


@repeating
def keep_nodes(size: int) -> None:
    """Keep the nodes that a tree of ``size`` leaves completes and that are not kept yet."""
    level = STEP
    while size >> level:
        known = Node.objects.filter(level=level).order_by("-index").values_list("index", flat=True).first()
        start = 0 if known is None else known + 1
        made = (
            Node(level=level, index=index, hash=root_of(_kept(level - STEP, index << STEP, (index + 1) << STEP)))
            for index in range(start, size >> level)
        )
        # Two that make the same checkpoint make the same nodes.
        Node.objects.bulk_create(made, batch_size=1000, ignore_conflicts=True)
        level += STEP
