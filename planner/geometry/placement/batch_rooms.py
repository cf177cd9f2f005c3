"""The room of a piece drilled anew on both skis of many pairs, at every half millimetre.

On this grid the printed numbers are the exact ones, and beside it nothing is legal that the grid does not
hold: a place is printed as the nearest one of the grid, which then is forbidden. (Not so where a forbidden
range slips between two places of the grid; pairs with one are flagged.)
"""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.holes import Side
from fleet.facts.patterns import Piece
from fleet.facts.spacing import roots, sighted
from planner.geometry.placement.hole_table import Bools, Ints, Long, Rows, SkiRows, half_widths, joined, stood

FAR_SQUARE = np.iinfo(np.int32).max
"""The square of a distance beyond reach: 46 mm, more than any hole asks with all the room that counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRooms:
    """Rooms in micrometres. ``room`` (pairs, places): capped, -1 not legal; place k means r = (start + k)
    half millimetres.

    ``best`` (pairs, ends): the most room that the travel leaves the piece at each end of the boot, by the
    same count from ``start_at``; ``short``: for an end between two of them (by the one below), None
    without travel.
    """

    start: int
    room: Ints
    start_at: int
    best: Ints
    short: Ints | None


def rooms_of(
    skis: SkiRows, piece: Piece, first_at: int, last_at: int, cap_um: int
) -> tuple[BatchRooms, Bools]:
    """Return the rooms for boot ends from ``first_at`` to ``last_at`` half millimetres, and the flagged
    pairs.
    """
    back, forward = piece.back_um // BENCH_STEP_UM, piece.forward_um // BENCH_STEP_UM
    start, count = first_at - forward, last_at - first_at + 1 + forward + back
    table, flagged = _table(skis, piece, start, count, cap_um)
    room = np.minimum(table[skis.of[Side.A]], table[skis.of[Side.B]])
    apart = _printed_apart(skis, piece, start, count, cap_um, room)
    wide = forward + back + 1
    return BatchRooms(
        start=start,
        room=room,
        start_at=first_at,
        best=sliding_most(room, wide),
        short=sliding_most(room, wide - 1)[:, 1:] if wide > 1 else None,
    ), skis.pairs_with(flagged) | apart


def sliding_most(values: Ints, wide: int) -> Ints:
    """Return the largest of each ``wide`` neighbours, (rows, columns - wide + 1), by doubling."""
    # largest of 1, 2, 4 ... neighbours; at last two windows that overlap cover `wide`
    most, have = values, 1
    while 2 * have <= wide:
        most = np.maximum(most[:, :-have], most[:, have:])
        have *= 2
    rest = wide - have
    return np.maximum(most[:, : most.shape[1] - rest], most[:, rest:]) if rest else most


def _table(skis: SkiRows, piece: Piece, start: int, count: int, cap_um: int) -> tuple[Ints, Bools]:
    """Return the rooms (rows, places) of each ski by itself, and the flagged rows."""
    table = skis.table
    flagged = np.zeros(table.skis, np.bool_)
    for y_um in sorted({hole.y_um for hole in piece.holes}):
        half = half_widths(table, slice(None), y_um)
        inside = (table.x + half) // BENCH_STEP_UM * BENCH_STEP_UM >= table.x - half
        flagged |= ((half >= 0) & ~inside).any(axis=1)
    ranges = table.ground.astype(np.int64)
    gap = np.sort(ranges[:, :, 0], axis=1)[:, 1:] - np.sort(ranges[:, :, 1], axis=1)[:, :-1]
    flagged |= ((gap > 0) & (gap <= BENCH_STEP_UM)).any(axis=1)
    whole = _on_ground(skis, piece, start, count)
    drillable: Bools = np.logical_or.reduce(whole, axis=1)
    found = np.full((table.skis, count), cap_um, np.int32)
    for asked in np.unique(table.asked[table.asked > 0]):
        rows, squares = _nearest(skis, piece, start, count, drillable, int(asked), cap_um)
        room = roots(squares) - asked
        found[rows] = np.minimum(found[rows], room)
    found[(found < 0) | ~whole] = -1
    return found, flagged


def _nearest(
    skis: SkiRows, piece: Piece, start: int, count: int, chosen: Bools, asked_um: int, cap_um: int
) -> tuple[Rows, Ints]:
    """(rows, squares (rows, places)): squared distance of the piece's nearest old hole that asks so much.

    Only the ``chosen`` rows that have one; `FAR_SQUARE` where there is none within reach.
    """
    table, reach_um = skis.table, asked_um + cap_um
    alike = (table.asked == asked_um) & chosen[:, None]
    rows = np.flatnonzero(alike.any(axis=1))
    if not len(rows):
        return rows, np.zeros((0, count), np.int32)
    x, alike = table.x[rows], alike[rows]
    moved = [hole.x_um // BENCH_STEP_UM for hole in piece.holes]
    low, span = start + min(moved), count + max(moved) - min(moved)
    found = np.full((len(rows), count), FAR_SQUARE, np.int32)
    inside = alike & (x > low * BENCH_STEP_UM - reach_um) & (x < (low + span) * BENCH_STEP_UM + reach_um)
    for y_um in sorted({hole.y_um for hole in piece.holes}):
        across = sighted(table.y[rows] - np.int32(y_um))
        row, old = np.nonzero(inside & (np.abs(across) < reach_um))
        line = _line(row, x[row, old], across[row, old], len(rows), low, span, reach_um)
        for hole, steps in zip(piece.holes, moved, strict=True):
            if hole.y_um == y_um:
                at = start + steps - low
                np.minimum(found, line[:, at : at + count], out=found)
    return rows, found


def _line(row: Rows, x_um: Ints, across_um: Ints, rows: int, low: int, span: int, reach_um: int) -> Ints:
    """(rows, span): squared distance from each place along one line to the nearest of a row's holes.

    ``row`` is sorted. One hole of each row at a time: its squares are laid over those before it.
    """
    wide = 2 * (reach_um // BENCH_STEP_UM) + 2
    squares = np.full((rows, span + 2 * wide), FAR_SQUARE, np.int32)
    windows = sliding_window_view(squares.reshape(-1), wide, writeable=True)
    turn = np.arange(len(row)) - np.searchsorted(row, row)
    steps = (np.arange(wide) * BENCH_STEP_UM).astype(np.int32)
    begin = -((reach_um - x_um) // BENCH_STEP_UM)
    at = row * squares.shape[1] + begin - low + wide
    away = begin * BENCH_STEP_UM - x_um
    beyond = across_um * across_um
    for k in range(int(turn.max(initial=-1)) + 1):
        some = np.flatnonzero(turn == k)
        square = away[some, None] + steps
        square *= square
        square += beyond[some, None]
        windows[at[some]] = np.minimum(windows[at[some]], square)
    return squares[:, wide : wide + span]


def _on_ground(skis: SkiRows, piece: Piece, start: int, count: int) -> Bools:
    """Return (rows, places): True where zone and areas allow every hole of the piece."""
    table = skis.table
    x = ((start + np.arange(count)) * BENCH_STEP_UM).astype(np.int32)
    xs = [hole.x_um for hole in piece.holes]
    first, last = table.ground[:, :, 0], table.ground[:, :, 1]
    whole = np.zeros((table.skis, count), np.bool_)
    for k in range(first.shape[1]):
        whole |= (first[:, k, None] - min(xs) <= x) & (x <= last[:, k, None] - max(xs))
    several = np.flatnonzero((first <= last).sum(axis=1) > 1)
    apart = np.ones((len(several), count), np.bool_)
    for hole in piece.holes:
        inside = (first[several, :, None] - hole.x_um <= x) & (x <= last[several, :, None] - hole.x_um)
        apart &= np.logical_or.reduce(inside, axis=1)
    whole[several] = apart
    whole[table.half_width < max(abs(hole.y_um) for hole in piece.holes)] = False
    return whole


def _printed_apart(skis: SkiRows, piece: Piece, start: int, count: int, cap_um: int, room: Ints) -> Bools:
    """Return the pairs where a piece is legal midway between two places of the grid of which one is not.

    Printed numbers round away from the mark: there a piece on both sides of it would be printed with its
    holes apart, and a toe and a heel apart from each other.
    """
    found = np.zeros(len(room), np.bool_)
    row, place = _midway(skis, piece, start, count)
    order = np.argsort(row)
    for side in Side:
        pair, at = joined(row[order], skis.of[side])
        r = place[order][at]
        k = r // BENCH_STEP_UM - start
        beside = (room[pair, k] < 0) | (room[pair, k + 1] < 0)
        pair, r = pair[beside], r[beside]
        whole = np.ones((len(pair), len(piece.holes)), np.bool_)
        found[pair[stood(skis, skis.of[side][pair], r, piece, whole, cap_um).legal]] = True
    return found


def _midway(skis: SkiRows, piece: Piece, start: int, count: int) -> tuple[Rows, Long]:
    """Return (row, r) for places midway between two of the grid that a forbidden range leaves free."""
    table = skis.table
    rows, places = [], []
    for wanted in piece.holes:
        half = half_widths(table, slice(None), wanted.y_um)
        c = table.x.astype(np.int64) - wanted.x_um
        for edge in (c + half + 1, c - half - 1):
            row, old = np.nonzero((half >= 0) & (edge % BENCH_STEP_UM == BENCH_STEP_UM // 2))
            rows.append(row)
            places.append(edge[row, old])
    row, place = np.concatenate(rows), np.concatenate(places)
    k = place // BENCH_STEP_UM - start
    kept = (k >= 0) & (k + 1 < count)
    return row[kept], place[kept]


def other_runs(rooms: BatchRooms, piece: Piece, pair: Rows, tried_at: Long, at: Long) -> Long:
    """Return the most room at ends ``at`` for stretches that ``tried_at`` does not reach; -1 for none.

    Ends in half millimetres. What is tried first is taken by every stretch that it reaches, so that only
    the others are left to try the next.
    """
    back, forward = piece.back_um // BENCH_STEP_UM, piece.forward_um // BENCH_STEP_UM
    ahead = at > tried_at
    edge = np.where(ahead, tried_at + back, tried_at - forward)
    way = np.where(ahead, 1, -1)
    steps = np.arange(int(np.abs(at - tried_at).max(initial=0)) + 1)
    r = edge[:, None] + way[:, None] * steps
    room = rooms.room[pair[:, None], np.clip(r - rooms.start, 0, rooms.room.shape[1] - 1)]
    same = np.logical_and.accumulate(room >= 0, axis=1)
    reached = (at[:, None] - forward <= r) & (r <= at[:, None] + back)
    most: Long = np.where(reached & ~same & (steps > 0), room, -1).max(axis=1)
    return most
