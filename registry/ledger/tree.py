"""The Merkle tree of RFC 9162, section 2.1: hashes, roots and proofs. Pure functions over bytes.

A tree of ``size`` leaves is split at the largest power of two below its size::

            root                    leaves 0..4, size 5
           /    \\
        (0,4)    e                  left: a complete subtree of 4
        /   \\
      ab     cd                     ab = H(0x01 ‖ H(0x00 ‖ a) ‖ H(0x00 ‖ b))

An inclusion path for leaf 2 (c) in this tree is [d, ab, e]; a consistency path
from size 3 to 5 is [c, d, ab, e]. All hashes are SHA-256, 32 bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from hashlib import sha256
from typing import TypeVar

EMPTY = sha256(b"").digest()

Hash = TypeVar("Hash")
"""A hash, or whatever else stands for a run of leaves, such as its ends where a path is drawn."""

HashOf = Callable[[int, int], Hash]
"""The root over leaves ``[first, end)``; asked for only with ``0 <= first < end <= size``."""


class ProofRefused(ValueError):
    """A proof does not have the shape its sizes ask for, or leads to another root."""


def leaf_hash(leaf: bytes) -> bytes:
    """``SHA-256(0x00 ‖ leaf)``."""
    return sha256(b"\0" + leaf).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """``SHA-256(0x01 ‖ left ‖ right)``."""
    return sha256(b"\1" + left + right).digest()


def split(size: int) -> int:
    """The largest power of two below ``size``; ``size`` is at least 2."""
    return 1 << ((size - 1).bit_length() - 1)


class Frontier:
    """A tree that grows at its right edge; remembers one hash for each complete subtree there."""

    def __init__(self) -> None:
        self.size = 0
        self._edge: list[bytes] = []

    def append(self, hashed_leaf: bytes) -> None:
        """Add a leaf by its hash."""
        complete = self.size
        while complete & 1:
            hashed_leaf = node_hash(self._edge.pop(), hashed_leaf)
            complete >>= 1
        self._edge.append(hashed_leaf)
        self.size += 1

    def root(self) -> bytes:
        """The root over all leaves so far."""
        if not self._edge:
            return EMPTY
        *rest, root = self._edge
        for left in reversed(rest):
            root = node_hash(left, root)
        return root


def root_of(hashed_leaves: Iterable[bytes]) -> bytes:
    """The root over some leaf hashes."""
    tree = Frontier()
    for each in hashed_leaves:
        tree.append(each)
    return tree.root()


def inclusion_path(index: int, size: int, hash_of: HashOf[Hash]) -> list[Hash]:
    """The hashes that lead from leaf ``index`` to the root, lowest first; ``0 <= index < size``."""
    if not 0 <= index < size:
        raise ProofRefused(f"leaf {index} is not among the {size} leaves")
    path: list[Hash] = []
    first, end = 0, size
    while end - first > 1:
        middle = first + split(end - first)
        if index < middle:
            path.append(hash_of(middle, end))
            end = middle
        else:
            path.append(hash_of(first, middle))
            first = middle
    return path[::-1]


def consistency_path(first_size: int, second_size: int, hash_of: HashOf[Hash]) -> list[Hash]:
    """The hashes that show the tree of ``second_size`` to contain that of ``first_size``.

    ``1 <= first_size <= second_size``.
    """
    if not 1 <= first_size <= second_size:
        raise ProofRefused(f"there is no growth from {first_size} to {second_size} leaves")
    path: list[Hash] = []
    first, end, whole = 0, second_size, True
    while end != first_size:
        middle = first + split(end - first)
        if first_size <= middle:
            path.append(hash_of(middle, end))
            end = middle
        else:
            path.append(hash_of(first, middle))
            first, whole = middle, False
    if not whole:
        path.append(hash_of(first, end))
    return path[::-1]


def root_from_inclusion(index: int, size: int, hashed_leaf: bytes, path: Sequence[bytes]) -> bytes:
    """The root that the path leads to (RFC 9162, 2.1.3.2). Raises :class:`ProofRefused` for a wrong length."""
    if not 0 <= index < size:
        raise ProofRefused(f"leaf {index} is not among the {size} leaves")
    place, last, root = index, size - 1, hashed_leaf
    for sibling in path:
        if last == 0:
            raise ProofRefused("the path is too long")
        if place & 1 or place == last:
            root = node_hash(sibling, root)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            root = node_hash(root, sibling)
        place, last = place >> 1, last >> 1
    if last:
        raise ProofRefused("the path is too short")
    return root


def verify_inclusion(index: int, size: int, hashed_leaf: bytes, path: Sequence[bytes], root: bytes) -> None:
    """Raise :class:`ProofRefused` unless the leaf is in the tree with this root."""
    found = root_from_inclusion(index, size, hashed_leaf, path)
    if found != root:
        raise ProofRefused(f"the path leads to the root {found.hex()}, not to {root.hex()}")


def verify_consistency(
    first_size: int, second_size: int, first_root: bytes, second_root: bytes, path: Sequence[bytes]
) -> None:
    """Raise :class:`ProofRefused` unless the second tree goes on from the first (RFC 9162, 2.1.4.2)."""
    if not 1 <= first_size <= second_size:
        raise ProofRefused(f"there is no growth from {first_size} to {second_size} leaves")
    if first_size == second_size:
        if path:
            raise ProofRefused("the path is too long")
        if first_root != second_root:
            raise ProofRefused(f"two roots for {first_size} leaves: {first_root.hex()} and {second_root.hex()}")
        return
    hashes = list(path)
    if first_size & (first_size - 1) == 0:
        hashes.insert(0, first_root)
    if not hashes:
        raise ProofRefused("the path is too short")
    place, last = first_size - 1, second_size - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    old = new = hashes[0]
    for sibling in hashes[1:]:
        if last == 0:
            raise ProofRefused("the path is too long")
        if place & 1 or place == last:
            old, new = node_hash(sibling, old), node_hash(sibling, new)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            new = node_hash(new, sibling)
        place, last = place >> 1, last >> 1
    if last:
        raise ProofRefused("the path is too short")
    if old != first_root:
        raise ProofRefused(f"the path leads to the first root {old.hex()}, not to {first_root.hex()}")
    if new != second_root:
        raise ProofRefused(f"the path leads to the second root {new.hex()}, not to {second_root.hex()}")
