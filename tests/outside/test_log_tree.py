"""The log's tree against RFC 9162 and against the PyPI package ``pymerkle``, an implementation of others."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymerkle import InmemoryTree

from registry.ledger.tree import (
    HashOf,
    ProofRefused,
    consistency_path,
    inclusion_path,
    leaf_hash,
    node_hash,
    root_of,
    verify_consistency,
    verify_inclusion,
)
from tests.ledger.bundles import program

# The leaves that implementations of RFC 6962 and RFC 9162 commonly publish roots for; the roots were recomputed
# from the definition in RFC 9162, section 2.1.1.
LEAVES = [
    bytes.fromhex(each)
    for each in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = {
    0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    7: "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}

trees = st.lists(st.binary(max_size=20), min_size=1, max_size=80)


def hashes_of(leaves: Sequence[bytes]) -> HashOf:
    hashed = [leaf_hash(each) for each in leaves]
    return lambda first, end: root_of(hashed[first:end])


@pytest.mark.parametrize("size", ROOTS)
def test_roots_of_the_published_leaves(size: int) -> None:
    assert root_of(map(leaf_hash, LEAVES[:size])).hex() == ROOTS[size]


class TestTheExamplesOfRFC9162:
    """Section 2.1.5 draws a tree of seven leaves d0 to d6 and names the nodes of its proofs."""

    a, b, c, d, e, f, j = (leaf_hash(each) for each in LEAVES[:7])
    g, h, i = node_hash(a, b), node_hash(c, d), node_hash(e, f)
    k, l = node_hash(g, h), node_hash(i, j)  # noqa: E741 - the letters of the RFC
    root = node_hash(k, l)
    hash_of = staticmethod(hashes_of(LEAVES[:7]))

    def test_the_root(self) -> None:
        assert self.hash_of(0, 7) == self.root

    def test_inclusion_paths(self) -> None:
        assert inclusion_path(0, 7, self.hash_of) == [self.b, self.h, self.l]
        assert inclusion_path(3, 7, self.hash_of) == [self.c, self.g, self.l]
        assert inclusion_path(4, 7, self.hash_of) == [self.f, self.j, self.k]
        assert inclusion_path(6, 7, self.hash_of) == [self.i, self.k]

    def test_consistency_paths(self) -> None:
        assert consistency_path(3, 7, self.hash_of) == [self.c, self.d, self.g, self.l]
        assert consistency_path(4, 7, self.hash_of) == [self.l]
        assert consistency_path(6, 7, self.hash_of) == [self.i, self.j, self.k]


@given(trees, st.data())
def test_roots_and_inclusion_as_pymerkle_has_them(leaves: list[bytes], data: st.DataObject) -> None:
    other = InmemoryTree.init_from_entries(leaves)
    size = data.draw(st.integers(1, len(leaves)))
    index = data.draw(st.integers(0, size - 1))
    hash_of = hashes_of(leaves)
    assert hash_of(0, size) == other.get_root(size)
    proof = other.prove_inclusion(index + 1, size)
    path = inclusion_path(index, size, hash_of)
    # Theirs begins with the leaf itself.
    assert [leaf_hash(leaves[index]), *path] == proof.path
    verify_inclusion(index, size, leaf_hash(leaves[index]), path, other.get_root(size))


@given(trees, st.data())
def test_consistency_as_pymerkle_has_it(leaves: list[bytes], data: st.DataObject) -> None:
    other = InmemoryTree.init_from_entries(leaves)
    later = data.draw(st.integers(1, len(leaves)))
    earlier = data.draw(st.integers(1, later))
    hash_of = hashes_of(leaves)
    path = consistency_path(earlier, later, hash_of)
    roots = other.get_root(earlier), other.get_root(later)
    verify_consistency(earlier, later, *roots, path)
    # Theirs starts from other subtrees than those of RFC 9162; both must lead to the same roots.
    other.prove_consistency(earlier, later).verify(*(hash_of(0, size) for size in (earlier, later)))


@given(trees, st.data())
def test_the_stand_alone_verifier_reaches_the_same_roots(leaves: list[bytes], data: st.DataObject) -> None:
    apart, hash_of = program(), hashes_of(leaves)
    later = data.draw(st.integers(1, len(leaves)))
    earlier = data.draw(st.integers(1, later))
    index = data.draw(st.integers(0, later - 1))
    path = inclusion_path(index, later, hash_of)
    assert apart.root_of_inclusion(index, later, leaf_hash(leaves[index]), path) == hash_of(0, later)
    growth = consistency_path(earlier, later, hash_of)
    roots = hash_of(0, earlier), hash_of(0, later)
    assert apart.roots_of_consistency(earlier, later, growth, roots[0]) == roots


@given(trees, st.data())
def test_a_proof_that_was_changed_is_refused_by_both(leaves: list[bytes], data: st.DataObject) -> None:
    apart, hash_of = program(), hashes_of(leaves)
    size = len(leaves)
    index = data.draw(st.integers(0, size - 1))
    path = inclusion_path(index, size, hash_of)
    changed = data.draw(
        st.sampled_from([[*path, b"x" * 32], path[:-1], [b"x" * 32, *path[1:]], path[::-1]]).filter(
            lambda other: other != path
        )
    )
    root = hash_of(0, size)
    with pytest.raises(ProofRefused):
        verify_inclusion(index, size, leaf_hash(leaves[index]), changed, root)
    # A path of a wrong length is refused, any other leads elsewhere.
    with contextlib.suppress(apart.Wrong):
        assert apart.root_of_inclusion(index, size, leaf_hash(leaves[index]), changed) != root


@given(trees, st.data())
def test_changed_growth_is_refused_by_both(leaves: list[bytes], data: st.DataObject) -> None:
    apart, hash_of = program(), hashes_of(leaves)
    later = len(leaves)
    earlier = data.draw(st.integers(1, later))
    path = consistency_path(earlier, later, hash_of)
    changed = data.draw(
        st.sampled_from([[*path, b"x" * 32], path[:-1], [b"x" * 32, *path[1:]]]).filter(lambda other: other != path)
    )
    roots = hash_of(0, earlier), hash_of(0, later)
    with pytest.raises(ProofRefused):
        verify_consistency(earlier, later, *roots, changed)
    with contextlib.suppress(apart.Wrong):
        assert apart.roots_of_consistency(earlier, later, changed, roots[0]) != roots
