"""One piece at given places on given skis: legal or not, how far it could move, and its room. Exact."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.patterns import PatternHole, Piece
from fleet.facts.spacing import forbidden_halves_um, roots, sighted, too_near
from planner.geometry.placement.hole_table import FAR_UM, Bools, HoleTable
from planner.geometry.placement.pair_tables import Rows, SkiRows

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
    """(skis, holes): a drilled hole at this y is forbidden within so much of each old hole's x; -1: never."""
    return forbidden_halves_um(table.y[rows] - np.int32(y_um), table.asked[rows].astype(np.int64))


def stood(skis: SkiRows, rows: Rows, r_um: Long, piece: Piece, drilled: Bools, cap_um: int) -> Stood:
    """The piece at ``r_um`` (places,) on ski ``rows`` (places,), drilling ``drilled`` (places, holes)."""
    table = skis.table
    count = len(rows)
    legal: Bools = np.ones(count, np.bool_)
    printed: Bools = np.ones(count, np.bool_)
    low = np.full(count, -FAR_UM, np.int64)
    high = np.full(count, FAR_UM, np.int64)
    room = np.full(count, cap_um, np.int64)
    x = table.x[rows].astype(np.int64)
    asked = table.asked[rows].astype(np.int64)
    shift = skis.shift[rows].astype(np.int64)
    for j, wanted in enumerate(piece.holes):
        here = drilled[:, j]
        place = r_um + wanted.x_um
        half = half_widths(table, rows, wanted.y_um)
        away = place[:, None] - x
        met = (half >= 0) & here[:, None]
        legal &= ~(met & (np.abs(away) <= half)).any(axis=1)
        c = r_um[:, None] - away
        low = np.maximum(low, np.where(met & (away > half), c + half + 1, -FAR_UM).max(axis=1))
        high = np.minimum(high, np.where(met & (-away > half), c - half - 1, FAR_UM).min(axis=1))
        inside, first, last = _on_ground(table, rows, wanted, place)
        legal &= inside | ~here
        low = np.where(here, np.maximum(low, first - wanted.x_um), low)
        high = np.where(here, np.minimum(high, last - wanted.x_um), high)
        across = sighted(table.y[rows].astype(np.int64) - wanted.y_um)
        beside = roots(sighted(away) ** 2 + across**2) - asked
        least = np.where((asked > 0) & here[:, None], beside, cap_um).min(axis=1)
        room = np.minimum(room, least)
        as_printed = to_half(place + shift) - shift
        met_printed = (asked > 0) & too_near(sighted(as_printed[:, None] - x), across, asked)
        printed &= _on_ground(table, rows, wanted, as_printed)[0] | ~here
        printed &= ~(met_printed.any(axis=1) & here)
    return Stood(legal=legal, low=low, high=high, room=np.where(legal & printed, room, -1))


def to_half(values_um: Long) -> Long:
    """`fleet.base.units.to_half_mm`: ties go away from zero."""
    steps = (np.abs(values_um) + BENCH_STEP_UM // 2) // BENCH_STEP_UM * BENCH_STEP_UM
    found: Long = np.sign(values_um) * steps
    return found


def _on_ground(table: HoleTable, rows: Rows, wanted: PatternHole, place_um: Long) -> tuple[Bools, Long, Long]:
    """Whether the hole may be drilled there by zone and areas, and the range of x that it lies in."""
    ranges = table.ground[rows].astype(np.int64)
    within = (ranges[:, :, 0] <= place_um[:, None]) & (place_um[:, None] <= ranges[:, :, 1])
    within &= (abs(wanted.y_um) <= table.half_width[rows])[:, None]
    first = np.where(within, ranges[:, :, 0], -FAR_UM).max(axis=1)
    last = np.where(within, ranges[:, :, 1], FAR_UM).min(axis=1)
    inside: Bools = np.logical_or.reduce(within, axis=1)
    return inside, first, last


def covered(skis: SkiRows, rows: Rows, low_um: Long, high_um: Long, piece: Piece) -> Bools:
    """Whether one single old hole, or the ground, forbids all of the range to the piece drilled whole."""
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
