"""The cut of a true-scale template into sheets: the stretch of ski on each sheet.

Each sheet is usable alone: it holds a cross line that can be found on the ski (the printed mark wherever
possible), and every hole of the order lies on some sheet with clear paper around it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fleet.base.units import mm_text

CLEAR_UM: Final = 15_000
"""Paper left between a hole of the order and the end of its sheet, micrometres."""
_STEP_UM: Final = 50_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """A stretch of the ski, micrometres from its own mark, ``start_um`` toward the tail.

    ``anchor_um`` is the cross line by which the sheet is laid: 0 is the mark itself.
    """

    start_um: int
    end_um: int
    anchor_um: int

    def holds(self, x_um: int, clear_um: int = CLEAR_UM) -> bool:
        """Return True if the place lies on this sheet with that much paper on either side."""
        return self.start_um + clear_um <= x_um <= self.end_um - clear_um


def tiles(holes_um: Sequence[int], span_um: int) -> tuple[Tile, ...]:
    """Return the sheets for these places (x from the mark), tip first: one if possible, else the fewest.

    ``span_um`` is the length one sheet shows. Raises ValueError where a sheet is too short to be of use.
    """
    if span_um < 4 * CLEAR_UM + _STEP_UM:
        raise ValueError(f"a sheet of {mm_text(span_um)} mm is too short for a template")
    places = sorted({0, *holes_um})
    low, high = places[0], places[-1]
    if high - low + 2 * CLEAR_UM <= span_um:
        return (_centred(low, high, span_um, 0),)
    front = _outward([x for x in places if x >= 0], span_um, 1) if high > 0 else []
    back = _outward([-x for x in reversed(places) if x <= 0], span_um, -1) if low < 0 else []
    return (*reversed(front), *back)


def _outward(distances: Sequence[int], span_um: int, way: int) -> list[Tile]:
    """Return sheets from the mark outward on one side; ``distances`` ascend from 0. The first holds the
    mark.
    """
    found: list[Tile] = []
    left, anchor = list(distances), 0
    while True:
        reach = anchor + span_um - 2 * CLEAR_UM
        outermost = max([x for x in left if x <= reach], default=anchor)
        left = [x for x in left if x > reach]
        # The next sheet's cross line stands at a round distance that this one still shows: there they join.
        following = min(left[0], reach) // _STEP_UM * _STEP_UM if left else anchor
        low, high = sorted((way * anchor, way * max(outermost, following)))
        found.append(_centred(low, high, span_um, way * anchor))
        if not left:
            return found
        anchor = following


def _centred(low: int, high: int, span_um: int, anchor_um: int) -> Tile:
    start = (low + high - span_um) // 2
    return Tile(start_um=start, end_um=start + span_um, anchor_um=anchor_um)
