"""Proofs as small drawings: numbers for the templates, which write the SVG."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass

from django.utils.translation import gettext as _

from registry.ledger.queries import ConsistencyProof, InclusionProof
from registry.ledger.tree import consistency_path, inclusion_path

STEP = 46
"""Height of one step up the tree."""

ROW = 34
"""Height of one run of leaves."""


@dataclass(frozen=True, slots=True)
class Rung:
    """One step from a leaf towards the root: the hash that is joined, and on which side it stands."""

    words: str
    hash: str
    on_the_left: bool
    y: int


@dataclass(frozen=True, slots=True)
class Ladder:
    """From a leaf, at the bottom, to the checkpoint's root at the top."""

    rungs: list[Rung]
    leaf: str
    root: str
    height: int

    @property
    def foot(self) -> int:
        """Where the leaf stands."""
        return self.height - STEP


def ladder(proof: InclusionProof) -> Ladder:
    """The way of an inclusion proof."""
    siblings = inclusion_path(proof.index, proof.checkpoint.size, _run)
    steps = len(siblings)
    rungs = [
        Rung(_leaves(*run), _short(hashed), run[0] < proof.index, STEP * (steps - number + 1))
        for number, (run, hashed) in enumerate(zip(siblings, proof.path, strict=True), 1)
    ]
    root = _short(bytes(proof.checkpoint.root))
    return Ladder(rungs[::-1], _("leaf %(index)s") % {"index": proof.index}, root, STEP * (steps + 2))


@dataclass(frozen=True, slots=True)
class Run:
    """A run of leaves under one hash of the proof."""

    words: str
    hash: str
    added: bool
    y: int


@dataclass(frozen=True, slots=True)
class Growth:
    """What a consistency proof says: the runs of the earlier tree, and those added until the later one."""

    runs: list[Run]
    height: int
    old_end: int


def growth(proof: ConsistencyProof) -> Growth:
    """The runs of a consistency proof, which together are the later tree and, in part, the earlier."""
    earlier, later = proof.earlier.size, proof.later.size
    hashes = dict(zip(consistency_path(earlier, later, _run), proof.path, strict=True))
    if not any(end <= earlier for _first, end in hashes):
        # The earlier tree is complete: its root stands for all of it.
        hashes[0, earlier] = bytes(proof.earlier.root)
    runs = [
        Run(_leaves(*run), _short(hashed), run[0] >= earlier, ROW * number)
        for number, (run, hashed) in enumerate(sorted(hashes.items()))
    ]
    old = sum(not each.added for each in runs)
    return Growth(runs, ROW * len(runs), ROW * old)


def _run(first: int, end: int) -> tuple[int, int]:
    return first, end


def _leaves(first: int, end: int) -> str:
    if end - first == 1:
        return _("leaf %(index)s") % {"index": first}
    return _("leaves %(first)s to %(last)s") % {"first": first, "last": end - 1}


def _short(hashed: bytes) -> str:
    return b64encode(hashed).decode()[:8]
