"""Names of an order's holes: an old hole keeps its own, a new one has its name before it is drilled.

The name of a hole is the end of its id, ``A7`` of ``K-031/A7``. Where both skis of a pair are drilled alike
the two holes get one number, above every number that either ski has ever used; none is given twice.
"""

from __future__ import annotations

from collections.abc import Mapping

from fleet.facts.holes import Side, hole_label, hole_number
from fleet.facts.pairs import Pair
from planner.bench.orders.bench_record import Screw
from planner.bench.orders.screw_order import turns_of
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
