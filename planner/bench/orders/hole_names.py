"""Names of an order's holes: an old hole keeps its own, a new one has its name before it is drilled.

The name of a hole is the end of its id, ``A7`` of ``K-031/A7``. Where both skis of a pair are drilled alike
the two holes get one number, above every number that either ski has ever used; none is given twice.

The screws of an order are tightened in turn. Common practice, no source: all in first, then diagonally. The
two holes of a pattern that lie farthest apart come first (a diagonal), then the farthest two of the rest, and
so on; in each two the one nearer the tip leads, and at equal x the left one.
"""

from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import Final

from fleet.facts.holes import Side, hole_label, hole_number
from fleet.facts.pairs import Pair
from planner.bench.orders.bench_record import Screw
from planner.plan.values import Way


def highest_number(pair: Pair) -> int:
    """Return the highest number that a hole of either ski has ever had."""
    kept = max(ski.holes_numbered_to for ski in pair.skis.values())
    now = (hole_number(pair.tag, side, h.hole_id) for side in Side for h in pair.skis[side].holes)
    return max(kept, *now, 0)


def hole_names(pair: Pair, way: Way) -> dict[Screw, str]:
    """Return the id of each screw's hole: the old hole's, or the one that the new hole will have."""
    names: dict[Screw, str] = {}
    number = highest_number(pair)
    for piece, in_pattern in turns_of(way):
        screws = {screw: hole for screw, hole in way.screws.items() if screw[1:] == (piece, in_pattern)}
        if any(hole.hole_id is None for hole in screws.values()):
            number += 1
        for screw, hole in screws.items():
            names[screw] = hole.hole_id or f"{pair.tag}/{screw[0].value}{number}"
    return names


def labels_of(way: Way, holes: Mapping[Screw, str] | None) -> dict[Screw, str]:
    """Return each screw by the name on its sheet: ``17`` on ski A is hole A17.

    ``holes`` None: an older sheet, on which the screws carry the turn in which they are tightened.
    """
    if holes is not None:
        return {screw: hole_label(name) for screw, name in holes.items()}
    turns = turns_of(way)
    return {(side, piece, number): str(turns[piece, number]) for side, piece, number in way.screws}


def as_kept(names: Mapping[Screw, str]) -> dict[str, str]:
    """Return hole names as an entry keeps them: ``A toe 1`` and the id."""
    return {f"{side} {piece} {number}": name for (side, piece, number), name in names.items()}


def from_kept(kept: Mapping[str, str]) -> dict[Screw, str]:
    """Return the hole names from which `as_kept` made these."""
    parts = {text: text.split(" ") for text in kept}
    return {(Side(side), piece, int(number)): kept[text] for text, (side, piece, number) in parts.items()}


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
