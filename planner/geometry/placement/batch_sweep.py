"""The sweep of `sweep`, for many skis at once: forbidden ranges of r as padded arrays, exact."""

from __future__ import annotations

import numpy as np

from fleet.facts.patterns import Piece
from fleet.facts.spacing import forbidden_halves_um, sighted, window_halves_um
from planner.geometry.placement.hole_table import FAR_UM, Bools, HoleTable, Ints

_CODES = 8
"""An event is one number, place * 8 + kind, so that one sort brings places and kinds into order."""
_OFFSET = 1 << 20
"""Added to each place, so that it is above 0 and // and % take the number apart again."""


def forbidden(table: HoleTable, piece: Piece, low_um: int, high_um: int) -> tuple[Ints, Ints]:
    """Return closed forbidden ranges of r, (skis, slots), µm; unused slots hold FAR_UM.

    Exact for every r between low and high. Skis on which each pair of an old and a wanted hole can be
    judged by itself take the short way; the others (edges, areas, holes so near each other that a reuse
    meets another hole's allowance) count the ranges over each place.
    """
    reach_um = max(int(table.asked.max(initial=0)), table.reuse_spacing_um)
    first = low_um + min(hole.x_um for hole in piece.holes)
    last = high_um + max(hole.x_um for hole in piece.holes)
    table = table.between(first - reach_um, last + reach_um)
    careful = _careful(table, piece, first, last)
    if not careful.any():
        return _pairwise(table, piece)
    if careful.all():
        return _counted(table, piece)
    plain_rows, careful_rows = np.flatnonzero(~careful), np.flatnonzero(careful)
    plain = _pairwise(table.rows(plain_rows), piece)
    counted = _counted(table.rows(careful_rows), piece)
    slots = max(plain[0].shape[1], counted[0].shape[1])
    starts = np.full((table.skis, slots), FAR_UM, np.int32)
    ends = starts.copy()
    for rows, (some_starts, some_ends) in ((plain_rows, plain), (careful_rows, counted)):
        starts[rows, : some_starts.shape[1]] = some_starts
        ends[rows, : some_ends.shape[1]] = some_ends
    return starts, ends


def _careful(table: HoleTable, piece: Piece, first_um: int, last_um: int) -> Bools:
    """Return the skis for which the short way is not exact; new holes could lie from first to last."""
    farthest = max(abs(hole.y_um) for hole in piece.holes)
    bounded = (table.widest[:, 0] > first_um) | (table.widest[:, 1] < last_um)
    return bounded | (table.half_width < farthest) | _crowded(table)


def _crowded(table: HoleTable) -> Bools:
    """Return True where a screw in one old hole may be nearer to another than a new hole, or may not."""
    crowded = np.zeros(table.skis, np.bool_)
    allowing = (table.asked > 0) & (table.asked != table.reuse_spacing_um)
    if not allowing.any():
        return crowded
    reusable = (table.wood_size > 0) | (table.thread > 0)
    outer_square = (np.maximum(table.asked, table.reuse_spacing_um) + table.reuse_um) ** 2
    inner_square = (np.minimum(table.asked, table.reuse_spacing_um) - table.reuse_um) ** 2
    for column in range(table.x.shape[1]):
        along = sighted(table.x - table.x[:, column, None])
        across = sighted(table.y - table.y[:, column, None])
        square = along * along + across * across
        near = allowing & (square >= inner_square) & (square <= outer_square)
        crowded |= (near & reusable[:, column, None]).any(axis=1)
    return crowded


def _pairwise(table: HoleTable, piece: Piece) -> tuple[Ints, Ints]:
    """For each pair of holes c ± isqrt(D² - dy² - 1), with the reuse window cut out of it."""
    skis, holes = table.x.shape
    starts = np.empty((skis, len(piece.holes), 2, holes), np.int32)
    ends = np.empty_like(starts)
    takes = {hole.diameter_um: table.may_reuse(hole) for hole in piece.holes}
    for j, wanted in enumerate(piece.holes):
        across = table.y - np.int32(wanted.y_um)
        half = forbidden_halves_um(across, table.asked)
        c = np.where(half >= 0, table.x - np.int32(wanted.x_um), FAR_UM)
        half = np.maximum(half, 0)
        window = np.where(takes[wanted.diameter_um], window_halves_um(across, table.reuse_um), -1)
        np.subtract(c, half, out=starts[:, j, 0])
        np.subtract(c, window + 1, out=ends[:, j, 0])
        np.add(c, window + 1, out=starts[:, j, 1])
        np.add(c, half, out=ends[:, j, 1])
    return starts.reshape(skis, -1), ends.reshape(skis, -1)


def _counted(table: HoleTable, piece: Piece) -> tuple[Ints, Ints]:
    """For each wanted hole the ranges counted over every place: a screw that goes into an old hole needs no
    ground and no allowance, and keeps the spacing for reuse from every other.
    """
    each = [_counted_hole(table, piece, j) for j in range(len(piece.holes))]
    return np.concatenate([s for s, _ in each], axis=1), np.concatenate([e for _, e in each], axis=1)


def _counted_hole(table: HoleTable, piece: Piece, j: int) -> tuple[Ints, Ints]:
    wanted = piece.holes[j]
    skis, holes = table.x.shape
    c = table.x - np.int32(wanted.x_um)
    across = table.y - np.int32(wanted.y_um)
    real = table.asked > 0
    ring = forbidden_halves_um(across, table.asked)
    near = forbidden_halves_um(across, table.reuse_spacing_um)
    window = window_halves_um(across, table.reuse_um)
    # three counts in one number, so that one sum carries all: rings and ground that forbid a new hole, old
    # holes too near for a screw in another, windows in which the screw goes into an old hole
    base = holes + 3
    weights = np.array([1, -1, base, -base, base**2, -(base**2), 0, 0], np.int32)
    events = [
        *_opened_closed(c, ring, real & (ring >= 0), 0),
        *_opened_closed(c, near, real & (near >= 0), 2),
        *_opened_closed(c, window, real & (window >= 0) & table.may_reuse(wanted), 4),
        _off_ground(table, wanted.x_um, abs(wanted.y_um)),
    ]
    keys = np.sort(np.concatenate(events, axis=1), axis=1)
    depth = np.cumsum(weights[keys % _CODES], axis=1, dtype=np.int32)
    places = keys // _CODES - _OFFSET
    after = np.concatenate([places[:, 1:], np.full((skis, 1), FAR_UM + 1, np.int32)], axis=1)
    solid = after > places  # the last event at its place; others are passed through
    rings, nears, windows = depth % base, depth // base % base, depth // base**2
    # each hole that the screw goes into is near itself
    return _runs(places, after, np.where(windows > 0, nears > windows, rings > 0) & solid)


def _opened_closed(c: Ints, half: Ints, used: Bools, code: int) -> list[Ints]:
    opened = np.where(used, (c - half + _OFFSET) * _CODES + code, _idle())
    closed = np.where(used, (c + half + 1 + _OFFSET) * _CODES + code + 1, _idle())
    return [opened.astype(np.int32), closed.astype(np.int32)]


def _idle() -> int:
    """Return an event at FAR_UM without weight."""
    return (FAR_UM + _OFFSET) * _CODES + 6


def _off_ground(table: HoleTable, x_um: int, y_um: int) -> Ints:
    """Plus one everywhere, minus one over each drillable range."""
    low = np.maximum(table.ground[:, :, 0] - np.int32(x_um), -FAR_UM)
    high = np.minimum(table.ground[:, :, 1] - np.int32(x_um), FAR_UM - 1)
    used = (low <= high) & (table.half_width >= y_um)[:, None]
    everywhere = np.full((table.skis, 1), (_OFFSET - FAR_UM) * _CODES, np.int32)
    left = np.where(used, (low + _OFFSET) * _CODES + 1, _idle())
    entered = np.where(used, (high + 1 + _OFFSET) * _CODES, _idle())
    return np.concatenate([everywhere, left, entered], axis=1).astype(np.int32)


def _runs(places: Ints, after: Ints, bad: Bools) -> tuple[Ints, Ints]:
    """Return the forbidden stretches, packed to the left into as few slots as the fullest row needs."""
    counts = bad.sum(axis=1)
    slots = int(counts.max(initial=1))
    starts = np.full((len(places), slots), FAR_UM, np.int32)
    ends = starts.copy()
    rows, columns = np.nonzero(bad)
    first = np.cumsum(counts) - counts
    slot = np.arange(len(rows)) - first[rows]
    starts[rows, slot] = places[rows, columns]
    ends[rows, slot] = after[rows, columns] - 1
    return starts, ends
