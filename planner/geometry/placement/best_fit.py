"""The place of a reused piece: the best fit to its recorded holes. The tolerance only admits it."""

from dataclasses import dataclass

from fleet.facts.pairs import Ski
from fleet.facts.patterns import Piece
from fleet.facts.spacing import window_half_um
from planner.geometry.placement.intervals import EVERYWHERE
from planner.geometry.placement.rule import Rule
from planner.geometry.placement.sweep import Claims


@dataclass(frozen=True, slots=True)
class BestFit:
    """The place of the piece (r, µm from the reference), and its sum of squared misses in µm²."""

    r_um: int
    misfit: int


def best_fit(rule: Rule, ski: Ski, *, shift_um: int, piece: Piece, claims: Claims) -> BestFit | None:
    """Return the least-squares place of the piece over its reused holes, each within the tolerance.

    The mean of where the holes would put it, moved only as far as the tolerance of the worst hole
    demands. None where nothing is reused or no place admits all of them.
    """
    places, sideways = [], 0
    low, high = EVERYWHERE
    for wanted, claim in zip(piece.holes, claims, strict=True):
        if claim is None:
            continue
        hole = ski.holes[claim]
        c = hole.x_um - wanted.x_um - shift_um
        half = window_half_um(hole.y_um - wanted.y_um, rule.reuse_um)
        if half < 0:
            return None
        low, high = max(low, c - half), min(high, c + half)
        places.append(c)
        sideways += (hole.y_um - wanted.y_um) ** 2
    if not places or low > high:
        return None
    r = min(max(_mean(places), low), high)
    return BestFit(r, sum((c - r) ** 2 for c in places) + sideways)


def _mean(values: list[int]) -> int:
    """Return the nearest whole number. A half is rounded away from zero, so that a mirrored ski gives the
    same.
    """
    total, count = sum(values), len(values)
    half_up = (2 * abs(total) + count) // (2 * count)
    return half_up if total >= 0 else -half_up
