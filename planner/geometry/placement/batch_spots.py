"""One piece at given places on given skis: is it legal, how far can it move, its room. Exact."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.patterns import PatternHole, Piece
from fleet.facts.spacing import forbidden_halves_um, roots, sighted, too_near
from planner.geometry.placement.hole_table import FAR_UM, Bools, HoleTable, Rows, SkiRows

Long = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stood:
    """``legal``: every drilled hole, exactly where it is; ``low`` to ``high``: where all that stays so.

    ``room``: capped, of the drilled holes; -1 where one is not legal, exact or as it would be printed.
    """

    legal: Bools
    low: Long
    high: Long
    room: Long


def half_widths(table: HoleTable, rows: Rows | slice, y_um: int) -> Long:
    """Return (skis, holes): the half width (µm of x) that each old hole forbids to a hole at this y; -1 for
    none.
    """
    return forbidden_halves_um(table.y[rows] - np.int32(y_um), table.asked[rows].astype(np.int64))


def stood(skis: SkiRows, rows: Rows, r_um: Long, piece: Piece, drilled: Bools, cap_um: int) -> Stood:
    """Return the piece at ``r_um`` (places,) on ski ``rows`` (places,), drilling ``drilled`` (places,
    holes).
    """
    table, count = skis.table, len(rows)
    legal, printed = np.ones(count, np.bool_), np.ones(count, np.bool_)
    low, high = np.full(count, -FAR_UM, np.int64), np.full(count, FAR_UM, np.int64)
    room = np.full(count, cap_um, np.int64)
    for j, wanted in enumerate(piece.holes):
        here = np.flatnonzero(drilled[:, j])
        ski, r = rows[here], r_um[here]
        x, asked = table.x[ski].astype(np.int64), table.asked[ski].astype(np.int64)
        shift, place = skis.shift[ski].astype(np.int64), r + wanted.x_um
        half = half_widths(table, ski, wanted.y_um)
        away = place[:, None] - x
        met = half >= 0
        inside, first, last = _on_ground(table, ski, wanted, place)
        legal[here] &= inside & ~(met & (np.abs(away) <= half)).any(axis=1)
        c = r[:, None] - away
        before = np.where(met & (away > half), c + half + 1, -FAR_UM).max(axis=1)
        after = np.where(met & (-away > half), c - half - 1, FAR_UM).min(axis=1)
        low[here] = np.maximum(low[here], np.maximum(before, first - wanted.x_um))
        high[here] = np.minimum(high[here], np.minimum(after, last - wanted.x_um))
        across = sighted(table.y[ski].astype(np.int64) - wanted.y_um)
        beside = roots(sighted(away) ** 2 + across**2) - asked
        room[here] = np.minimum(room[here], np.where(asked > 0, beside, cap_um).min(axis=1))
        as_printed = to_half(place + shift) - shift
        met_printed = (asked > 0) & too_near(sighted(as_printed[:, None] - x), across, asked)
        printed[here] &= _on_ground(table, ski, wanted, as_printed)[0] & ~met_printed.any(axis=1)
    return Stood(legal=legal, low=low, high=high, room=np.where(legal & printed, room, -1))


def joined(values: Rows, wanted: Rows) -> tuple[Rows, Rows]:
    """Return (place in ``wanted``, place in ``values``) of all that are equal; ``values`` are sorted."""
    first, last = (np.searchsorted(values, wanted, side=side) for side in ("left", "right"))
    counts = last - first
    of_wanted = np.repeat(np.arange(len(wanted)), counts)
    return of_wanted, np.arange(len(of_wanted)) + np.repeat(last - np.cumsum(counts), counts)


def to_half(values_um: Long) -> Long:
    """Return `fleet.base.units.to_half_mm` of an array: ties are rounded away from zero."""
    steps = (np.abs(values_um) + BENCH_STEP_UM // 2) // BENCH_STEP_UM * BENCH_STEP_UM
    found: Long = np.sign(values_um) * steps
    return found


def _on_ground(table: HoleTable, rows: Rows, wanted: PatternHole, place_um: Long) -> tuple[Bools, Long, Long]:
    """Return True where zone and areas allow the hole, and the range of x in which that stays so."""
    ranges = table.ground[rows].astype(np.int64)
    within = (ranges[:, :, 0] <= place_um[:, None]) & (place_um[:, None] <= ranges[:, :, 1])
    within &= (abs(wanted.y_um) <= table.half_width[rows])[:, None]
    first = np.where(within, ranges[:, :, 0], -FAR_UM).max(axis=1)
    last = np.where(within, ranges[:, :, 1], FAR_UM).min(axis=1)
    inside: Bools = np.logical_or.reduce(within, axis=1)
    return inside, first, last


def covered(skis: SkiRows, rows: Rows, low_um: Long, high_um: Long, piece: Piece) -> Bools:
    """Return True where one old hole, or the ground, forbids the whole range to the piece drilled whole."""
    table = skis.table
    found = np.zeros(len(rows), np.bool_)
    for wanted in piece.holes:
        half = half_widths(table, rows, wanted.y_um)
        c = table.x[rows].astype(np.int64) - wanted.x_um
        found |= ((half >= 0) & (c - half <= low_um[:, None]) & (c + half >= high_um[:, None])).any(axis=1)
        ranges = table.ground[rows].astype(np.int64) - wanted.x_um
        touched = (ranges[:, :, 0] <= high_um[:, None]) & (ranges[:, :, 1] >= low_um[:, None])
        found |= ~touched.any(axis=1) | (abs(wanted.y_um) > table.half_width[rows])
    return found
