"""The tree of the entries: RFC 9162's own example, published test vectors, and many sizes by hand."""

from __future__ import annotations

import hashlib

import pytest

from fleet.base.merkle import (
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    made_whole,
    node_hash,
    root_hash,
)

# Leaves, roots and proofs as the Go module transparency-dev/merkle (Apache-2.0), an implementation of
# RFC 6962, publishes them in proof/verify_test.go.
LEAVES = (
    "", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"
)  # fmt: skip
ROOTS = (
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)
A, B, C = (
    "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
)
INCLUSION = {  # leaf from 1, size
    (1, 1): (),
    (1, 8): (
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7", A,
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ),
    (6, 8): (B, C, ROOTS[3]),
    (3, 3): (ROOTS[1],),
    (2, 5): (ROOTS[0], A, B),
}  # fmt: skip
D = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a"
CONSISTENCY = {  # first, size
    (1, 1): (),
    (1, 8): INCLUSION[1, 8],
    (6, 8): (D, C, ROOTS[3]),
    (2, 5): (A, B),
    (6, 7): (D, "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f", ROOTS[3]),
}


class Kept:
    """Whole subtrees in memory."""

    def __init__(self, leaves: list[bytes]) -> None:
        self.nodes: dict[tuple[int, int], bytes] = {}
        for index, data in enumerate(leaves):
            for height, place, digest in made_whole(self, index, leaf_hash(data)):
                self.nodes[height, place] = digest

    def __call__(self, height: int, place: int) -> bytes:
        return self.nodes[height, place]


PUBLISHED = Kept([bytes.fromhex(text) for text in LEAVES])


@pytest.mark.parametrize("size", range(1, 9))
def test_the_roots_are_the_published_ones(size: int) -> None:
    assert root_hash(PUBLISHED, size).hex() == ROOTS[size - 1]


def test_the_root_of_no_leaf_is_the_hash_of_nothing() -> None:
    assert root_hash(PUBLISHED, 0) == hashlib.sha256(b"").digest()


@pytest.mark.parametrize(("leaf", "size"), INCLUSION)
def test_the_inclusion_proofs_are_the_published_ones(leaf: int, size: int) -> None:
    proof = inclusion_proof(PUBLISHED, leaf - 1, size)
    assert [each.hex() for each in proof] == list(INCLUSION[leaf, size])


@pytest.mark.parametrize(("first", "size"), CONSISTENCY)
def test_the_consistency_proofs_are_the_published_ones(first: int, size: int) -> None:
    proof = consistency_proof(PUBLISHED, first, size)
    assert [each.hex() for each in proof] == list(CONSISTENCY[first, size])


def test_the_example_of_the_standard_with_seven_leaves() -> None:
    """RFC 9162, 2.1.5, with its names of the nodes; its d0 to d6 are the bytes 0 to 6."""
    data = [bytes([n]) for n in range(7)]
    whole = Kept(data)
    a, b, c, d, e, f, j = map(leaf_hash, data)
    g, h, i = node_hash(a, b), node_hash(c, d), node_hash(e, f)
    k, l = node_hash(g, h), node_hash(i, j)  # noqa: E741
    assert root_hash(whole, 7) == node_hash(k, l)
    assert inclusion_proof(whole, 0, 7) == [b, h, l]
    assert inclusion_proof(whole, 3, 7) == [c, g, l]
    assert inclusion_proof(whole, 4, 7) == [f, j, k]
    assert inclusion_proof(whole, 6, 7) == [i, k]
    assert consistency_proof(whole, 3, 7) == [c, d, g, l]
    assert consistency_proof(whole, 4, 7) == [l]
    assert consistency_proof(whole, 6, 7) == [i, j, k]


def plain_root(leaves: list[bytes]) -> bytes:
    """RFC 9162, 2.1.1, word for word."""
    if len(leaves) == 1:
        return leaf_hash(leaves[0])
    half = 1
    while half * 2 < len(leaves):
        half *= 2
    return node_hash(plain_root(leaves[:half]), plain_root(leaves[half:]))


@pytest.mark.parametrize("size", [*range(1, 18), 31, 32, 33, 100])
def test_a_tree_that_grew_leaf_by_leaf_has_the_root_of_the_whole(size: int) -> None:
    leaves = [b"%d" % n for n in range(size)]
    assert root_hash(Kept(leaves), size) == plain_root(leaves)


@pytest.mark.parametrize("first", [0, 9])
def test_a_longer_tree_is_no_beginning_of_a_shorter_one(first: int) -> None:
    with pytest.raises(ValueError, match="is no beginning"):
        consistency_proof(PUBLISHED, first, 8)
