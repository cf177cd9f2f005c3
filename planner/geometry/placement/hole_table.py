"""The holes of many skis as padded arrays, read once for every pattern; equal skis share a row.

And one piece at given places on given skis: is it legal, how far can it move, its room. Exact. Modules from
here on need numpy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.pairs import Construction, Pair
from fleet.facts.patterns import PatternHole, Piece
from fleet.facts.policy import Policy
from fleet.facts.spacing import forbidden_halves_um, roots, sighted, takes, too_near
from planner.geometry.placement.frames import frame_of
from planner.geometry.placement.rule import Rule, ground_of, may_drill, rule_for

Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]

FAR_UM = 1_000_000
"""Beyond every ski: a metre from the mark."""


class ByRow:
    """Arrays of one length, a field each: a row is what stands at one place of all of them."""

    __slots__: tuple[str, ...] = ()

    def only(self, rows: NDArray[Any] | slice) -> Self:
        """Return some of the rows, in this order."""
        return type(self)(**{name: getattr(self, name)[rows] for name in self.__slots__})


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleTable(ByRow):
    """One side of many pairs. Arrays are (skis, holes), micrometres from the pair's reference.

    ``asked`` 0 marks padding. ``drill_size``/``thread``: the diameter of a screw that may go into the
    hole (as a wood screw, as an insert's own), 0 where none may. ``any_size``: construction unknown,
    the pattern's listed diameter decides. ``ground`` (skis, ranges, 2): the closed ranges of x where
    new holes may be drilled, low above high for none;
    ``half_width``: how far off the centre line. ``shift`` (skis,): added to an x from the pair's reference to
    get the x from the ski's own mark. ``opened`` (skis,): open and screwed holes.
    """

    x: Ints
    y: Ints
    asked: Ints
    wood_size: Ints
    thread: Ints
    drill_size: Ints
    ground: Ints
    half_width: Ints
    shift: Ints
    opened: Ints

    @property
    def skis(self) -> int:
        """The number of skis."""
        return len(self.x)

    def may_reuse(self, wanted: PatternHole) -> Bools:
        """Return (skis, holes): True where the wanted screw may go into the old hole, its position set
        aside.
        """
        listed = wanted.diameter_um or 0
        size = np.where(self.drill_size > 0, self.drill_size, listed)[:, None]
        found: Bools = takes(self.wood_size, self.thread, drill_um=size, listed_um=listed)
        return found

    def between(self, low_um: int, high_um: int) -> HoleTable:
        """Return the same skis with only the holes whose x lies in this range, packed to the left."""
        kept = (self.asked > 0) & (self.x >= low_um) & (self.x <= high_um)
        counts = kept.sum(axis=1)
        columns = int(counts.max(initial=1))
        filled = np.arange(columns) < counts[:, None]

        def packed(values: Ints) -> Ints:
            found = np.zeros(filled.shape, np.int32)
            found[filled] = values[kept]
            return found

        return replace(
            self,
            x=packed(self.x),
            y=packed(self.y),
            asked=packed(self.asked),
            wood_size=packed(self.wood_size),
            thread=packed(self.thread),
        )


def hole_tables(pairs: Sequence[Pair], policy: Policy) -> dict[Side, HoleTable]:
    """Return the tables of both sides of the pairs, in the order of the pairs, one as wide as the other."""
    rules = {c: rule_for(policy, c) for c in {pair.construction for pair in pairs}}
    return {side: _table(pairs, side, rules) for side in Side}


def _table(pairs: Sequence[Pair], side: Side, rules: dict[Construction | None, Rule]) -> HoleTable:
    skis = [ski for pair in pairs for ski in pair.skis.values()]
    areas = max((len(ski.inspected) for ski in skis), default=0) or 1
    drill, shifts = np.zeros((2, len(pairs)), np.int32)
    half = np.full(len(pairs), -1, np.int32)
    ground = np.full((len(pairs), areas, 2), FAR_UM, np.int32)
    ground[:, :, 1] = -FAR_UM
    kinds: dict[tuple[Construction | None, Knowledge, HoleState, int | None], tuple[int, ...]] = {}
    told: list[tuple[int, ...]] = []
    for row, pair in enumerate(pairs):
        rule, ski = rules[pair.construction], pair.skis[side]
        shifts[row] = shift = frame_of(pair).shift_um[side]
        drill[row] = rule.drill_um or 0
        for hole in ski.holes:
            kind = (pair.construction, hole.knowledge, hole.state, hole.diameter_um)
            if kind not in kinds:
                kinds[kind] = (rule.asked_um(hole), *rule.screws_of(hole), hole.state.plugged_if_left)
            told.append((hole.x_um - shift, hole.y_um, *kinds[kind]))
        drilled, width = ground_of(rule, ski) if may_drill(pair, rule) else ([], -1)
        half[row] = max(width, -1)
        if drilled:
            ground[row, : len(drilled)] = np.array(drilled) - shift
    counts = np.array([len(pair.skis[side].holes) for pair in pairs], np.intp)
    there = np.arange(max((len(ski.holes) for ski in skis), default=0) or 1) < counts[:, None]
    x, y, asked, wood, thread, opened = columns = np.zeros((6, *there.shape), np.int32)
    columns[:, there] = np.array(told, np.int32).reshape(-1, 6).T
    return HoleTable(
        x=x,
        y=y,
        asked=asked,
        wood_size=wood,
        thread=thread,
        drill_size=drill,
        ground=ground,
        half_width=half,
        shift=shifts,
        opened=opened.sum(axis=1),
    )


Rows = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class SkiRows:
    """Different skis, a row each. ``of[side]`` (pairs,): the row of that ski of each pair."""

    table: HoleTable
    of: dict[Side, Rows]

    def between(self, low_um: int, high_um: int) -> SkiRows:
        """Return the rows with only the holes whose x lies in this range."""
        return replace(self, table=self.table.between(low_um, high_um))

    def pairs_with(self, flagged: Bools) -> Bools:
        """Return (pairs,): True where either ski is among the flagged rows."""
        either: Bools = flagged[self.of[Side.A]] | flagged[self.of[Side.B]]
        return either


class PairTables:
    """Pairs as arrays. ``opened`` (pairs,): open and screwed holes; ``mounted``: a binding is on.

    ``on_grid``: both marks stand a whole number of half millimetres from the pair's reference.
    """

    def __init__(self, pairs: Sequence[Pair], policy: Policy) -> None:
        """Reads every hole once. Raises BadInput for an unset policy."""
        self.pairs = tuple(pairs)
        self._sides = hole_tables(pairs, policy)
        a, b = self._sides.values()
        self.on_grid: Bools = (a.shift % BENCH_STEP_UM == 0) & (b.shift % BENCH_STEP_UM == 0)
        self.mounted: Bools = np.array([pair.current_mount is not None for pair in pairs], np.bool_)
        self.opened: Ints = a.opened + b.opened

    @property
    def asked_um(self) -> Ints:
        """The distances that all the holes ask, µm."""
        return np.concatenate([t.asked[t.asked > 0] for t in self._sides.values()])

    def rows(self, chosen: Rows) -> SkiRows:
        """Return the skis of the chosen pairs; a ski B that is equal to its ski A shares the row."""
        a, b = (self._sides[side].only(chosen) for side in Side)
        alike = np.ones(len(chosen), np.bool_)
        for name in HoleTable.__slots__:
            same = getattr(a, name) == getattr(b, name)
            alike &= same.reshape(len(chosen), -1).all(axis=1)
        other = np.flatnonzero(~alike)
        of_a = np.arange(len(chosen))
        of_b = of_a.copy()
        of_b[other] = len(chosen) + np.arange(len(other))
        both = (a, b.only(other))
        return SkiRows(
            table=HoleTable(
                **{n: np.concatenate([getattr(table, n) for table in both]) for n in HoleTable.__slots__}
            ),
            of={Side.A: of_a, Side.B: of_b},
        )


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
        shift, place = table.shift[ski].astype(np.int64), r + wanted.x_um
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
