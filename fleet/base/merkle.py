"""Merkle trees as in RFC 9162 (Certificate Transparency), section 2.1: roots and proofs.

A tree of n leaves is read from its whole subtrees, which never change once they are whole: whoever keeps
them adds a leaf with two hashes on average, and finds a root or a proof with a few dozen, however many leaves
there are. `planner/exchange/check_case.py` checks the proofs, and shares no line with this.
"""

import hashlib
from collections.abc import Callable, Iterator

WholeSubtree = Callable[[int, int], bytes]
"""The hash of a whole subtree, by its height (0: a leaf) and its place from the left (0: the first)."""


def leaf_hash(data: bytes) -> bytes:
    """Return the hash of a leaf; the 0 before it keeps a leaf from passing as a node."""
    return hashlib.sha256(b"\0" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of a node above two others."""
    return hashlib.sha256(b"\1" + left + right).digest()


def made_whole(whole: WholeSubtree, index: int, leaf: bytes) -> Iterator[tuple[int, int, bytes]]:
    """Yield the subtrees that leaf ``index`` makes whole, itself first: height, place and hash."""
    height, digest = 0, leaf
    yield height, index, digest
    while index & 1:
        digest = node_hash(whole(height, index - 1), digest)
        height, index = height + 1, index >> 1
        yield height, index, digest


def root_hash(whole: WholeSubtree, size: int) -> bytes:
    """Return the root of the first ``size`` leaves; that of no leaf is the hash of nothing."""
    return _hash_of(whole, 0, size) if size else hashlib.sha256(b"").digest()


def inclusion_proof(whole: WholeSubtree, index: int, size: int) -> list[bytes]:
    """Return the hashes that lead from leaf ``index`` to the root of the first ``size`` (2.1.3.1)."""
    return _beside(whole, index, size)[0][::-1]


def consistency_proof(whole: WholeSubtree, first: int, size: int) -> list[bytes]:
    """Return the hashes that show the first ``first`` leaves to be the beginning of ``size`` (2.1.4.1).

    Raises ValueError unless 0 < first <= size.
    """
    if not 0 < first <= size:
        raise ValueError(f"a tree of {first} is no beginning of a tree of {size}")
    beside, start = _beside(whole, first - 1, size, until=first)
    known = [] if start == 0 else [_hash_of(whole, start, first - start)]
    return [*known, *beside[::-1]]


def _beside(whole: WholeSubtree, index: int, size: int, *, until: int = 0) -> tuple[list[bytes], int]:
    """Return the hashes beside the way down to leaf ``index``, and the first leaf of the subtree it ends at.

    It ends at that leaf, or before that at a subtree whose last leaf is the one before leaf ``until``.
    """
    start, beside = 0, list[bytes]()
    while size > 1 and start + size != until:
        half = _half(size)
        if index < start + half:
            beside.append(_hash_of(whole, start + half, size - half))
            size = half
        else:
            beside.append(_hash_of(whole, start, half))
            start, size = start + half, size - half
    return beside, start


def _half(size: int) -> int:
    """Return the largest power of two below ``size``."""
    return 1 << ((size - 1).bit_length() - 1)


def _hash_of(whole: WholeSubtree, start: int, size: int) -> bytes:
    height = size.bit_length() - 1
    if size == 1 << height:
        return whole(height, start >> height)
    half = _half(size)
    return node_hash(_hash_of(whole, start, half), _hash_of(whole, start + half, size - half))
