"""Legal offsets of one pattern on many pairs for many sole lengths, exact, in numpy.

The sole length only moves the window: each pair is swept once, and clipped for each sole. Agrees with
`legal` to the micrometre; what it cannot do exactly it refuses (then ask `LegalFinder` pair by pair).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fleet.equipment import Pair
from fleet.errors import BadInput
from fleet.holes import Side
from fleet.patterns import Follows, Pattern, Piece
from fleet.policy import Policy
from planner.placement.batch_sweep import forbidden
from planner.placement.hole_table import FAR_UM, Bools, HoleTable, Ints, hole_tables
from planner.placement.stance import Stance

NOWHERE = np.iinfo(np.int32).max
"""The nearest offset where there is none."""
CHUNK = 500
"""Pairs at a time: the arrays of one chunk stay in the processor's cache."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchOffsets:
    """``nearest_um`` (pairs, soles): the legal offset nearest the mark (of two the one toward the tail),
    `NOWHERE` if there is none. ``ranges`` (pairs, soles): how many closed legal ranges there are.
    """

    nearest_um: Ints
    ranges: Ints


class BatchFinder:
    """One pattern on many pairs. ``sides``: which skis count (both, or one for a single-ski question)."""

    def __init__(
        self,
        *,
        pattern: Pattern,
        policy: Policy,
        pairs: Sequence[Pair] = (),
        tables: dict[Side, HoleTable] | None = None,
    ) -> None:
        """Give the pairs, or the tables of an earlier call (`hole_tables`) to sweep several patterns.

        Raises BadInput where the pieces could come within the spacing of each other or claim one hole.
        """
        self._pattern = pattern
        self._tables = list((hole_tables(pairs, policy) if tables is None else tables).values())
        self._limit = policy.um("offset_limit_mm")
        self._spacing = policy.um("spacing_mm")
        self._reuse = policy.um("reuse_tolerance_mm")
        if self._reuse >= self._spacing:
            raise BadInput("the reuse tolerance must be smaller than the spacing")
        for piece in pattern.pieces:
            _refuse_shared_claims(piece, self._reuse)

    def offsets(self, bsls_um: Sequence[int]) -> BatchOffsets:
        """For every pair and sole. Raises BadInput where two pieces could touch at one of the soles."""
        soles = [Stance(bsl_um=bsl) for bsl in bsls_um]
        for stance in soles:
            _refuse_touching(self._pattern, stance, self._spacing, self._reuse)
        count = self._tables[0].skis
        nearest = np.empty((count, len(soles)), np.int32)
        ranges = np.empty((count, len(soles)), np.int32)
        for start in range(0, count, CHUNK):
            rows = slice(start, min(start + CHUNK, count))
            nearest[rows], ranges[rows] = self._chunk(rows, soles)
        fits = np.array([self._pattern.takes_bsl(bsl) for bsl in bsls_um], np.bool_)
        nearest[:, ~fits], ranges[:, ~fits] = NOWHERE, 0
        return BatchOffsets(nearest_um=nearest, ranges=ranges)

    def _chunk(self, rows: slice, soles: list[Stance]) -> tuple[Ints, Ints]:
        tables = [table.rows(rows) for table in self._tables]
        swept = [self._piece(tables, piece, soles) for piece in self._pattern.pieces]
        if len(swept) == 1 and self._pattern.pieces[0].follows is not Follows.MARK:
            return self._one_piece(*swept[0], soles)
        return self._several(swept, soles)

    def _piece(self, tables: list[HoleTable], piece: Piece, soles: list[Stance]) -> tuple[Ints, Ints]:
        """Forbidden ranges of the followed end, merged and sorted: r, spread by what the travel reaches."""
        ends_um = [stance.end_um(piece.follows) or 0 for stance in soles]
        travel = 0 if piece.follows is Follows.MARK else max(piece.travel_back_um, piece.travel_forward_um)
        low, high = min(ends_um) - self._limit - travel, max(ends_um) + self._limit + travel
        each = [forbidden(table, piece, low, high) for table in tables]
        starts, ends = merged(
            np.concatenate([s for s, _ in each], axis=1), np.concatenate([e for _, e in each], axis=1)
        )
        if piece.follows is not Follows.MARK and travel:
            spread = starts + np.int32(piece.travel_forward_um), ends - np.int32(piece.travel_back_um)
            starts, ends = _packed(*spread, spread[0] <= spread[1])
        return starts, ends

    def _one_piece(self, starts: Ints, ends: Ints, soles: list[Stance]) -> tuple[Ints, Ints]:
        """Legal stretches lie between merged forbidden ones; each is clipped to each sole's window."""
        piece = self._pattern.pieces[0]
        middles = np.array([stance.end_um(piece.follows) or 0 for stance in soles], np.int32)
        return clipped(starts, ends, middles, self._limit)

    def _several(self, swept: list[tuple[Ints, Ints]], soles: list[Stance]) -> tuple[Ints, Ints]:
        """The forbidden ranges of all pieces meet in the offset, sole by sole."""
        count = len(swept[0][0])
        nearest = np.empty((count, len(soles)), np.int32)
        ranges = np.empty((count, len(soles)), np.int32)
        zero = np.zeros(1, np.int32)
        for column, stance in enumerate(soles):
            starts, ends = [], []
            for piece, (some_starts, some_ends) in zip(self._pattern.pieces, swept, strict=True):
                at = stance.end_um(piece.follows)
                if at is None:
                    bad = np.any((some_starts <= 0) & (some_ends >= 0), axis=1, keepdims=True)
                    starts.append(np.where(bad, -FAR_UM, FAR_UM).astype(np.int32))
                    ends.append(np.full((count, 1), FAR_UM, np.int32))
                else:
                    used, some = _near(some_starts, some_ends, at, self._limit)
                    starts.append(used)
                    ends.append(some)
            all_starts, all_ends = merged(np.concatenate(starts, axis=1), np.concatenate(ends, axis=1))
            found = clipped(all_starts, all_ends, zero, self._limit)
            nearest[:, column], ranges[:, column] = found[0][:, 0], found[1][:, 0]
        return nearest, ranges


def _near(starts: Ints, ends: Ints, at_um: int, limit_um: int) -> tuple[Ints, Ints]:
    """The ranges that touch the window, as offsets, packed; so that few need sorting."""
    low, high = starts - np.int32(at_um), ends - np.int32(at_um)
    return _packed(low, high, (low <= limit_um) & (high >= -limit_um))


def merged(starts: Ints, ends: Ints) -> tuple[Ints, Ints]:
    """The union of closed ranges, row by row: sorted, disjoint, packed to the left.

    Starts and ends may be sorted apart: after the k-th end and before the next start, k ranges have
    begun and k have ended, so nothing covers the place between.
    """
    starts, ends = np.sort(starts, axis=1), np.sort(ends, axis=1)
    first = np.ones(starts.shape, np.bool_)
    first[:, 1:] = starts[:, 1:] > ends[:, :-1] + 1
    last = np.ones(starts.shape, np.bool_)
    last[:, :-1] = first[:, 1:]
    begins, _ = _packed(starts, starts, first)
    finishes, _ = _packed(ends, ends, last)
    return begins, finishes


def _packed(low: Ints, high: Ints, kept: Bools) -> tuple[Ints, Ints]:
    """The kept ranges of each row moved to the left; the rest of the slots lie at FAR_UM."""
    counts = kept.sum(axis=1)
    slots = max(int(counts.max(initial=0)), 1)
    starts = np.full((len(low), slots), FAR_UM, np.int32)
    ends = starts.copy()
    filled = np.arange(slots) < counts[:, None]
    starts[filled] = low[kept]
    ends[filled] = high[kept]
    return starts, ends


def clipped(starts: Ints, ends: Ints, middles: Ints, limit_um: int) -> tuple[Ints, Ints]:
    """(nearest, ranges) within ``limit_um`` of each middle, relative to it, from merged forbidden ranges."""
    count = len(starts)
    edge = np.full((count, 1), -FAR_UM, np.int32)
    low = np.concatenate([edge, ends + 1], axis=1)
    high = np.concatenate([starts - 1, -edge], axis=1)
    nearest = np.empty((count, len(middles)), np.int32)
    ranges = np.empty((count, len(middles)), np.int32)
    for column, middle in enumerate(middles):
        a = np.maximum(low, middle - limit_um)
        b = np.minimum(high, middle + limit_um)
        legal = a <= b
        ranges[:, column] = legal.sum(axis=1)
        best = np.minimum(np.maximum(a, middle), b) - middle
        # twice the size, odd for the side toward the tip: of two equally near the tail's comes first
        rank = np.where(legal, np.abs(best) * 2 + (best > 0), NOWHERE)
        least = rank.min(axis=1)
        size = (least // 2).astype(np.int32)
        nearest[:, column] = np.where(least == NOWHERE, NOWHERE, np.where(least % 2 == 1, size, -size))
    return nearest, ranges


def _refuse_shared_claims(piece: Piece, reuse_um: int) -> None:
    for i, a in enumerate(piece.holes):
        for b in piece.holes[i + 1 :]:
            if (a.x_um - b.x_um) ** 2 + (a.y_um - b.y_um) ** 2 <= (2 * reuse_um) ** 2:
                raise BadInput(
                    f"two holes of the {piece.name} piece could claim one old hole", cure="ask pair by pair"
                )


def _refuse_touching(pattern: Pattern, stance: Stance, spacing_um: int, reuse_um: int) -> None:
    """Pieces farther apart than the spacing at every slide need no look at each other."""
    apart = max(spacing_um, 2 * reuse_um)
    for i, one in enumerate(pattern.pieces):
        for other in pattern.pieces[i + 1 :]:
            ends = stance.end_um(one.follows), stance.end_um(other.follows)
            if ends[0] is None or ends[1] is None:
                raise BadInput("a piece at the mark beside others", cure="ask pair by pair")
            low = ends[0] - one.travel_forward_um - ends[1] - other.travel_back_um
            high = ends[0] + one.travel_back_um - ends[1] + other.travel_forward_um
            for a in one.holes:
                for b in other.holes:
                    d = a.x_um - b.x_um
                    if low + d < apart and high + d > -apart and abs(a.y_um - b.y_um) < apart:
                        raise BadInput(
                            f"pieces of {pattern.name} could touch at this sole", cure="ask pair by pair"
                        )
