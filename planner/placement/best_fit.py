"""Where a reused piece really stands: at the best fit to its recorded holes. The tolerance only admits it."""

from __future__ import annotations

from math import isqrt

from fleet.equipment import Ski
from fleet.patterns import Piece
from planner.placement.rule import Rule
from planner.placement.sweep import Claims


def fit_um(rule: Rule, ski: Ski, *, shift_um: int, piece: Piece, claims: Claims) -> int | None:
    """r of the piece by least squares over its reused holes, each kept within the tolerance.

    The mean of where the holes would put it, moved only as far as the tolerance of the worst hole
    demands. None where nothing is reused or no place admits all of them.
    """
    places = []
    low, high = -(10**12), 10**12
    for wanted, claim in zip(piece.holes, claims, strict=True):
        if claim is None:
            continue
        hole = ski.holes[claim]
        c = hole.x_um - wanted.x_um - shift_um
        room = rule.reuse_um**2 - (hole.y_um - wanted.y_um) ** 2
        if room < 0:
            return None
        half = isqrt(room)
        low, high = max(low, c - half), min(high, c + half)
        places.append(c)
    if not places or low > high:
        return None
    return min(max(_mean(places), low), high)


def _mean(values: list[int]) -> int:
    """The nearest whole number; a half goes away from zero, so that mirrored is alike."""
    total, count = sum(values), len(values)
    half_up = (2 * abs(total) + count) // (2 * count)
    return half_up if total >= 0 else -half_up
