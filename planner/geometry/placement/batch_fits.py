"""The places of a piece in old holes, for many skis: the fitted stretches of `stands`, exact.

What could be told apart only by the finer rules there (holes entered twice, one ski reused and the other
drilled) is flagged: such pairs are asked one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fleet.facts.holes import Side
from fleet.facts.patterns import Piece
from fleet.facts.spacing import forbidden_halves_um, window_halves_um
from planner.geometry.placement.hole_table import (
    FAR_UM,
    Bools,
    ByRow,
    Long,
    Rows,
    SkiRows,
    covered,
    joined,
    stood,
)
from planner.geometry.placement.rule import Rule

_MOST_WINDOWS = 24
"""Reuse windows of a piece on one ski; more are asked one by one (our choice: claims fit a whole number)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fits(ByRow):
    """Fits of a piece to old holes, one row a fit: its ski row (in order), its place ``r``, its stretch
    ``low`` to ``high``.

    ``holes``: the claimed holes of the piece as bits; ``opened``: claimed holes that are not inserts;
    ``room``: of the holes drilled beside them, capped, -1 where they are not legal as printed.
    """

    row: Rows
    r: Long
    low: Long
    high: Long
    holes: Long
    reused: Long
    opened: Long
    room: Long


@dataclass(frozen=True, slots=True)
class _Windows:
    """Reuse windows of hole ``j`` of the piece on a ski row, padded by row: (rows, windows).

    ``low`` to ``high`` is what the other old holes leave of c ± w; padding is nowhere.
    """

    row: Rows
    j: Long
    c: Long
    w: Long
    low: Long
    high: Long
    wood: Bools


def fits_of(skis: SkiRows, piece: Piece, rule: Rule, cap_um: int) -> tuple[Fits, Bools]:
    """Return the fits by row, and the flagged rows. The table holds the holes within reach."""
    flagged = np.zeros(skis.table.skis, np.bool_)
    windows = _windows(skis, piece, rule, flagged)
    row, claims = _claims(windows)
    bits = np.arange(windows.c.shape[1])
    member = (claims[:, None] >> bits) & 1 == 1
    c, w, low, high = (getattr(windows, n)[row] for n in ("c", "w", "low", "high"))
    first = np.where(member, c - w, -FAR_UM).max(axis=1, initial=-FAR_UM)
    last = np.where(member, c + w, FAR_UM).min(axis=1, initial=FAR_UM)
    r = np.clip(_mean(np.where(member, c, 0).sum(axis=1), member.sum(axis=1)), first, last)
    j = np.where(member, windows.j[row], -1)
    taken = (j[:, :, None] == np.arange(len(piece.holes))).sum(axis=1)
    flagged[windows.row[row[(taken > 1).any(axis=1)]]] = True
    holds = (((low <= r[:, None]) & (r[:, None] <= high)) == member).all(axis=1)
    row, r, member, taken, low, high = (v[holds] for v in (row, r, member, taken, low, high))
    stand = stood(skis, windows.row[row], r, piece, taken == 0, cap_um)
    fits = Fits(
        row=windows.row[row],
        r=r,
        low=np.maximum(stand.low, np.where(member, low, -FAR_UM).max(axis=1, initial=-FAR_UM)),
        high=np.minimum(stand.high, np.where(member, high, FAR_UM).min(axis=1, initial=FAR_UM)),
        # one bit for each hole of the piece: two fits that claim the same holes have the same number
        holes=((taken > 0) << np.arange(len(piece.holes))).sum(axis=1),
        reused=(taken > 0).sum(axis=1),
        opened=(member & windows.wood[row]).sum(axis=1),
        room=stand.room,
    ).only(stand.legal)
    flagged[_twice(fits, rule)] = True
    return fits, flagged


def _mean(total: Long, count: Long) -> Long:
    """Return the nearest whole number; a half is rounded away from zero."""
    size = (2 * np.abs(total) + count) // np.maximum(2 * count, 1)
    return np.sign(total) * size


def _windows(skis: SkiRows, piece: Piece, rule: Rule, flagged: Bools) -> _Windows:
    table = skis.table
    takes = [
        table.may_reuse(wanted) & (table.asked > 0) & (np.abs(table.y - wanted.y_um) <= rule.reuse_um)
        for wanted in piece.holes
    ]
    found = [np.nonzero(take) for take in takes]
    row = np.concatenate([rows for rows, _ in found])
    old = np.concatenate([columns for _, columns in found])
    j = np.repeat(np.arange(len(found)), [len(rows) for rows, _ in found])
    wanted_x = np.array([w.x_um for w in piece.holes])[j]
    wanted_y = np.array([w.y_um for w in piece.holes])[j]
    c = table.x[row, old].astype(np.int64) - wanted_x
    w = window_halves_um(table.y[row, old].astype(np.int64) - wanted_y, rule.reuse_um)
    same = np.array(takes)[j, row] if len(j) else np.zeros((0, table.x.shape[1]), np.bool_)
    low, high, doubtful = _left(skis, row, old, wanted_x, wanted_y, c, w, same, rule)
    flagged[row[doubtful]] = True
    kept = np.flatnonzero(low <= high)
    kept = kept[np.argsort(row[kept], kind="stable")]
    values = [v[kept] for v in (j, c, w, low, high, table.wood_size[row, old] > 0)]
    return _by_row(row[kept], values, flagged)


def _left(
    skis: SkiRows,
    row: Rows,
    old: Rows,
    wanted_x: Long,
    wanted_y: Long,
    c: Long,
    w: Long,
    same: Bools,
    rule: Rule,
) -> tuple[Long, Long, Bools]:
    """Return (low, high) of each window without the parts that other old holes forbid, and the doubtful
    windows.

    An old hole spoils the end of a window that it covers, or all of it; one that the same screw may go
    into instead, or that would leave two ends of a window, is doubtful.
    """
    table = skis.table
    half = forbidden_halves_um(table.y[row] - wanted_y[:, None], rule.reuse_spacing_um)
    others = (table.asked[row] > 0) & (half >= 0)
    others[np.arange(len(row)), old] = False
    away = table.x[row].astype(np.int64) - wanted_x[:, None] - c[:, None]
    at_low = others & (away - half <= -w[:, None]) & (away + half >= -w[:, None])
    at_high = others & (away - half <= w[:, None]) & (away + half >= w[:, None])
    low = c + np.maximum(-w, np.where(at_low, away + half + 1, -FAR_UM).max(axis=1, initial=-FAR_UM))
    high = c + np.minimum(w, np.where(at_high, away - half - 1, FAR_UM).min(axis=1, initial=FAR_UM))
    touches = others & (np.abs(away) <= half + w[:, None])
    inside = touches & ~at_low & ~at_high
    instead = same & (np.abs(away) <= 2 * rule.reuse_um)
    doubtful: Bools = (touches & (instead | inside)).any(axis=1)
    return low, high, doubtful


def _by_row(row: Rows, values: Sequence[Any], flagged: Bools) -> _Windows:
    """Return the rows that have windows, padded. A row with too many windows is flagged and left out."""
    rows, first, counts = np.unique(row, return_index=True, return_counts=True)
    many = counts > _MOST_WINDOWS
    flagged[rows[many]] = True
    rows, first, counts = rows[~many], first[~many], counts[~many]
    columns = np.arange(int(counts.max(initial=0)))
    there = columns < counts[:, None]
    at = np.where(there, first[:, None] + columns, 0)
    j, c, w, low, high, wood = (v[at] if len(row) else np.zeros(there.shape, v.dtype) for v in values)
    low, high = np.where(there, low, FAR_UM), np.where(there, high, -FAR_UM)
    return _Windows(rows, j, c, w, low, high, wood)


def _claims(windows: _Windows) -> tuple[Rows, Long]:
    """Return the different non-empty sets of windows that hold some r, as (row index, bits).

    A set begins where a window begins, or one beyond where one ends.
    """
    low, high = windows.low, windows.high
    points = np.concatenate([low, high + 1], axis=1)
    inside = (low[:, None, :] <= points[:, :, None]) & (points[:, :, None] <= high[:, None, :])
    bits = (inside.astype(np.int64) << np.arange(low.shape[1])).sum(axis=2)
    bits.sort(axis=1)
    fresh = bits > 0
    fresh[:, 1:] &= bits[:, 1:] != bits[:, :-1]
    row, at = np.nonzero(fresh)
    return row, bits[row, at]


def _twice(fits: Fits, rule: Rule) -> Rows:
    """Return the rows where the same screws could be reused at nearly one place in two ways."""
    order = np.lexsort((fits.r, fits.holes, fits.row))
    row, holes, r = fits.row[order], fits.holes[order], fits.r[order]
    near_by = (row[1:] == row[:-1]) & (holes[1:] == holes[:-1]) & (r[1:] - r[:-1] <= 2 * rule.reuse_um)
    found: Rows = row[1:][near_by]
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedStands(ByRow):
    """A piece in old holes on both skis of a pair, one row a stand. Without the sole: at = offset + end.

    ``hard_low`` to ``hard_high``: the ends that the travel reaches; ``fit_low`` to ``fit_high``: without
    force (low above high: the skis disagree). ``r_a``, ``r_b``: where it stands on each ski.
    """

    pair: Rows
    r_a: Long
    r_b: Long
    hard_low: Long
    hard_high: Long
    fit_low: Long
    fit_high: Long
    drilled: Long
    opened: Long
    room: Long


def fixed_stands(skis: SkiRows, piece: Piece, rule: Rule, cap_um: int) -> tuple[FixedStands, Bools]:
    """Return the stands of all pairs, in order of pairs, and the flagged pairs."""
    fits, flagged_rows = fits_of(skis, piece, rule, cap_um)
    flagged = skis.pairs_with(flagged_rows)
    pair, a, b = _meetings(skis, fits)
    fa, fb = fits.only(a), fits.only(b)
    low, high = np.maximum(fa.low, fb.low), np.minimum(fa.high, fb.high)
    first, last = np.minimum(fa.r, fb.r), np.maximum(fa.r, fb.r)
    kept = (last - first <= rule.pair_difference_um) & (low <= high)
    back, forward = piece.back_um, piece.forward_um
    stands = FixedStands(
        pair=pair,
        r_a=fa.r,
        r_b=fb.r,
        hard_low=np.maximum(low - back, last - back - rule.reuse_um),
        hard_high=np.minimum(high + forward, first + forward + rule.reuse_um),
        fit_low=last - back,
        fit_high=first + forward,
        drilled=2 * len(piece.holes) - fa.reused - fb.reused,
        opened=fa.opened + fb.opened,
        room=np.minimum(fa.room, fb.room),
    ).only(kept)
    flagged |= _one_sided(skis, fits, piece)
    return stands.only(stands.room >= 0), flagged


def _meetings(skis: SkiRows, fits: Fits) -> tuple[Rows, Rows, Rows]:
    """Return (pair, fit of ski A, fit of ski B) for every two fits on one pair's skis."""
    pair, a = joined(fits.row, skis.of[Side.A])
    again, b = joined(fits.row, skis.of[Side.B][pair])
    return pair[again], a[again], b


def _one_sided(skis: SkiRows, fits: Fits, piece: Piece) -> Bools:
    """Return the pairs that might reuse on one ski and drill all of the piece on the other."""
    found = np.zeros(len(skis.of[Side.A]), np.bool_)
    for own, other in ((Side.A, Side.B), (Side.B, Side.A)):
        differ = np.flatnonzero(skis.of[own] != skis.of[other])
        pair, fit = joined(fits.row, skis.of[own][differ])
        pair = differ[pair]
        blocked = covered(skis, skis.of[other][pair], fits.low[fit], fits.high[fit], piece)
        found[pair[~blocked]] = True
    return found
