"""A match of a whole mount with measured holes: its pieces, sole length and offset."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from fleet.facts.patterns import Follows, Pattern
from planner.geometry.naming.measured import Point, Stretches
from planner.geometry.naming.piece_match import (
    DEFAULT_OFFSET_UM,
    PieceMatch,
    bsl_range_um,
    nothing_matched,
    piece_matches,
)
from planner.geometry.naming.survey_error import SurveyError

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
