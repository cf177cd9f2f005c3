"""New holes of two different pieces keep the spacing from each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isqrt

from fleet.holes import Side
from fleet.patterns import Piece
from planner.placement.intervals import Interval, union, without
from planner.placement.sweep import Claims

ClaimsBySide = Mapping[Side, Claims]


def gaps(
    one: Piece, one_claims: ClaimsBySide, other: Piece, other_claims: ClaimsBySide, *, spacing_um: int
) -> list[Interval]:
    """Forbidden values of (r of the first piece minus r of the second), merged and closed."""
    taken: set[Interval] = set()
    for side in Side:
        for a, a_claim in zip(one.holes, one_claims[side], strict=True):
            if a_claim is not None:
                continue
            for b, b_claim in zip(other.holes, other_claims[side], strict=True):
                room = spacing_um**2 - (a.y_um - b.y_um) ** 2
                if b_claim is None and room > 0:
                    half = isqrt(room - 1)
                    c = b.x_um - a.x_um
                    taken.add((c - half, c + half))
    return union(taken)


def share_a_hole(one: ClaimsBySide, other: ClaimsBySide) -> bool:
    """Whether two pieces claim one old hole."""
    return any(claim is not None and claim in other[side] for side in Side for claim in one[side])


def offsets_apart(
    offsets: Interval,
    one: tuple[Interval, Interval],
    other: tuple[Interval, Interval],
    taken: Sequence[Interval],
) -> list[Interval]:
    """The offsets u at which two pieces find places apart.

    Each piece is given as (stretch, reach): its r lies in the stretch, and r - u in the reach; a reach
    for a piece that stays at the mark is wide open. Difference constraints over (u, r, r'): shortest paths
    give the exact ends, all whole numbers.
    """
    (r, reach), (q, other_reach) = one, other
    widest = (r[0] - q[1], r[1] - q[0])
    found = []
    for low, high in without([widest], taken):
        ends = _project(offsets, (r, reach), (q, other_reach), (low, high))
        if ends is not None:
            found.append(ends)
    return union(found)


def _project(
    offsets: Interval,
    one: tuple[Interval, Interval],
    other: tuple[Interval, Interval],
    difference: Interval,
) -> Interval | None:
    """The closed range of u under the bounds, or None if they contradict one another."""
    zero, u, r, q = range(4)
    far = 10**12
    d = [[0 if i == j else far for j in range(4)] for i in range(4)]

    def bound(i: int, j: int, low: int, high: int) -> None:
        """low <= x_i - x_j <= high."""
        d[j][i] = min(d[j][i], high)
        d[i][j] = min(d[i][j], -low)

    bound(u, zero, *offsets)
    bound(r, zero, *one[0])
    bound(q, zero, *other[0])
    bound(r, u, *one[1])
    bound(q, u, *other[1])
    bound(r, q, *difference)
    for k in range(4):
        for i in range(4):
            for j in range(4):
                d[i][j] = min(d[i][j], d[i][k] + d[k][j])
    if any(d[i][i] < 0 for i in range(4)):
        return None
    return -d[u][zero], d[zero][u]
