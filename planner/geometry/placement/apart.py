"""The spacing between new holes of two different pieces."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from fleet.facts.holes import Side
from fleet.facts.patterns import Piece
from fleet.facts.spacing import forbidden_half_um
from planner.geometry.placement.intervals import Interval, union, without
from planner.geometry.placement.sweep import Claims

_FAR_UM = 10**12
ClaimsBySide = Mapping[Side, Claims]


def gaps(
    one: Piece, one_claims: ClaimsBySide, other: Piece, other_claims: ClaimsBySide, *, spacing_um: int
) -> list[Interval]:
    """Return forbidden values of (r of the first piece minus r of the second), merged and closed, µm."""
    taken: set[Interval] = set()
    for side in Side:
        for a, a_claim in zip(one.holes, one_claims[side], strict=True):
            if a_claim is not None:
                continue
            for b, b_claim in zip(other.holes, other_claims[side], strict=True):
                half = forbidden_half_um(a.y_um - b.y_um, spacing_um)
                if b_claim is None and half >= 0:
                    c = b.x_um - a.x_um
                    taken.add((c - half, c + half))
    return union(taken)


def share_a_hole(one: ClaimsBySide, other: ClaimsBySide) -> bool:
    """Return True if two pieces use the same old hole."""
    return any(claim is not None and claim in other[side] for side in Side for claim in one[side])


@dataclass(frozen=True, slots=True)
class PieceRange:
    """The range of a piece: its r lies in ``stretch``, and r minus the offset in ``reach``."""

    stretch: Interval
    reach: Interval


def offsets_apart(
    offsets: Interval, pieces: Sequence[PieceRange], taken: Mapping[tuple[int, int], Sequence[Interval]]
) -> list[Interval]:
    """Return the offsets at which all pieces find places apart: exact closed ranges, sorted, disjoint.

    ``taken[i, j]``: forbidden values of r of piece i minus r of piece j. For every choice of a permitted
    range for each of these differences the rest is a system of difference constraints over the offset and
    the r of each piece; all bounds being whole numbers, shortest paths give its exact ends.
    """
    permitted = []
    for (i, j), forbidden in taken.items():
        one, other = pieces[i].stretch, pieces[j].stretch
        widest = (one[0] - other[1], one[1] - other[0])
        permitted.append([(i, j, low, high) for low, high in without([widest], forbidden)])
    found = []
    for chosen in product(*permitted):
        ends = _project(offsets, pieces, chosen)
        if ends is not None:
            found.append(ends)
    return union(found)


def _project(
    offsets: Interval, pieces: Sequence[PieceRange], differences: Sequence[tuple[int, int, int, int]]
) -> Interval | None:
    """Return the closed range of the offset under the bounds; None if they contradict one another."""
    zero, offset = len(pieces), len(pieces) + 1
    count = len(pieces) + 2
    upper = [[0 if i == j else _FAR_UM for j in range(count)] for i in range(count)]

    def bound(i: int, j: int, low: int, high: int) -> None:
        """low <= x_i - x_j <= high, kept as upper bounds of both differences."""
        upper[i][j] = min(upper[i][j], high)
        upper[j][i] = min(upper[j][i], -low)

    bound(offset, zero, *offsets)
    for index, piece in enumerate(pieces):
        bound(index, zero, *piece.stretch)
        bound(index, offset, *piece.reach)
    for i, j, low, high in differences:
        bound(i, j, low, high)
    for k, i, j in product(range(count), repeat=3):
        upper[i][j] = min(upper[i][j], upper[i][k] + upper[k][j])
    if any(upper[i][i] < 0 for i in range(count)):
        return None
    return -upper[zero][offset], upper[offset][zero]
