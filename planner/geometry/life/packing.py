"""The largest set of positions that all agree: an exact search over bit sets, with cached answers."""

from __future__ import annotations

from collections.abc import Sequence


def largest_set(agrees: Sequence[int], allowed: int) -> int:
    """Return a largest set of agreeing nodes within ``allowed``, as bits; among equals the lowest in order.

    ``agrees[v]`` has a bit for every node that agrees with v. Agreement of positions along a line depends
    on nearby positions only, so after a choice the remaining sets repeat and are remembered.
    """
    known: dict[int, int] = {0: 0}

    def best(free: int) -> int:
        found = known.get(free)
        if found is not None:
            return found
        # the lowest set bit; free & (free - 1) is the set without it
        v = (free & -free).bit_length() - 1
        rest = free & (free - 1)
        with_v = (1 << v) | best(rest & agrees[v])
        # A node that disagrees with nothing left is always taken; else the other branch is looked at.
        if rest & ~agrees[v]:
            without_v = best(rest)
            if without_v.bit_count() > with_v.bit_count():
                with_v = without_v
        known[free] = with_v
        return with_v

    return best(allowed)


def bits(mask: int) -> list[int]:
    """Return the node numbers of a bit set, ascending."""
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found
