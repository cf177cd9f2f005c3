"""The mounting zone in plain characters: holes and stretches nobody has looked at. Tip to the right.

One column is a slice along the ski, one row a strip across; the right edge of the ski, looking at the tip,
is the lower row. ASCII on purpose: it reads the same in every terminal.
"""

from typing import Final

from fleet.base.units import length_text
from fleet.facts.holes import Hole, HoleState
from fleet.facts.pairs import Ski

ROWS: Final = 7
SIGNS: Final = {
    HoleState.OPEN: "o",
    HoleState.SCREWED: "s",
    HoleState.PLUGGED: "#",
    HoleState.INSERT: "i",
    HoleState.STRIPPED: "x",
}
_MARGIN_UM: Final = 20_000
_LEAST_HALF_WIDTH_UM: Final = 30_000


def extent_um(ski: Ski) -> tuple[int, int]:
    """Return the two ends of the map (µm from the mark): the zone where known, and every hole in any case."""
    xs = [h.x_um for h in ski.holes]
    low = min([0, *xs]) - _MARGIN_UM
    high = max([0, *xs]) + _MARGIN_UM
    if ski.zone_back_um is not None:
        low = min(low, -ski.zone_back_um)
    if ski.zone_front_um is not None:
        high = max(high, ski.zone_front_um)
    return low, high


def half_width_um(ski: Ski) -> int:
    """Return the reach of the map across the ski on each side, µm."""
    across = max([_LEAST_HALF_WIDTH_UM, *(abs(h.y_um) for h in ski.holes)])
    return max(across, ski.zone_half_width_um or 0)


def zone_map(ski: Ski, *, columns: int = 76) -> list[str]:
    """Return the map's lines, the scale under it. Several holes in one cell show as *, so that none hides
    another.
    """
    low, high = extent_um(ski)
    half = half_width_um(ski)
    columns = max(20, columns)

    def column(x_um: int) -> int:
        return min(columns - 1, (x_um - low) * columns // (high - low))

    def row(y_um: int) -> int:
        return min(ROWS - 1, max(0, (y_um + half) * ROWS // (2 * half)))

    slices = [low + (high - low) * (2 * c + 1) // (2 * columns) for c in range(columns)]
    seen = ["." if any(a.from_um <= x <= a.to_um for a in ski.inspected) else "?" for x in slices]
    cells = [list(seen) for _ in range(ROWS)]
    for line in cells:
        line[column(0)] = "|"
    taken: dict[tuple[int, int], Hole] = {}
    for hole in ski.holes:
        place = row(hole.y_um), column(hole.x_um)
        cells[place[0]][place[1]] = "*" if place in taken else SIGNS[hole.state]
        taken[place] = hole
    lines = ["".join(line) for line in cells]
    left, right = f"{length_text(-low)} mm toward TAIL", f"{length_text(high)} mm toward TIP"
    lines.append(left + right.rjust(max(1, columns - len(left))))
    return lines


def map_key(lines: list[str]) -> str:
    """Return the meaning of the signs on this map, and of no others."""
    drawn = set("".join(lines[:ROWS]))
    words = {sign: state.value for state, sign in SIGNS.items()}
    words |= {"*": "several", ".": "inspected", "?": "not inspected", "|": "mark"}
    return "  ".join(f"{sign} {word}" for sign, word in words.items() if sign in drawn)
