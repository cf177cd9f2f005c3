"""The costs of the ways of one pattern, for many pairs and soles: `ways.WayFinder` in numpy, exact.

What it cannot decide exactly it says to be unsure of: patterns, marks or soles beside the half-millimetre
grid, pieces at the mark, more than two pieces or pieces near each other, and the flagged pairs of
`batch_fits`, `batch_rooms` and `batch_settle`. Those are to be asked of `WayFinder` one by one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Follows, Pattern, Piece
from fleet.facts.policy import Policy
from fleet.facts.spacing import SIGHT_UM
from planner.geometry.placement.batch_fits import FixedStands, fixed_stands
from planner.geometry.placement.batch_rooms import BatchRooms, other_runs, rooms_of
from planner.geometry.placement.batch_settle import (
    OffsetBits,
    Ranges,
    first_offset,
    just_out_of_reach,
    lowest,
    ranges,
    tried,
)
from planner.geometry.placement.frames import Stance, frame_of, stance_for
from planner.geometry.placement.hole_table import Bools, Long, PairTables, Rows, SkiRows, Stood, joined, stood
from planner.geometry.placement.rule import Rule, rule_for
from planner.geometry.placement.untouched import places_of, untouched_mount
from planner.geometry.placement.ways import ROOM_THAT_COUNTS_UM
from planner.plan.values import Rung

_LOST, _OFFSET, _MINUTES = 14, 15, 20
"""Bits of each part; holes take the rest."""
NO_WAY = np.iinfo(np.int64).max


class Keys:
    """The best key of each rung, ``least`` (pairs, soles, rungs); `NO_WAY` where there is none."""

    def __init__(self, pairs: int, soles: int, cap_um: int) -> None:
        """Take ``cap_um``, the largest clearance that is counted, below 2**14."""
        self._cap = cap_um
        self.least = np.full((pairs, soles, len(Rung)), NO_WAY)

    def of(self, drilled: Long, minutes: Long, offset_um: Long, clearance_um: Long | int) -> Long:
        """Return the key of each way; ``offset_um`` is the size of the offset, ``clearance_um`` is capped."""
        # most important part in the highest bits: comparing two numbers compares the parts in order
        key = (drilled << _MINUTES) | minutes
        key = (key << _OFFSET) | offset_um
        found: Long = (key << _LOST) | (self._cap - clearance_um)
        return found

    def add(self, pair: npt.NDArray[np.intp], sole: npt.NDArray[np.intp], rung: Long, key: Long) -> None:
        """Add ways; each counts where it is the best of its rung so far."""
        np.minimum.at(self.least, (pair, sole, rung), key)

    def put(self, pairs: npt.NDArray[np.intp], soles: npt.NDArray[np.intp], part: Keys) -> None:
        """Put in the keys of a part of the pairs with some of the soles."""
        self.least[pairs[:, None], soles] = part.least

    def parts(self) -> tuple[Bools, Long, Long, Long, Long]:
        """Return (found, drilled, minutes, offset, clearance) of the best way of each rung."""
        there: Bools = self.least != NO_WAY
        key = np.where(there, self.least, 0)
        lost = key & ((1 << _LOST) - 1)
        key = key >> _LOST
        offset = key & ((1 << _OFFSET) - 1)
        key = key >> _OFFSET
        return there, key >> _MINUTES, key & ((1 << _MINUTES) - 1), offset, self._cap - lost


AT_A_TIME = 1000
"""Pairs at a time: the arrays of one part stay in the processor's cache."""
_MOST_STEPS = 30
"""Half millimetres of offset to either side: as many bits as fit a whole number."""
_MARGIN_UM = 5_000
"""Farther than tolerances and roundings move anything (our choice)."""


@dataclass(frozen=True, slots=True)
class _Piece:
    """One piece on one part of the pairs: the stands in old holes, and the rooms where it is drilled.

    ``skis``: with the holes near enough to matter to it; ``ends`` (soles,): the followed end of each sole,
    in half millimetres from the offset.
    """

    piece: Piece
    ends: Long
    skis: SkiRows
    fixed: FixedStands
    rooms: BatchRooms
    bits: Long


class BatchCosts:
    """The costs of many pairs at once. The pairs' tables are read once for all patterns."""

    def __init__(self, tables: PairTables, policy: Policy) -> None:
        """Raises BadInput for an unset policy."""
        self._tables = tables
        self._rule: Rule = rule_for(policy, None)
        self._cap = policy.um("clearance_counted_max_mm")
        steps, told = self._rule.limit_um // BENCH_STEP_UM, tables.asked_um
        self._able = (
            0 <= self._cap <= ROOM_THAT_COUNTS_UM
            and self._rule.limit_um % BENCH_STEP_UM == 0
            and 0 <= steps <= _MOST_STEPS
            and int(told.max(initial=0)) + self._cap <= SIGHT_UM
            and self._rule.spacing_um <= SIGHT_UM
            and self._rule.reuse_um < min(int(told.min(initial=SIGHT_UM)), self._rule.reuse_spacing_um)
        )
        self._offsets = OffsetBits(steps if self._able else 0)

    def screwed(
        self, pattern: Pattern, pairs: Rows, soles: Sequence[tuple[int, int | None]], asked: Bools
    ) -> tuple[Keys, Bools]:
        """Return the cheapest way of each rung that moves a screw, and (pairs, soles) of what is unsure.

        What is not ``asked`` (pairs, soles) may be left out. Pairs that are asked for like soles are looked
        at together, each part with its own soles only.
        """
        keys = Keys(len(pairs), len(soles), self._cap)
        unsure = np.ones((len(pairs), len(soles)), np.bool_)
        if not self._able or not self._pattern_fits(pattern):
            return keys, unsure
        fits = np.array([self._sole_fits(pattern, bsl) for bsl, _ in soles])
        by_length = np.argsort([bsl for bsl, _ in soles], kind="stable")
        sorted_asked = asked[:, by_length]
        order = np.lexsort((sorted_asked[:, ::-1].argmax(axis=1), sorted_asked.argmax(axis=1)))
        for start in range(0, len(pairs), AT_A_TIME):
            part = order[start : start + AT_A_TIME]
            good = np.flatnonzero(fits & asked[part].any(axis=0))
            if not len(good):
                continue
            stances = [Stance(bsl_um=soles[int(s)][0]) for s in good]
            found = _Part(self._tables, pairs[part], pattern, stances, self._rule, self._cap, self._offsets)
            found.settle()
            keys.put(part, good, found.keys)
            unsure[part[:, None], good] = found.unsure()
        return keys, unsure

    @property
    def minutes_give_plugged(self) -> bool:
        """True if the holes to plug follow from the minutes of a way.

        Where a plug takes less than a minute, two numbers of plugs may come to the same whole minutes.
        """
        return self._rule.minutes["plug_hole"] >= 1

    def plugged(self, pairs: Rows, there: Bools, drilled: Long, minutes: Long) -> Long:
        """Return the holes to plug of each way, (pairs, soles, rungs), from its minutes; 0 if no screw
        moves.
        """
        screwed = there.copy()
        screwed[:, :, : Rung.ADJUST.rank + 1] = False
        each = {step: float(took) for step, took in self._rule.minutes.items()}
        rest = minutes - each["mount"] - each["check"] - each["drill_hole"] * drilled
        rest -= each["take_off"] * self._tables.mounted[pairs][:, None, None]
        # whole minutes are rounded up, by less than a plug takes; a float is off by far less than the addend
        plugged = np.floor(rest / each["plug_hole"] + 1e-9).astype(np.int64)
        return np.where(screwed, plugged, 0)

    def _pattern_fits(self, pattern: Pattern) -> bool:
        """Return True for two pieces at most, all on the half-millimetre grid, none at the mark, no hole used
        twice.
        """
        apart = (2 * self._rule.reuse_um) ** 2
        for piece in pattern.pieces:
            lengths = [piece.back_um, piece.forward_um]
            lengths += [value for hole in piece.holes for value in (hole.x_um, hole.y_um)]
            if piece.follows is Follows.MARK or any(value % BENCH_STEP_UM for value in lengths):
                return False
            for i, a in enumerate(piece.holes):
                for b in piece.holes[i + 1 :]:
                    if (a.x_um - b.x_um) ** 2 + (a.y_um - b.y_um) ** 2 <= apart:
                        return False
        return len(pattern.pieces) <= 2

    def _sole_fits(self, pattern: Pattern, bsl_um: int) -> bool:
        """Return True if the ends lie on the grid and the pieces are too far apart to affect one another."""
        if bsl_um % (2 * BENCH_STEP_UM):
            return False
        stance = Stance(bsl_um=bsl_um)
        reach = []
        for piece in pattern.pieces:
            xs = [hole.x_um for hole in piece.holes]
            end = stance.end_um(piece.follows) or 0
            reach.append((end - piece.forward_um + min(xs), end + piece.back_um + max(xs)))
        reach.sort()
        apart = self._rule.spacing_um + self._cap + _MARGIN_UM + 2 * self._rule.pair_difference_um
        return all(b[0] - a[1] >= apart + 2 * self._rule.reuse_um for a, b in pairwise(reach))


class _Part:
    """Some of the pairs with all soles; every combination of stands gets its best offset."""

    def __init__(
        self,
        tables: PairTables,
        pairs: Rows,
        pattern: Pattern,
        stances: Sequence[Stance],
        rule: Rule,
        cap_um: int,
        offsets: OffsetBits,
    ) -> None:
        self._rule, self._cap, self._offsets = rule, cap_um, offsets
        self._opened = tables.opened[pairs].astype(np.int64)
        self._mounted = tables.mounted[pairs]
        self._flagged: Bools = ~tables.on_grid[pairs]
        self._soles = len(stances)
        self.keys = Keys(len(pairs), len(stances), cap_um)
        self._doubts: list[tuple[Rows, Rows, Long]] = []
        self._skis = tables.rows(pairs)
        self._pieces = [self._piece(piece, stances) for piece in pattern.pieces]

    def _piece(self, piece: Piece, stances: Sequence[Stance]) -> _Piece:
        ends = np.array([stance.end_um(piece.follows) or 0 for stance in stances]) // BENCH_STEP_UM
        most = self._offsets.most + 1
        first, last = int(ends.min()) - most, int(ends.max()) + most
        xs = [hole.x_um for hole in piece.holes]
        sight = SIGHT_UM + _MARGIN_UM
        near_by = self._skis.between(
            first * BENCH_STEP_UM - piece.forward_um + min(xs) - sight,
            last * BENCH_STEP_UM + piece.back_um + max(xs) + sight,
        )
        fixed, flagged = fixed_stands(near_by, piece, self._rule, self._cap)
        rooms, slipping = rooms_of(near_by, piece, first, last, self._cap)
        self._flagged = self._flagged | flagged | slipping
        return _Piece(piece, ends, near_by, fixed, rooms, self._offsets.legal(rooms, ends))

    def unsure(self) -> Bools:
        """Return (pairs, soles): the flagged pairs, and the ones where a doubtful place could be better."""
        found: Bools = np.repeat(self._flagged[:, None], self._soles, axis=1)
        for pair, sole, key in self._doubts:
            matters = key <= self.keys.least[pair, sole, Rung.PART_REUSED.rank]
            found[pair[matters], sole[matters]] = True
        return found

    def settle(self) -> None:
        """Add every combination: all new, all in old holes, and one piece in old holes with the other new."""
        self._all_new()
        if len(self._pieces) == 1:
            self._all_fixed(self._pieces[0].fixed, self._reaches(self._pieces[0]))
            return
        one, other = self._pieces
        self._both_fixed(one, other)
        self._one_free(one, other)
        self._one_free(other, one)

    def _all_new(self) -> None:
        bits = self._pieces[0].bits
        for piece in self._pieces[1:]:
            bits = bits & piece.bits
        pair, sole = np.nonzero(bits)
        step = lowest(bits[pair, sole])
        drilled = np.full(len(pair), sum(2 * len(p.piece.holes) for p in self._pieces))
        opened = np.zeros(len(pair), np.int64)
        self._add(pair, sole, drilled, opened, step * BENCH_STEP_UM, self._most(pair, sole, step))
        # no place nearer the mark is legal: no stretch of one of the pieces is reached from both sides of it
        again = (step < 0) & self._offsets.has(bits[pair, sole], -step)
        pair, sole, step = pair[again], sole[again], -step[again]
        room = self._most(pair, sole, step)
        self._add(pair, sole, drilled[again], opened[again], step * BENCH_STEP_UM, room)

    def _best(self, piece: _Piece, pair: Rows, sole: Rows, step: Long) -> Long:
        best: Long = piece.rooms.best[pair, piece.ends[sole] + step - piece.rooms.start_at].astype(np.int64)
        return best

    def _most(self, pair: Rows, sole: Rows, step: Long) -> Long:
        most: Long = np.minimum.reduce([self._best(p, pair, sole, step) for p in self._pieces])
        return most

    def _reaches(self, piece: _Piece) -> tuple[Long, Long, Long, Long]:
        """Return (stands, soles) of hard low, hard high, fit low and fit high, as offsets."""
        f, ends = piece.fixed, piece.ends * BENCH_STEP_UM
        limit = self._rule.limit_um
        return (
            np.maximum(f.hard_low[:, None] - ends, -limit),
            np.minimum(f.hard_high[:, None] - ends, limit),
            f.fit_low[:, None] - ends,
            f.fit_high[:, None] - ends,
        )

    def _all_fixed(self, fixed: FixedStands, reach: tuple[Long, Long, Long, Long]) -> None:
        """Add one piece in old holes where the pattern has no other piece."""
        stand, sole = np.nonzero(reach[0] <= reach[1])
        of = ranges(*(values[stand, sole] for values in reach))
        self._add_fixed(
            of, fixed.pair[stand], sole, fixed.drilled[stand], fixed.opened[stand], fixed.room[stand]
        )

    def _both_fixed(self, one: _Piece, other: _Piece) -> None:
        a, b = one.fixed, other.fixed
        i, k = joined(b.pair, a.pair)
        of_a, of_b = self._reaches(one), self._reaches(other)
        low, high = np.maximum(of_a[0][i], of_b[0][k]), np.minimum(of_a[1][i], of_b[1][k])
        missed = np.maximum(*(_missed(one, other, n, i, k) for n in ("r_a", "r_b")))
        meet, sole = np.nonzero((low <= high) & (missed <= self._rule.reuse_um))
        i, k, low, high = i[meet], k[meet], low[meet, sole], high[meet, sole]
        of = ranges(
            low,
            high,
            np.maximum(of_a[2][i, sole], of_b[2][k, sole]),
            np.minimum(of_a[3][i, sole], of_b[3][k, sole]),
        )
        self._add_fixed(
            of,
            a.pair[i],
            sole,
            a.drilled[i] + b.drilled[k],
            a.opened[i] + b.opened[k],
            np.minimum(a.room[i], b.room[k]),
        )

    def _add_fixed(self, of: Ranges, pair: Rows, sole: Rows, drilled: Long, opened: Long, room: Long) -> None:
        found, offset = first_offset(of)
        self._add(pair[found], sole[found], drilled[found], opened[found], offset[found], room[found])

    def _one_free(self, one: _Piece, free: _Piece) -> None:
        """Add the piece ``one`` in old holes with the piece ``free`` drilled."""
        reach = self._reaches(one)
        f = one.fixed
        stand, sole = np.nonzero((reach[0] <= reach[1]) & (free.bits[f.pair] != 0))
        of = ranges(*(values[stand, sole] for values in reach))
        pair = f.pair[stand]
        drilled, opened = f.drilled[stand] + 2 * len(free.piece.holes), f.opened[stand]
        found = tried(of, free.bits[pair, sole], self._offsets)

        def add(at: Bools, offset: Long, room: Long) -> None:
            least = np.minimum(room, f.room[stand[at]])
            good = np.flatnonzero(at)[least >= 0]
            least, offset = least[least >= 0], offset[least >= 0]
            self._add(pair[good], sole[good], drilled[good], opened[good], offset, least)

        at = found.settled
        step = found.first[at]
        add(at, step * BENCH_STEP_UM, self._best(free, pair[at], sole[at], step))
        at = found.again
        step, end = found.second[at], free.ends[sole[at]]
        room = other_runs(free.rooms, free.piece, pair[at], end + found.first[at], end + step)
        add(at, step * BENCH_STEP_UM, room)
        at_top, at_foot = just_out_of_reach(free.rooms, free.piece, pair, free.ends[sole], found)
        if free.rooms.short is not None:
            at = found.between & (found.low == found.high)
            below = found.below[at] + free.ends[sole[at]] - free.rooms.start_at
            add(at, found.low[at], free.rooms.short[pair[at], below].astype(np.int64))
            doubt = at_top | at_foot | (found.between & (found.low < found.high))
            nearest = np.abs(found.nearest)
            key = self.keys.of(drilled, self._minutes(pair, drilled, opened), nearest, self._cap)
            self._doubts.append((pair[doubt], sole[doubt], key[doubt]))
            return
        for at, from_um in (
            (found.between & self._may_print(free.bits[pair, sole], found.nearest), found.nearest),
            (at_top, found.high),
            (at_foot, found.low),
        ):
            if not at.any():
                continue
            offset, room = self._exact(free, pair[at], sole[at], from_um[at], found.low[at], found.high[at])
            add(at, offset, room)

    def _may_print(self, bits: Long, offset_um: Long) -> Bools:
        """Return True if a half millimetre that an exact offset may be printed as is legal."""
        below, rest = offset_um // BENCH_STEP_UM, offset_um % BENCH_STEP_UM
        down = (rest <= BENCH_STEP_UM // 2) & self._offsets.has(bits, below)
        return down | ((rest >= BENCH_STEP_UM // 2) & self._offsets.has(bits, below + 1))

    def _exact(
        self, free: _Piece, pair: Rows, sole: Rows, from_um: Long, low_um: Long, high_um: Long
    ) -> tuple[Long, Long]:
        """Return (offset, room) of a piece without travel at an exact offset; room -1 where it is not legal.

        Of the stretch at ``from_um``, as far as it lies from ``low_um`` to ``high_um``, the offset nearest
        the mark.
        """
        whole = np.ones((len(pair), len(free.piece.holes)), np.bool_)
        end = free.ends[sole] * BENCH_STEP_UM

        def both(offset_um: Long) -> tuple[Stood, Stood]:
            a, b = (
                stood(free.skis, free.skis.of[side][pair], offset_um + end, free.piece, whole, self._cap)
                for side in Side
            )
            return a, b

        a, b = both(from_um)
        legal = a.legal & b.legal
        low = np.maximum(np.maximum(a.low, b.low) - end, low_um)
        high = np.minimum(np.minimum(a.high, b.high) - end, high_um)
        offset = np.where(legal, np.minimum(np.maximum(0, low), high), from_um)
        a, b = both(offset)
        return offset, np.where(legal, np.minimum(a.room, b.room), -1)

    def _minutes(self, pair: Rows, drilled: Long, opened: Long) -> Long:
        """Return `Rule.minutes_for`, asked once for each different case."""
        plugged = self._opened[pair] - opened
        case = (drilled * 1024 + plugged) * 2 + self._mounted[pair]
        cases, of_case = np.unique(case, return_inverse=True)
        minutes = [
            self._rule.minutes_for(take_off=bool(c & 1), drilled=int(c) // 2048, plugged=int(c) // 2 % 1024)
            for c in cases
        ]
        return np.array(minutes, np.int64)[of_case]

    def _add(self, pair: Rows, sole: Rows, drilled: Long, opened: Long, offset_um: Long, room: Long) -> None:
        rung = np.where(
            drilled == np.array(sum(2 * len(p.piece.holes) for p in self._pieces)),
            Rung.ALL_NEW.rank,
            Rung.PART_REUSED.rank,
        )
        near_by = np.abs(offset_um) <= self._rule.preferred_um
        rung = np.where(drilled > 0, rung, np.where(near_by, Rung.SAME_HOLES.rank, Rung.CENTRE_MOVED.rank))
        minutes = self._minutes(pair, drilled, opened)
        self.keys.add(pair, sole, rung, self.keys.of(drilled, minutes, np.abs(offset_um), room))


def _missed(one: _Piece, other: _Piece, ski: str, i: Rows, k: Rows) -> Long:
    """Return `stands.missed_um` on one ski, (stands, soles); stands ``i`` of one piece, ``k`` of the
    other.
    """
    apart = (getattr(one.fixed, ski)[i] - getattr(other.fixed, ski)[k])[:, None]
    apart = apart - (one.ends - other.ends) * BENCH_STEP_UM
    too_far = apart - one.piece.back_um - other.piece.forward_um
    too_near = -apart - other.piece.back_um - one.piece.forward_um
    found: Long = np.maximum(too_far, too_near)
    return found


def add_untouched(
    keys: Keys,
    *,
    pairs: Sequence[Pair],
    pattern: Pattern,
    soles: Sequence[tuple[int, int | None]],
    policy: Policy,
    asked: Bools,
) -> None:
    """Add those ways for pairs that carry this pattern's binding, where ``asked`` (pairs, soles).

    *As it is* and the soles that are mounted by pin line are looked at one by one.
    """
    rule = rule_for(policy, None)
    stances = [stance_for(pattern, bsl, pin) for bsl, pin in soles]
    carrying = [
        p
        for p, pair in enumerate(pairs)
        if pair.current_mount is not None and pair.current_mount.pattern == pattern.name
    ]
    single = asked[carrying] & np.array(
        [
            [stance.pin_um is not None or stance.bsl_um == mount.stands_for_um for stance in stances]
            for p in carrying
            if (mount := pairs[p].current_mount) is not None
        ],
        np.bool_,
    ).reshape(len(carrying), len(soles))
    cap = policy.um("clearance_counted_max_mm")
    found = np.array(list(_one_by_one(rule, pairs, carrying, pattern, stances, single)), np.int64).reshape(
        -1, 5
    )
    pair, sole, rung, minutes, offset = found.T
    keys.add(pair, sole, rung, keys.of(np.zeros_like(minutes), minutes, offset, cap))
    offsets, there = _adjusted(rule, [pairs[p] for p in carrying], pattern, stances)
    at, sole = np.nonzero(there & asked[carrying] & ~single)
    size = np.abs(offsets[at, sole])
    key = keys.of(np.zeros_like(size), np.full_like(size, rule.minutes_to_adjust), size, cap)
    keys.add(np.array(carrying, np.intp)[at], sole, np.full_like(size, Rung.ADJUST.rank), key)


def _one_by_one(
    rule: Rule,
    pairs: Sequence[Pair],
    carrying: Sequence[int],
    pattern: Pattern,
    stances: Sequence[Stance],
    chosen: Bools,
) -> Iterator[tuple[int, int, int, int, int]]:
    """Yield (pair, sole, rung, minutes, size of the offset), asked pair by pair."""
    for p, of_pair in zip(carrying, chosen, strict=True):
        for s in np.flatnonzero(of_pair):
            untouched = untouched_mount(
                rule=rule, pair=pairs[p], frame=frame_of(pairs[p]), pattern=pattern, stance=stances[int(s)]
            )
            if untouched is not None:
                yield p, int(s), untouched.rung.rank, untouched.minutes, abs(untouched.offset_um)


def _adjusted(
    rule: Rule, pairs: Sequence[Pair], pattern: Pattern, stances: Sequence[Stance]
) -> tuple[Long, Bools]:
    """Return (offsets, found), both (pairs, soles), for boots that stand by their centre."""
    shape = (len(pairs), len(stances))
    low, high = np.full(shape, -rule.limit_um, np.int64), np.full(shape, rule.limit_um, np.int64)
    middle = Stance(bsl_um=0)
    places = np.array(
        [
            [r for r, _ in places_of(pattern, pair.current_mount, frame_of(pair), middle)]
            for pair in pairs
            if pair.current_mount is not None
        ],
        np.int64,
    ).reshape(len(pairs), len(pattern.pieces))
    for k, piece in enumerate(pattern.pieces):
        ends = [stance.end_um(piece.follows) for stance in stances]
        if None in ends:
            continue
        end = np.array(ends, np.int64)
        r = places[:, k, None]
        low = np.maximum(low, r - piece.back_um - end)
        high = np.minimum(high, r + piece.forward_um - end)
    found, offsets = first_offset(ranges(low, high, low, high))
    takes = np.array([pattern.takes_bsl(stance.bsl_um) for stance in stances], np.bool_)
    return offsets, found & (low <= high) & takes
