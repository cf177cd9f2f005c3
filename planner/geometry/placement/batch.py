"""Legal offsets of one pattern on many pairs for many sole lengths, exact, in numpy.

The sole length only moves the window: each pair is swept once, and clipped for each sole. Agrees with
`legal` to the micrometre; what it cannot do exactly it refuses (then ask `LegalFinder` pair by pair).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fleet.base.errors import BadInput
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Follows, Pattern, Piece
from fleet.facts.policy import Policy
from planner.geometry.placement.batch_sweep import forbidden
from planner.geometry.placement.hole_table import FAR_UM, Bools, HoleTable, Ints, hole_tables
from planner.geometry.placement.stance import Stance

NOWHERE = np.iinfo(np.int32).max
"""The nearest offset where there is none."""
AT_A_TIME = 500
"""Pairs at a time: the arrays of one lot stay in the processor's cache."""
SOLES_AT_ONCE = 5
"""The number of soles taken at once where several pieces meet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchOffsets:
    """The nearest legal offset and the number of legal ranges, each (pairs, soles).

    ``nearest_um``: the legal offset nearest the mark (of two the one toward the tail), `NOWHERE` if there is
    none. ``ranges``: the number of closed legal ranges.
    """

    nearest_um: Ints
    ranges: Ints


class BatchFinder:
    """One pattern on many pairs. ``sides``: the skis that count (both, or one for a question about one
    ski).
    """

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
        """Return the offsets for every pair and sole. Raises BadInput where two pieces could touch at one of
        the soles.
        """
        soles = [Stance(bsl_um=bsl) for bsl in bsls_um]
        for stance in soles:
            _refuse_touching(self._pattern, stance, self._spacing, self._reuse)
        count = self._tables[0].skis
        nearest = np.empty((count, len(soles)), np.int32)
        ranges = np.empty((count, len(soles)), np.int32)
        for start in range(0, count, AT_A_TIME):
            rows = slice(start, min(start + AT_A_TIME, count))
            nearest[rows], ranges[rows] = self._some(rows, soles)
        fits = np.array([self._pattern.takes_bsl(bsl) for bsl in bsls_um], np.bool_)
        nearest[:, ~fits], ranges[:, ~fits] = NOWHERE, 0
        return BatchOffsets(nearest_um=nearest, ranges=ranges)

    def _some(self, rows: slice, soles: list[Stance]) -> tuple[Ints, Ints]:
        tables = [table.rows(rows) for table in self._tables]
        swept = [self._piece(tables, piece, soles) for piece in self._pattern.pieces]
        if len(swept) == 1 and self._pattern.pieces[0].follows is not Follows.MARK:
            return self._one_piece(*swept[0], soles)
        return self._several(swept, soles)

    def _piece(self, tables: list[HoleTable], piece: Piece, soles: list[Stance]) -> tuple[Ints, Ints]:
        """Return forbidden ranges of the followed end, merged and sorted: r, widened by the reach of the
        travel.
        """
        ends_um = [stance.end_um(piece.follows) or 0 for stance in soles]
        travel = 0 if piece.follows is Follows.MARK else max(piece.back_um, piece.forward_um)
        low, high = min(ends_um) - self._limit - travel, max(ends_um) + self._limit + travel
        each = [forbidden(table, piece, low, high) for table in tables]
        starts, ends = merged(
            np.concatenate([s for s, _ in each], axis=1), np.concatenate([e for _, e in each], axis=1)
        )
        if piece.follows is not Follows.MARK and travel:
            spread = starts + np.int32(piece.forward_um), ends - np.int32(piece.back_um)
            kept = spread[0] <= spread[1]
            starts, ends = _packed(spread[0], kept), _packed(spread[1], kept)
        return starts, ends

    def _one_piece(self, starts: Ints, ends: Ints, soles: list[Stance]) -> tuple[Ints, Ints]:
        """Return the result of one piece: legal stretches between merged forbidden ones, clipped to each
        sole's window.
        """
        piece = self._pattern.pieces[0]
        middles = np.array([stance.end_um(piece.follows) or 0 for stance in soles], np.int32)
        return clipped(starts, ends, middles, self._limit)

    def _several(self, swept: list[tuple[Ints, Ints]], soles: list[Stance]) -> tuple[Ints, Ints]:
        """Return the result of several pieces: their forbidden ranges as offsets, a few soles at a time."""
        count = len(swept[0][0])
        nearest = np.empty((count, len(soles)), np.int32)
        ranges = np.empty((count, len(soles)), np.int32)
        for start in range(0, len(soles), SOLES_AT_ONCE):
            some = soles[start : start + SOLES_AT_ONCE]
            starts, ends = [], []
            for piece, (piece_starts, piece_ends) in zip(self._pattern.pieces, swept, strict=True):
                if piece.follows is Follows.MARK:
                    bad = np.any((piece_starts <= 0) & (piece_ends >= 0), axis=1)
                    everywhere = np.where(bad, np.int32(-FAR_UM), np.int32(FAR_UM))
                    starts.append(np.broadcast_to(everywhere[:, None, None], (count, len(some), 1)))
                    ends.append(np.full((count, len(some), 1), FAR_UM, np.int32))
                else:
                    at = np.array([stance.end_um(piece.follows) for stance in some], np.int32)
                    starts.append(piece_starts[:, None, :] - at[None, :, None])
                    ends.append(piece_ends[:, None, :] - at[None, :, None])
            columns = slice(start, start + len(some))
            nearest[:, columns], ranges[:, columns] = _met(
                np.concatenate(starts, axis=2), np.concatenate(ends, axis=2), self._limit
            )
        return nearest, ranges


def _met(starts: Ints, ends: Ints, limit_um: int) -> tuple[Ints, Ints]:
    """(nearest, ranges) about 0 from forbidden ranges in any order along the last axis."""
    starts.sort(axis=2)
    ends.sort(axis=2)
    edge = np.full((*starts.shape[:2], 1), 2 * FAR_UM, np.int32)
    toward_tip = 2 * np.concatenate([-edge, ends + 1], axis=2)
    toward_tail = -2 * np.concatenate([starts - 1, edge], axis=2)
    far = np.maximum(toward_tip, toward_tail - 1)
    far[toward_tip > -toward_tail] = NOWHERE
    ranges = np.add.reduce(far <= 2 * limit_um, axis=2, dtype=np.int32)
    return _unfolded(np.minimum.reduce(far, axis=2), limit_um), ranges


def _unfolded(least: Ints, limit_um: int) -> Ints:
    """The signed offset from twice its size, the tail's one less; `NOWHERE` beyond the limit."""
    size = (np.maximum(least, 0) + 1) // 2
    nearest = np.where(least % 2 == 1, -size, size)
    return np.where(least > 2 * limit_um, NOWHERE, nearest).astype(np.int32)


def merged(starts: Ints, ends: Ints) -> tuple[Ints, Ints]:
    """The union of closed ranges, row by row: sorted, disjoint, packed to the left.

    Starts and ends may be sorted apart: after the k-th end and before the next start, k ranges have
    begun and k have ended, so nothing covers the place between.
    """
    starts.sort(axis=1)
    ends.sort(axis=1)
    first = np.ones(starts.shape, np.bool_)
    first[:, 1:] = starts[:, 1:] > ends[:, :-1] + 1
    last = np.ones(starts.shape, np.bool_)
    last[:, :-1] = first[:, 1:]
    return _packed(starts, first), _packed(ends, last)


def _packed(values: Ints, kept: Bools) -> Ints:
    """The kept values of each row moved to the left; the rest of the slots hold FAR_UM."""
    counts = kept.sum(axis=1)
    filled = np.arange(int(counts.max(initial=1))) < counts[:, None]
    found = np.full(filled.shape, FAR_UM, np.int32)
    found[filled] = values[kept]
    return found


def clipped(starts: Ints, ends: Ints, middles: Ints, limit_um: int) -> tuple[Ints, Ints]:
    """(nearest, ranges) within ``limit_um`` of each middle, relative to it, from merged forbidden ranges.

    A legal range [a, b] lies a - m toward the tip of m, or m - b toward the tail, or neither is above 0.
    Both are doubled and the tail's made odd, so that one minimum gives the size and the side.
    """
    count = len(starts)
    edge = np.full((1, count), -FAR_UM, np.int32)
    toward_tip = 2 * np.concatenate([edge, ends.T + 1])
    toward_tail = 2 * np.concatenate([starts.T - 1, -edge]) + 1
    doubled = (2 * middles)[None, :, None]
    far = np.maximum(toward_tip[:, None, :] - doubled, doubled - toward_tail[:, None, :])
    # bool seen as int8 can be added up without a copy; 127 ranges are the most that it can count
    inside = (far <= 2 * limit_um).view(np.int8)
    counts = np.add.reduce(inside, axis=0, dtype=np.int8 if len(inside) < 128 else np.int32)
    ranges = counts.astype(np.int32).T
    return _unfolded(np.minimum.reduce(far, axis=0).T, limit_um), ranges


def _refuse_shared_claims(piece: Piece, reuse_um: int) -> None:
    for i, a in enumerate(piece.holes):
        for b in piece.holes[i + 1 :]:
            if (a.x_um - b.x_um) ** 2 + (a.y_um - b.y_um) ** 2 <= (2 * reuse_um) ** 2:
                raise BadInput(
                    f"two holes of the {piece.name} piece could claim one old hole", cure="ask pair by pair"
                )


def _refuse_touching(pattern: Pattern, stance: Stance, spacing_um: int, reuse_um: int) -> None:
    """Raise BadInput unless the pieces stay farther apart than the spacing at every slide."""
    apart = max(spacing_um, 2 * reuse_um)
    for i, one in enumerate(pattern.pieces):
        for other in pattern.pieces[i + 1 :]:
            ends = stance.end_um(one.follows), stance.end_um(other.follows)
            if ends[0] is None or ends[1] is None:
                raise BadInput("a piece at the mark beside others", cure="ask pair by pair")
            low = ends[0] - one.forward_um - ends[1] - other.back_um
            high = ends[0] + one.back_um - ends[1] + other.forward_um
            for a in one.holes:
                for b in other.holes:
                    d = a.x_um - b.x_um
                    if low + d < apart and high + d > -apart and abs(a.y_um - b.y_um) < apart:
                        raise BadInput(
                            f"pieces of {pattern.name} could touch at this sole", cure="ask pair by pair"
                        )
