"""Matches of one piece of a pattern with some of the measured holes, each with its likelihood."""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from fleet.facts.patterns import Follows, Pattern, Piece
from planner.geometry.naming.measured import Point, Stretches
from planner.geometry.naming.survey_error import SurveyError

GATE_SIGMAS = 4.5
"""A hole farther than this from where the piece would put it is not that hole (1 in 100,000)."""
DEFAULT_BSL_UM = (220_000, 370_000)
"""Sole lengths considered where a pattern states no range (junior to the longest adult; ours)."""
DEFAULT_OFFSET_UM = 30_000
"""The largest distance of a boot centre from the mark on old mounts, µm (our choice, generous)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceMatch:
    """One piece at its best position: ``matched[k]`` is the index of the point of its k-th hole, or None.

    ``log_ratio`` compares with "these holes are all spurious", the position integrated out. ``missed_bare``:
    of the holes that were not found, those whose place was seen bare.
    ``squared_um2`` sums the squared residuals, ``freedoms`` their degrees of freedom.
    """

    piece: Piece
    reference_um: int
    matched: tuple[int | None, ...]
    missed_bare: int
    log_ratio: float
    squared_um2: float
    freedoms: int

    @property
    def used(self) -> frozenset[int]:
        """The indices of the points that this piece explains."""
        return frozenset(i for i in self.matched if i is not None)

    @property
    def missed(self) -> int:
        """The number of holes of the piece that were not found."""
        return sum(i is None for i in self.matched)


def reference_range_um(pattern: Pattern, piece: Piece) -> tuple[int, int]:
    """Return the range (µm from the mark) of the piece's listed end, for a BSL range, an offset and a
    travel.
    """
    low, high = bsl_range_um(pattern)
    slack = DEFAULT_OFFSET_UM
    if piece.follows is Follows.TOE:
        return low // 2 - slack - piece.travel_forward_um, high // 2 + slack + piece.travel_back_um
    if piece.follows is Follows.HEEL:
        return -high // 2 - slack - piece.travel_forward_um, -low // 2 + slack + piece.travel_back_um
    return -slack - piece.travel_forward_um, slack + piece.travel_back_um


def bsl_range_um(pattern: Pattern) -> tuple[int, int]:
    """Return the sole lengths a pattern takes, µm, with `DEFAULT_BSL_UM` where an end is not stated."""
    low = pattern.bsl_min_um if pattern.bsl_min_um is not None else DEFAULT_BSL_UM[0]
    high = pattern.bsl_max_um if pattern.bsl_max_um is not None else DEFAULT_BSL_UM[1]
    return low, high


def nothing_matched(pattern: Pattern, piece: Piece, error: SurveyError, seen: Stretches = ()) -> PieceMatch:
    """Return the match of a piece that is there while none of its holes was found: in the middle of where it
    may stand.
    """
    middle = sum(reference_range_um(pattern, piece)) // 2
    bare = _bare(piece, middle, (None,) * len(piece.holes), seen)
    return PieceMatch(
        piece=piece,
        reference_um=middle,
        matched=(None,) * len(piece.holes),
        missed_bare=bare,
        log_ratio=error.log_missed(bare, len(piece.holes) - bare),
        squared_um2=0.0,
        freedoms=0,
    )


def piece_matches(
    pattern: Pattern,
    piece: Piece,
    points: Sequence[Point],
    error: SurveyError,
    *,
    seen: Stretches = (),
    least: int = 2,
) -> list[PieceMatch]:
    """Return every distinct matching of at least ``least`` holes of the piece, best first."""
    low, high = reference_range_um(pattern, piece)
    gate = GATE_SIGMAS * error.sigma_um
    xs = [p.x_um for p in points]
    found: dict[tuple[int | None, ...], PieceMatch] = {}
    for anchor in piece.holes:
        for point in points:
            if abs(point.y_um - anchor.y_um) > gate:
                continue
            start = point.x_um - anchor.x_um
            if not low - gate <= start <= high + gate:
                continue
            matched = _claim(piece, points, xs, start, gate * math.sqrt(2))
            match = _scored(piece, points, matched, error, high - low, seen)
            # Claim once more from the fitted position: the anchor's own error shifted the first try.
            matched = _claim(piece, points, xs, match.reference_um, gate)
            if sum(i is not None for i in matched) >= least and matched not in found:
                found[matched] = _scored(piece, points, matched, error, high - low, seen)
    return sorted(found.values(), key=lambda m: (-m.log_ratio, m.reference_um, str(m.matched)))


def _claim(
    piece: Piece, points: Sequence[Point], xs: Sequence[int], reference_um: int, gate: float
) -> tuple[int | None, ...]:
    """Return the nearest point within the gate for each hole; no two holes of a piece take the same point."""
    wanted: list[tuple[float, int, int]] = []
    for k, hole in enumerate(piece.holes):
        x = reference_um + hole.x_um
        for i in range(bisect_left(xs, x - gate), len(points)):
            if xs[i] > x + gate:
                break
            if abs(points[i].y_um - hole.y_um) <= gate:
                squared = float(xs[i] - x) ** 2 + float(points[i].y_um - hole.y_um) ** 2
                wanted.append((squared, k, i))
    claimed: dict[int, int] = {}
    taken: set[int] = set()
    for _, k, i in sorted(wanted):
        if k not in claimed and i not in taken:
            claimed[k] = i
            taken.add(i)
    return tuple(claimed.get(k) for k in range(len(piece.holes)))


def _bare(piece: Piece, reference_um: float, matched: Sequence[int | None], seen: Stretches) -> int:
    """Return how many of the holes not found would lie where the ski was seen bare."""
    return sum(
        found is None and any(low <= reference_um + hole.x_um <= high for low, high in seen)
        for hole, found in zip(piece.holes, matched, strict=True)
    )


def _scored(
    piece: Piece,
    points: Sequence[Point],
    matched: tuple[int | None, ...],
    error: SurveyError,
    range_um: int,
    seen: Stretches,
) -> PieceMatch:
    """Return the matching with its likelihood. The unknown position along the ski is integrated out.

    k errors along x about a free position leave k - 1 degrees and a factor 1/sqrt(k) (the Gaussian
    integral), over a flat prior of the piece's range.
    """
    pairs = [(points[i], piece.holes[k]) for k, i in enumerate(matched) if i is not None]
    count = len(pairs)
    shifts = [point.x_um - hole.x_um for point, hole in pairs]
    mean = sum(shifts) / count
    squared_x = sum((s - mean) ** 2 for s in shifts)
    bare = _bare(piece, mean, matched, seen)
    squared_y = sum(float(point.y_um - hole.y_um) ** 2 for point, hole in pairs)
    log_ratio = (
        error.log_normal(squared_x, count - 1)
        - 0.5 * math.log(count)
        - math.log(max(range_um, error.sigma_um))
        + error.log_normal(squared_y, count)
        + count * math.log(1 - error.missed)
        + error.log_missed(bare, len(matched) - count - bare)
        - count * error.log_extra_density
    )
    return PieceMatch(
        piece=piece,
        reference_um=round(mean),
        matched=matched,
        missed_bare=bare,
        log_ratio=log_ratio,
        squared_um2=squared_x + squared_y,
        freedoms=2 * count - 1,
    )
