"""Where a piece may be drilled anew on both skis of many pairs: its room at every half millimetre.

On this grid the printed numbers are the exact ones, and beside it nothing is legal that the grid does not
hold: a place is printed as the nearest one of the grid, which then is forbidden. (Not so where a forbidden
range slips between two places of the grid; pairs with one are flagged.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.holes import Side
from fleet.patterns import Piece
from fleet.units import BENCH_STEP_UM
from planner.placement.batch_spots import Long, half_widths, near, stood
from planner.placement.hole_table import Bools, Ints
from planner.placement.pair_tables import Rows, SkiRows


@dataclass(frozen=True, slots=True, kw_only=True)
class Rooms:
    """``room`` (pairs, places): capped, -1 not legal; place k stands for r = (start + k) half millimetres.

    ``best`` (pairs, ends): the most room that the travel leaves the piece at each end of the boot, by the
    same count from ``start_at``; ``short``: for an end between two of them (by the one below), None
    without travel.
    """

    start: int
    room: Ints
    start_at: int
    best: Ints
    short: Ints | None


def rooms_of(skis: SkiRows, piece: Piece, first_at: int, last_at: int, cap_um: int) -> tuple[Rooms, Bools]:
    """The rooms for ends of the boot from ``first_at`` to ``last_at`` half millimetres, and flagged pairs."""
    back, forward = piece.travel_back_um // BENCH_STEP_UM, piece.travel_forward_um // BENCH_STEP_UM
    start, count = first_at - forward, last_at - first_at + 1 + forward + back
    table, flagged = _table(skis, piece, start, count, cap_um)
    room = np.minimum(table[skis.of[Side.A]], table[skis.of[Side.B]])
    straddles = _straddling(skis, piece, start, count, cap_um, room)
    wide = forward + back + 1
    return Rooms(
        start=start,
        room=room,
        start_at=first_at,
        best=sliding_most(room, wide),
        short=sliding_most(room, wide - 1)[:, 1:] if wide > 1 else None,
    ), skis.pairs_with(flagged) | straddles


def sliding_most(values: Ints, wide: int) -> Ints:
    """(rows, columns - wide + 1): the largest of each ``wide`` neighbours, by doubling."""
    most, have = values, 1
    while 2 * have <= wide:
        most = np.maximum(most[:, :-have], most[:, have:])
        have *= 2
    rest = wide - have
    return np.maximum(most[:, : most.shape[1] - rest], most[:, rest:]) if rest else most


def _table(skis: SkiRows, piece: Piece, start: int, count: int, cap_um: int) -> tuple[Ints, Bools]:
    """(rows, places) for each ski by itself, and the flagged rows."""
    table = skis.table
    moved = [hole.x_um // BENCH_STEP_UM for hole in piece.holes]
    low, span = start + min(moved), count + max(moved) - min(moved)
    flagged = np.zeros(table.skis, np.bool_)
    lines = {}
    for y_um in sorted({hole.y_um for hole in piece.holes}):
        lines[y_um] = _line(skis, y_um, low, span, cap_um)
        half = half_widths(table, slice(None), y_um)
        inside = (table.x + half) // BENCH_STEP_UM * BENCH_STEP_UM >= table.x - half
        flagged |= ((half >= 0) & ~inside).any(axis=1)
    ranges = table.ground.astype(np.int64)
    gap = np.sort(ranges[:, :, 0], axis=1)[:, 1:] - np.sort(ranges[:, :, 1], axis=1)[:, :-1]
    flagged |= ((gap > 0) & (gap <= BENCH_STEP_UM)).any(axis=1)
    found = np.full((table.skis, count), cap_um, np.int32)
    for hole, steps in zip(piece.holes, moved, strict=True):
        at = start + steps - low
        np.minimum(found, lines[hole.y_um][:, at : at + count], out=found)
    found[found < 0] = -1
    return found, flagged


def _line(skis: SkiRows, y_um: int, low: int, span: int, cap_um: int) -> Ints:
    """(rows, span): the room of one hole at this y along the ski; below 0 where it is not legal."""
    table = skis.table
    reach_um = int(table.asked.max(initial=0)) + cap_um
    wide = 2 * (reach_um // BENCH_STEP_UM) + 2
    found = np.full((table.skis, span + 2 * wide), cap_um, np.int32)
    across = near(table.y - np.int32(y_um))
    counts = (table.asked > 0) & (np.abs(across) < table.asked + cap_um)
    counts &= (table.x > low * BENCH_STEP_UM - reach_um) & (table.x < (low + span) * BENCH_STEP_UM + reach_um)
    row, old = np.nonzero(counts)
    turn = np.arange(len(row)) - np.searchsorted(row, row)
    steps = np.arange(wide)
    for k in range(int(turn.max(initial=-1)) + 1):
        some = turn == k
        r, o = row[some], old[some]
        first = -((reach_um - table.x[r, o]) // BENCH_STEP_UM)
        away = (first * BENCH_STEP_UM - table.x[r, o])[:, None] + steps * BENCH_STEP_UM
        square = (away * away).astype(np.float64)
        square += (across[r, o] ** 2)[:, None]
        room = np.sqrt(square).astype(np.int32) - table.asked[r, o][:, None]
        at = (first - low + wide)[:, None] + steps
        found[r[:, None], at] = np.minimum(found[r[:, None], at], room)
    found = found[:, wide : wide + span]
    x = (low + np.arange(span)) * BENCH_STEP_UM
    inside = np.zeros(found.shape, np.bool_)
    for k in range(table.ground.shape[1]):
        inside |= (table.ground[:, k, :1] <= x) & (x <= table.ground[:, k, 1:])
    inside &= (abs(y_um) <= table.half_width)[:, None]
    found[~inside] = -1
    return found


def _straddling(skis: SkiRows, piece: Piece, start: int, count: int, cap_um: int, room: Ints) -> Bools:
    """Pairs where a piece on both sides of the mark is legal midway between two places of the grid only.

    Printed numbers round away from the mark, so that such a piece would be printed with its holes apart.
    """
    found = np.zeros(len(room), np.bool_)
    xs = [hole.x_um for hole in piece.holes]
    far = int(np.abs(skis.shift).max(initial=0)) + BENCH_STEP_UM
    low, high = start * BENCH_STEP_UM + min(xs), (start + count) * BENCH_STEP_UM + max(xs)
    if low - far > 0 or high + far < 0:
        return found
    whole = np.ones((1, len(piece.holes)), np.bool_)
    for side in Side:
        rows = skis.of[side]
        table = skis.table
        for wanted in piece.holes:
            half = half_widths(table, rows, wanted.y_um)
            c = table.x[rows].astype(np.int64) - wanted.x_um
            edge = np.concatenate([c + half + 1, c - half - 1], axis=1)
            midway = np.concatenate([half >= 0] * 2, axis=1) & (edge % BENCH_STEP_UM == BENCH_STEP_UM // 2)
            pair, at = np.nonzero(midway)
            place = edge[pair, at]
            k = place // BENCH_STEP_UM - start
            kept = (k >= 0) & (k + 1 < count)
            pair, place, k = pair[kept], place[kept], k[kept]
            alone = (room[pair, k] < 0) & (room[pair, k + 1] < 0)
            pair, place = pair[alone], place[alone]
            stand = stood(skis, rows[pair], place, piece, np.repeat(whole, len(pair), axis=0), cap_um)
            found[pair[stand.legal]] = True
    return found


def other_runs(rooms: Rooms, piece: Piece, pair: Rows, tried_at: Long, at: Long) -> Long:
    """The most room at ends ``at`` for stretches of the ski that ``tried_at`` does not reach; -1 for none.

    Ends in half millimetres. What is tried first is taken by every stretch that it reaches, so that only
    the others are left to try the next.
    """
    back, forward = piece.travel_back_um // BENCH_STEP_UM, piece.travel_forward_um // BENCH_STEP_UM
    ahead = at > tried_at
    edge = np.where(ahead, tried_at + back, tried_at - forward)
    way = np.where(ahead, 1, -1)
    steps = np.arange(int(np.abs(at - tried_at).max(initial=0)) + 1)
    r = edge[:, None] + way[:, None] * steps
    room = rooms.room[pair[:, None], np.clip(r - rooms.start, 0, rooms.room.shape[1] - 1)]
    same = np.logical_and.accumulate(room >= 0, axis=1)
    reached = (at[:, None] - forward <= r) & (r <= at[:, None] + back)
    most: Long = np.where(reached & ~same & (steps > 0), room, -1).max(axis=1, initial=-1)
    return most
