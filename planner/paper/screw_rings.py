"""The rings of one ski's screws on the recheck list: the right arrangement, no scale.

A ring takes the stroke of a wet pen and no other ring touches it. Seen with the tip to the right, so that the
ski's right side is at the bottom.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from fleet.base.errors import BadInput
from fleet.rules.recheck import ScrewDot

RING_R: Final = 2.5
"""Millimetres. A felt pen's stroke through a smaller ring fills it: own choice, no source."""
RING_STROKE: Final = 0.6
"""The heaviest stroke of a ring."""
_STEP: Final = 2 * RING_R + RING_STROKE + 0.3
"""From centre to centre of two rings."""
_EDGE: Final = RING_R + RING_STROKE / 2 + 0.25
"""From a ring's centre to the edge of the strip, or of its piece."""
NAME_WIDE: Final = 3.4
"""Room before each piece for its name, turned upright."""
_SPREAD: Final = 10.0
"""From screw to screw along the ski, where there is room."""
_SAME_UM: Final = 3_000
"""Screws that lie less far apart along the ski stand in one row across it."""
_MOST_ACROSS: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRings:
    """One piece: its stretch of the strip, and its rings' centres from the strip's top left corner (mm)."""

    piece: str
    left: float
    width: float
    rings: tuple[tuple[float, float, ScrewDot], ...]


_Row = list[ScrewDot]


def rings_of(dots: Sequence[ScrewDot], width: float) -> tuple[float, tuple[PieceRings, ...]]:
    """Return the height of the strip (mm) and the pieces on it, tail first.

    Where the rows do not fit beside each other, neighbours share one, in order: the strip grows higher.
    Raises BadInput where even that does not hold them.
    """
    pieces = {name: [dot for dot in dots if dot.piece == name] for name in {dot.piece for dot in dots}}
    order = sorted(pieces, key=lambda name: (sum(dot.x_um for dot in pieces[name]) / len(pieces[name]), name))
    for across in range(1, _MOST_ACROSS + 1):
        rows = {name: _rows(pieces[name], across) for name in order}
        free = width - sum(NAME_WIDE + _wide(rows[name], _STEP) for name in order)
        if free >= 0:
            break
    else:
        raise BadInput(f"{len(dots)} screws of one ski are more than the picture holds")
    most = max((len(row) for name in order for row in rows[name]), default=2)
    height = (max(most, 2) - 1) * _STEP + 2 * _EDGE
    wish = sum((len(rows[name]) - 1) * (_SPREAD - _STEP) for name in order)
    step = _STEP + (_SPREAD - _STEP) * (min(1.0, free / wish) if wish else 0.0)
    gap = (width - sum(NAME_WIDE + _wide(rows[name], step) for name in order)) / (len(order) + 1)
    drawn, left = [], 0.0
    for name in order:
        left += gap + NAME_WIDE
        drawn.append(_piece(name, rows[name], left, step, height))
        left += drawn[-1].width
    return height, tuple(drawn)


def _wide(rows: Sequence[_Row], step: float) -> float:
    return (len(rows) - 1) * step + 2 * _EDGE


def _rows(dots: Sequence[ScrewDot], across: int) -> list[_Row]:
    """Return the rows across the ski, tail first, each from left to right; small neighbours joined."""
    rows: list[_Row] = []
    for dot in sorted(dots, key=lambda dot: (dot.x_um, dot.y_um)):
        if rows and dot.x_um - rows[-1][0].x_um < _SAME_UM and len(rows[-1]) < _MOST_ACROSS:
            rows[-1].append(dot)
        else:
            rows.append([dot])
    joined = rows[:1]
    for row in rows[1:]:
        if len(joined[-1]) + len(row) <= across:
            joined[-1] = [*joined[-1], *row]
        else:
            joined.append(row)
    return [sorted(row, key=lambda dot: (dot.y_um, dot.x_um)) for row in joined]


def _piece(name: str, rows: Sequence[_Row], left: float, step: float, height: float) -> PieceRings:
    half = height / 2 - _EDGE
    widest = max(1, *(abs(dot.y_um) for row in rows for dot in row))
    rings = [
        (left + _EDGE + index * step, height / 2 + y, dot)
        for index, row in enumerate(rows)
        for y, dot in zip(_across([half * dot.y_um / widest for dot in row], half), row, strict=True)
    ]
    return PieceRings(piece=name, left=left, width=_wide(rows, step), rings=tuple(rings))


def _across(wished: Sequence[float], half: float) -> list[float]:
    """Return places near the wished ones (ascending) that keep a ring's distance, within the strip."""
    if all(after - before >= _STEP for before, after in pairwise(wished)):
        return list(wished)
    reach = (len(wished) - 1) * _STEP / 2
    middle = max(reach - half, min(half - reach, sum(wished) / len(wished)))
    return [middle - reach + index * _STEP for index in range(len(wished))]
