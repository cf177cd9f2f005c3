"""The order in which screws are tightened. Common practice, no source: all in first, then diagonally.

The order is computed for the pattern: the two holes farthest apart first (a diagonal), then the farthest
two of the rest, and so on; in each two the one nearer the tip leads, and at equal x the left one.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Final

from fleet.facts.holes import Side
from planner.plan.values import Way

_PIECES: Final = ("toe", "plate", "heel")


def tightening_order(holes: Sequence[tuple[int, int]]) -> tuple[int, ...]:
    """Return indices of the holes (x toward the tip, y to the right, any one unit) in tightening order.

    Distances are compared as whole squares, so the order is the same on every machine.
    """
    left = list(range(len(holes)))
    order: list[int] = []

    def lead(index: int) -> tuple[int, int, int]:
        return (-holes[index][0], holes[index][1], index)

    def rank(two: tuple[int, int]) -> tuple[int, tuple[int, int, int]]:
        (x1, y1), (x2, y2) = holes[two[0]], holes[two[1]]
        return (-((x1 - x2) ** 2 + (y1 - y2) ** 2), min(lead(two[0]), lead(two[1])))

    while len(left) > 1:
        two = min(combinations(left, 2), key=rank)
        order.extend(sorted(two, key=lead))
        left = [index for index in left if index not in two]
    return (*order, *left)


def turns_of(way: Way) -> dict[tuple[str, int], int]:
    """Return the turn of each screw, from 1: toe before heel, then diagonally.

    Ski A's holes decide for both skis: recorded holes lie some tenths apart, and the same screw has its turn
    on A and B alike. A screw that only ski B is known to have is counted in where it stands there.
    Keys are (piece, number in the pattern), as in plan.json, in the order of their turns.
    """
    numbers: dict[tuple[str, int], int] = {}
    known = {(hole.piece, hole.number): hole for side in (Side.B, Side.A) for hole in way.skis[side].holes}
    holes = known.values()
    pieces = sorted({hole.piece for hole in holes}, key=lambda piece: (_PIECES.index(piece), piece))
    for piece in pieces:
        own = sorted((hole for hole in holes if hole.piece == piece), key=lambda hole: hole.number)
        front = max(hole.x_um for hole in own)
        places = [(_coarse(hole.x_um - front), _coarse(hole.y_um)) for hole in own]
        for index in tightening_order(places):
            numbers[piece, own[index].number] = len(numbers) + 1
    return numbers


def _coarse(length_um: int) -> int:
    """Return a place rounded to 2 mm, so that a drill's wander does not decide which screw comes first."""
    return round(length_um / 2000)
