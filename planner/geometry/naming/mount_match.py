"""A match of a whole mount with measured holes: its pieces, sole length and offset."""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from fleet.facts.patterns import Follows, Pattern, Piece
from planner.geometry.naming.measured import Point, Stretches, SurveyError

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


PIECES_KEPT = 60
MOUNTS_KEPT = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class MountMatch:
    """One pattern at one place. ``bsl_um`` and ``offset_um`` are closed ranges, None where not known."""

    pattern: Pattern
    pieces: tuple[PieceMatch, ...]
    bsl_um: tuple[int, int] | None
    offset_um: tuple[int, int] | None
    log_ratio: float

    @property
    def used(self) -> frozenset[int]:
        """The indices of the points that this mount explains."""
        return frozenset().union(*(piece.used for piece in self.pieces))

    @property
    def missed(self) -> int:
        """The number of holes of the pattern that were not found."""
        return sum(piece.missed for piece in self.pieces)

    @property
    def missed_bare(self) -> int:
        """The number of those whose place was seen bare."""
        return sum(piece.missed_bare for piece in self.pieces)

    @property
    def squared_um2(self) -> float:
        """The sum of squared residuals, µm²."""
        return sum(piece.squared_um2 for piece in self.pieces)

    @property
    def freedoms(self) -> int:
        """The degrees of freedom of the residuals."""
        return sum(piece.freedoms for piece in self.pieces)


def mount_matches(
    pattern: Pattern,
    points: Sequence[Point],
    error: SurveyError,
    *,
    seen: Stretches = (),
    pieces_kept: int = PIECES_KEPT,
    mounts_kept: int = MOUNTS_KEPT,
) -> list[MountMatch]:
    """Return mounts of one pattern that explain at least three holes, best first."""
    choices = [
        [
            *piece_matches(pattern, piece, points, error, seen=seen)[:pieces_kept],
            nothing_matched(pattern, piece, error, seen),
        ]
        for piece in pattern.pieces
    ]
    mounts: list[MountMatch] = []
    for pieces in product(*choices):
        used = [i for piece in pieces for i in piece.used]
        if len(used) < 3 or len(set(used)) != len(used):
            continue
        spread = _bsl_and_offset(pattern, pieces)
        if spread is None:
            continue
        bsl, offset = spread
        mounts.append(
            MountMatch(
                pattern=pattern,
                pieces=pieces,
                bsl_um=bsl,
                offset_um=offset,
                log_ratio=sum(piece.log_ratio for piece in pieces),
            )
        )
    mounts.sort(key=lambda m: (-m.log_ratio, sorted(m.used)))
    return mounts[:mounts_kept]


def _bsl_and_offset(
    pattern: Pattern, pieces: Sequence[PieceMatch]
) -> tuple[tuple[int, int] | None, tuple[int, int] | None] | None:
    """Return the sole lengths and offsets that the found pieces allow; None if they allow none.

    A piece at reference r with travel reaches sole ends from r - back to r + forward.
    """
    ends: dict[Follows, tuple[int, int]] = {}
    for match in pieces:
        if match.used:
            piece = match.piece
            ends[piece.follows] = (
                match.reference_um - piece.travel_back_um,
                match.reference_um + piece.travel_forward_um,
            )
    low, high = bsl_range_um(pattern)
    # a survey by steel ruler, so 2 mm more at each end than the pattern says (our choice)
    slack = 2_000
    if Follows.TOE in ends and Follows.HEEL in ends:
        toe, heel = ends[Follows.TOE], ends[Follows.HEEL]
        shortest, longest = toe[0] - heel[1], toe[1] - heel[0]
        if longest < low - slack or shortest > high + slack:
            return None
        # rounded inward at both ends: up at the low one, down at the high one
        offset = (-(-(toe[0] + heel[0]) // 2), (toe[1] + heel[1]) // 2)
        if offset[1] < -DEFAULT_OFFSET_UM or offset[0] > DEFAULT_OFFSET_UM:
            return None
        return (max(shortest, low - slack), min(longest, high + slack)), offset
    if Follows.CENTRE in ends:
        return None if Follows.TOE in ends and Follows.HEEL in ends else ((low, high), ends[Follows.CENTRE])
    return ((low, high), None)
