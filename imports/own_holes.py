"""The boot centre of a mount, read off the holes that hold it, where a sheet does not say it.

A binding that is on, for a sole that is known, in screwed holes that were seen: their places say where the
boot centre is. Nothing is guessed: each hole of the pattern is found, at one place, on both skis, or nothing
is said.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Final

from fleet.base.units import mm_to_um
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from imports.rows import Row, sides_of

Places = Sequence[tuple[int, int]]
"""x and y of holes from the mark, micrometres."""
_BESIDE_UM: Final = 1_000
"""A screwed hole lies so far from where its pattern puts it at most (our default: hands drilled it)."""
_STEP_UM: Final = 100
"""The boot centre is said to a tenth of a millimetre, as the holes are."""


def screwed_places(holes: Iterable[Row], fleet: Fleet) -> Mapping[tuple[str, Side], Places]:
    """The places of screwed holes that were seen, by pair and ski: the sheet's and the ledger's."""
    places: dict[tuple[str, Side], set[tuple[int, int]]] = defaultdict(set)
    for row in holes:
        x, y = row.values.get("x_mm"), row.values.get("y_mm")
        if not row.usable or not isinstance(x, Decimal) or not isinstance(y, Decimal):
            continue
        if row.sure("state") == HoleState.SCREWED and _seen(row.sure("knowledge")):
            for side in sides_of(row):
                places[str(row.values["pair_tag"]), side].add((mm_to_um(x), mm_to_um(y)))
    for tag, pair in fleet.pairs.items():
        for side, ski in pair.skis.items():
            places[tag, side] |= {
                (hole.x_um, hole.y_um)
                for hole in ski.holes
                if hole.state is HoleState.SCREWED and hole.knowledge.may_be_reused
            }
    return {ski: sorted(found) for ski, found in places.items()}


def _seen(said: str | None) -> bool:
    return said is not None and Knowledge(said).may_be_reused


def boot_centre_um(pattern: Pattern, bsl_um: int, skis: Mapping[Side, Places]) -> int | None:
    """The boot centre from the mark, micrometres; None where the holes do not say it, or say two."""
    found = [_of_ski(pattern, bsl_um, skis.get(side, ())) for side in Side]
    first, second = found
    if first is None or second is None or abs(first - second) > _BESIDE_UM:
        return None
    return first


def _of_ski(pattern: Pattern, bsl_um: int, places: Places) -> int | None:
    listed = [
        (piece.follows.reference_um(0, bsl_um) + hole.x_um, hole.y_um)
        for piece in pattern.pieces
        for hole in piece.holes
    ]
    if not listed or len(places) < len(listed):
        return None
    middles = set()
    for begin_um in {x - listed[0][0] for x, y in places if abs(y - listed[0][1]) <= _BESIDE_UM}:
        beside = [_nearest(x + begin_um, y, places) for x, y in listed]
        if all(b is not None for b in beside):
            off = [b for b in beside if b is not None]
            middle_um = begin_um + (min(off) + max(off)) // 2
            middles.add(round(middle_um / _STEP_UM) * _STEP_UM)
    return middles.pop() if len(middles) == 1 else None


def _nearest(x_um: int, y_um: int, places: Places) -> int | None:
    """The distance by which the nearest hole lies ahead of that place; None where none lies there."""
    there = [x - x_um for x, y in places if abs(x - x_um) <= _BESIDE_UM and abs(y - y_um) <= _BESIDE_UM]
    return min(there, key=abs) if there else None
