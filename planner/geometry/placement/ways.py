"""The best way of each rung of the ladder for a pair, a pattern and a boot sole length.

Legal as in `legal`, and more: a reused piece stands at the best fit to its holes (the tolerance only
admits it), new holes lie at half millimetres where that is legal, and the printed numbers are legal too.
"""

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from itertools import combinations, product

from fleet.base.units import BENCH_STEP_UM
from fleet.base.values import Value
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern, Piece
from fleet.facts.policy import Policy
from planner.geometry.placement.frames import Stance, frame_of, stance_for
from planner.geometry.placement.intervals import Interval
from planner.geometry.placement.jig import with_jig
from planner.geometry.placement.legal import share_a_hole
from planner.geometry.placement.room import UNBOUNDED_UM, Rooms, holes_to_plug
from planner.geometry.placement.rule import Rule, may_drill, rule_for
from planner.geometry.placement.settle import candidates, fitting_range, half_steps
from planner.geometry.placement.stands import Stand, StandReach, missed_um, planned_stands, reach
from planner.geometry.placement.sweep import Claims
from planner.geometry.placement.untouched import PlacedPiece, planned_ski, untouched_way
from planner.plan.values import Rung, Way

ROOM_THAT_COUNTS_UM = 10_000
"""Beyond this much room to spare a free piece is put for the middle of its travel, not for still more room
(our choice, no source: an adjustable heel at the end of its track is of no use to the next boot)."""

_SIDES = tuple(Side)
Rank = tuple[int, int, int, int]
"""Holes drilled, minutes, size of the offset, clearance taken negative: smaller is better."""


class _Combination(Value, frozen=True):
    """One stand for every piece, with the costs that do not depend on the offset."""

    reaches: tuple[StandReach, ...]
    hard: Interval
    best: Interval
    drilled: int
    reused: int
    plugged: int
    minutes: int
    order: int

    @property
    def least_rank(self) -> Rank:
        """A lower bound of the rank of this combination."""
        low, high = self.best
        quarter = BENCH_STEP_UM // 2
        offset = max(0, low - quarter, -high - quarter)
        return self.drilled, self.minutes, offset, 0 if self.drilled == 0 else -UNBOUNDED_UM

    def rung_at(self, offset_um: int, preferred_um: int) -> Rung:
        """Return the rung of the ladder at this offset."""
        return self.rungs[-1 if abs(offset_um) > preferred_um else 0]

    @property
    def rungs(self) -> tuple[Rung, ...]:
        """The rungs that it may turn out to be."""
        if self.drilled == 0:
            return Rung.SAME_HOLES, Rung.CENTRE_MOVED
        return (Rung.PART_REUSED,) if self.reused else (Rung.ALL_NEW,)


class _Settled(Value, frozen=True):
    """A combination at its offset, with a place for every piece."""

    combination: _Combination
    offset: int
    pieces: Sequence[PlacedPiece]
    clearance: int

    @property
    def clearance_um(self) -> int | None:
        """The clearance, µm; None where nothing is near."""
        return None if self.clearance >= UNBOUNDED_UM else self.clearance

    @property
    def rank(self) -> Rank:
        """The rank among ways of the same rung; less is better."""
        c = self.combination
        return c.drilled, c.minutes, abs(self.offset), 0 if c.drilled == 0 else -self.clearance

    @property
    def order(self) -> tuple[Rank, int, tuple[int, ...]]:
        """The rank, then the place itself, so that the order of rows never decides."""
        return self.rank, self.offset, tuple(r for placed in self.pieces for r in placed.r_um.values())


class WayCost(Value, frozen=True, kw_only=True):
    """The figures of a `Way` without its holes, under the same names."""

    rung: Rung
    drilled: int
    plugged: int
    minutes: int
    offset_um: int
    clearance_um: int | None


class WayFinder:
    """The ways of one pattern on one pair. The pair is swept once for many sole lengths."""

    def __init__(
        self, *, pair: Pair, pattern: Pattern, policy: Policy, mounted: bool, rule: Rule | None = None
    ) -> None:
        """``mounted``: the pair carries this pattern's binding now; ``rule``: where it was read before.

        Raises BadInput for an unset policy.
        """
        self._pair, self._pattern, self._mounted = pair, pattern, mounted
        self._rule = rule_for(policy, pair.construction) if rule is None else rule
        self._frame = frame_of(pair)
        self._known: dict[Stance, dict[Rung, _Settled]] = {}
        self._every_stand: list[list[Stand]] | None = None

    @cached_property
    def _rooms(self) -> Rooms:
        return Rooms(rule=self._rule, pair=self._pair, frame=self._frame, pattern=self._pattern)

    @cached_property
    def _to_plug(self) -> tuple[tuple[Side, int], ...]:
        return holes_to_plug(self._pair)

    def ways(self, bsl_um: int, *, pin_um: int | None = None) -> tuple[Way, ...]:
        """Return the best way of each rung for this sole, in rung order; empty if there is none."""
        if not self._pattern.takes_bsl(bsl_um):
            return ()
        stance = stance_for(self._pattern, bsl_um, pin_um)
        found = {rung: self._way(rung, settled, stance) for rung, settled in self._best(stance).items()}
        if (untouched := self._untouched(stance)) is not None:
            found[untouched.rung] = untouched
        return tuple(found[rung] for rung in Rung if rung in found)

    def way(self, rung: Rung, bsl_um: int, *, pin_um: int | None = None) -> Way | None:
        """Return the way of `ways` at this rung; None if there is none. No other rung is computed."""
        if not self._pattern.takes_bsl(bsl_um):
            return None
        stance = stance_for(self._pattern, bsl_um, pin_um)
        if rung in (Rung.AS_IS, Rung.ADJUST):
            untouched = self._untouched(stance)
            return untouched if untouched is not None and untouched.rung is rung else None
        if stance in self._known or self._every_stand is not None:
            settled = self._best(stance).get(rung)
        else:
            combined = self._combinations(stance, self._near_by(stance, rung))
            settled = self._settle(combined, stance, rung).get(rung)
        return None if settled is None else self._way(rung, settled, stance)

    def _untouched(self, stance: Stance) -> Way | None:
        """Return the way that leaves the binding on; None if there is none."""
        if not self._mounted:
            return None
        return untouched_way(
            rule=self._rule, pair=self._pair, frame=self._frame, pattern=self._pattern, stance=stance
        )

    def alike(self, rung: Rung, bsl_um: int, *, pin_um: int | None = None, cap_um: int) -> Iterator[Way]:
        """Yield the way of `ways` at a rung that moves a screw, then every other place that is as good.

        As many holes and minutes, the same size of offset and as much clearance, counted up to ``cap_um``.
        """
        if not self._pattern.takes_bsl(bsl_um):
            return
        stance = stance_for(self._pattern, bsl_um, pin_um)
        combined = self._combinations(stance, self._near_by(stance, rung))
        best = self._settle(combined, stance, rung).get(rung)
        if best is None:
            return
        yield self._way(rung, best, stance)
        others = [
            other
            for combination in combined
            if rung in combination.rungs and combination.least_rank[:2] == best.rank[:2]
            for other in self._as_good(combination, stance, best, cap_um)
        ]
        for settled in sorted(others, key=lambda other: other.order):
            if settled.order != best.order:
                yield self._way(rung, settled, stance)

    def _as_good(
        self, combination: _Combination, stance: Stance, best: _Settled, cap_um: int
    ) -> Iterator[_Settled]:
        first = self._settled(combination, stance)
        if first is None or abs(first.offset) != abs(best.offset):
            return
        mirrored = {first.offset, -first.offset} if half_steps(*combination.best) else {first.offset}
        for offset in mirrored & set(candidates(combination.hard, combination.best)):
            for pieces in self._placings(combination, stance, offset):
                clearance = self._clearance(pieces, at_least=min(best.clearance, cap_um))
                if clearance is not None and min(clearance, cap_um) == min(best.clearance, cap_um):
                    yield _Settled(combination, offset, pieces, clearance)

    def costs(self, bsl_um: int, *, pin_um: int | None = None) -> tuple[WayCost | Way, ...]:
        """Return the costs of `ways`, way by way, without making the ways."""
        if not self._pattern.takes_bsl(bsl_um):
            return ()
        stance = stance_for(self._pattern, bsl_um, pin_um)
        found: dict[Rung, WayCost | Way] = {
            rung: WayCost(
                rung=rung,
                drilled=settled.combination.drilled,
                plugged=settled.combination.plugged,
                minutes=settled.combination.minutes,
                offset_um=settled.offset,
                clearance_um=settled.clearance_um,
            )
            for rung, settled in self._best(stance).items()
        }
        if (untouched := self._untouched(stance)) is not None:
            found[untouched.rung] = untouched
        return tuple(found[rung] for rung in Rung if rung in found)

    @property
    def _stands(self) -> list[list[Stand]]:
        """Return all stands of each piece, wherever on the ski."""
        if self._every_stand is None:
            drill = may_drill(self._pair, self._rule)
            self._every_stand = [
                planned_stands(self._rule, self._pair, self._frame, piece, drill=drill)
                for piece in self._pattern.pieces
            ]
        return self._every_stand

    def _near_by(self, stance: Stance, rung: Rung) -> list[list[Stand]]:
        """Return the stands of each piece that this boot may reach (and some it does not), as far as the rung
        needs them.
        """
        drill = rung.rank > Rung.CENTRE_MOVED.rank and may_drill(self._pair, self._rule)
        beyond = self._rule.limit_um + self._rule.pair_difference_um + 4 * self._rule.reuse_um
        found = []
        for piece in self._pattern.pieces:
            end = stance.end_um(piece.follows) or 0
            within = (end - beyond - piece.forward_um, end + beyond + piece.back_um)
            found.append(
                planned_stands(self._rule, self._pair, self._frame, piece, drill=drill, within=within)
            )
        return found

    def _best(self, stance: Stance) -> dict[Rung, _Settled]:
        """Return the best of each rung that moves a screw, cached, because the chosen one is asked for
        again.
        """
        if stance not in self._known:
            self._known[stance] = self._settle(self._combinations(stance, self._stands), stance)
        return self._known[stance]

    def _settle(
        self, combined: Sequence[_Combination], stance: Stance, only: Rung | None = None
    ) -> dict[Rung, _Settled]:
        """Return the best of each rung of these combinations; with ``only``, that rung alone, complete."""
        best: dict[Rung, _Settled] = {}
        for combination in combined:
            rungs = combination.rungs
            if only is not None and only not in rungs:
                continue
            if all(rung in best and best[rung].rank < combination.least_rank for rung in rungs):
                continue
            settled = self._settled(combination, stance)
            if settled is None:
                continue
            rung = combination.rung_at(settled.offset, self._rule.preferred_um)
            if rung not in best or settled.order < best[rung].order:
                best[rung] = settled
        return best

    def _combinations(self, stance: Stance, all_stands: Sequence[Sequence[Stand]]) -> list[_Combination]:
        """Return every combination of stands that uses no hole twice, cheapest first."""
        reaches = [
            [r for stand in stands if (r := reach(self._rule, stand, piece, stance)) is not None]
            for stands, piece in zip(all_stands, self._pattern.pieces, strict=True)
        ]
        found = []
        for order, chosen in enumerate(product(*reaches)):
            hard = (max(r.hard[0] for r in chosen), min(r.hard[1] for r in chosen))
            if hard[0] > hard[1]:
                continue
            if any(share_a_hole(a.stand.claims, b.stand.claims) for a, b in combinations(chosen, 2)):
                continue
            if missed_um(chosen, self._pattern.pieces, stance) > self._rule.reuse_um:
                continue
            drilled = sum(r.stand.drilled for r in chosen)
            plugged = len(self._to_plug) - sum(r.stand.opened for r in chosen)
            found.append(
                _Combination(
                    reaches=chosen,
                    hard=hard,
                    best=fitting_range(hard, [r.fit for r in chosen if r.stand.reused]),
                    drilled=drilled,
                    reused=sum(r.stand.reused for r in chosen),
                    plugged=plugged,
                    minutes=self._rule.minutes_for(
                        take_off=self._pair.current_mount is not None,
                        drilled=drilled,
                        plugged=plugged,
                    ),
                    order=order,
                )
            )
        found.sort(key=lambda c: (c.least_rank, c.order))
        return found

    def _settled(self, combination: _Combination, stance: Stance) -> _Settled | None:
        """Return the combination at its best offset that passes every check, or None."""
        for offset in candidates(combination.hard, combination.best):
            for pieces in self._placings(combination, stance, offset):
                clearance = self._clearance(pieces)
                if clearance is not None:
                    return _Settled(combination, offset, pieces, clearance)
        return None

    def _placings(
        self, combination: _Combination, stance: Stance, offset: int
    ) -> Iterator[Sequence[PlacedPiece]]:
        """Yield places for the free pieces at this offset, most room first, then nearest the middle of
        travel.
        """
        reaches = combination.reaches
        each = [self._places(index, reached, stance, offset) for index, reached in enumerate(reaches)]
        for chosen in product(*each):
            yield [
                self._placed(piece, reached, stance, offset, r)
                for piece, reached, r in zip(self._pattern.pieces, reaches, chosen, strict=True)
            ]

    def _places(self, index: int, reached: StandReach, stance: Stance, offset: int) -> list[int]:
        """Return r for the skis that leave it open, best first; 0 for a piece fixed by its holes."""
        piece, stand = self._pattern.pieces[index], reached.stand
        end = stance.end_um(piece.follows)
        at = 0 if end is None else offset + end
        if end is None or not stand.free:
            tried = [0]
        else:
            low = max(stand.low, at - piece.forward_um)
            high = min(stand.high, at + piece.back_um)
            tried = self._tried(index, reached, low, high, at) if low <= high else []
        scored = []
        for r in tried:
            room = self._room(index, stand.claims, _at(stand, r))
            if room is not None:
                scored.append((-min(room, ROOM_THAT_COUNTS_UM), abs(at - r), r))
        return [r for *_, r in sorted(scored)]

    def _tried(self, index: int, reached: StandReach, low: int, high: int, at: int) -> list[int]:
        """Return half millimetres on the ski to be drilled; where there is none, the exact place and the
        ends.
        """
        stand = reached.stand
        side = Side.A if stand.fixed[Side.A] is None else Side.B
        wanted = next(
            hole
            for hole, claim in zip(self._pattern.pieces[index].holes, stand.claims[side], strict=True)
            if claim is None
        )
        base = -(wanted.x_um + self._frame.shift_um[side])
        return list(half_steps(low, high, base_um=base)) or sorted({low, high, min(max(at, low), high)})

    def _placed(self, piece: Piece, reached: StandReach, stance: Stance, offset: int, r: int) -> PlacedPiece:
        stand, end = reached.stand, stance.end_um(piece.follows)
        at = _at(stand, r)
        if end is None:
            slide = 0 if stance.pin_um is None else offset
            slides = dict.fromkeys(Side, slide)
        else:
            slides = {
                side: min(max(offset + end - at[side], -piece.back_um), piece.forward_um) for side in Side
            }
        return PlacedPiece(r_um=at, slide_um=slides, claims=stand.claims)

    def _room(self, index: int, claims: Mapping[Side, Claims], at: Mapping[Side, int]) -> int | None:
        least = UNBOUNDED_UM
        for side in _SIDES:
            room = self._rooms.of(index, side, claims[side], at[side])
            if room is None:
                return None
            least = min(least, room)
        return least

    def _clearance(self, pieces: Sequence[PlacedPiece], *, at_least: int = 0) -> int | None:
        """Return the least room of the whole mount, `UNBOUNDED_UM` with nothing near, None if not legal.

        None also where it is less than ``at_least``.
        """
        least = UNBOUNDED_UM
        for index, placed in enumerate(pieces):
            room = self._room(index, placed.claims, placed.r_um)
            if room is None or room < at_least:
                return None
            least = min(least, room)
        for (i, one), (j, other) in combinations(enumerate(pieces), 2):
            for side in _SIDES:
                room = self._rooms.between(
                    (i, one.claims[side], one.r_um[side]), (j, other.claims[side], other.r_um[side]), side
                )
                if room is None or room < at_least:
                    return None
                least = min(least, room)
        return least

    def _way(self, rung: Rung, settled: _Settled, stance: Stance) -> Way:
        combination, pieces = settled.combination, settled.pieces
        used = {side: {c for placed in pieces for c in placed.claims[side]} for side in _SIDES}
        plug = {
            side: tuple(
                self._pair.skis[side].holes[index].hole_id
                for of_side, index in self._to_plug
                if of_side is side and index not in used[side]
            )
            for side in Side
        }
        way = Way(
            rung=rung,
            pattern=self._pattern.name,
            bsl_um=stance.bsl_um,
            offset_um=settled.offset,
            skis={
                side: planned_ski(
                    rule=self._rule,
                    pair=self._pair,
                    frame=self._frame,
                    pattern=self._pattern,
                    stance=stance,
                    offset_um=settled.offset,
                    pieces=pieces,
                    side=side,
                    plug=plug[side],
                )
                for side in Side
            },
            drilled=combination.drilled,
            plugged=sum(map(len, plug.values())),
            minutes=combination.minutes,
            clearance_um=settled.clearance_um,
        )
        return with_jig(way, self._pattern, bench_error_um=self._rule.bench_error_um)


def _at(stand: Stand, r: int) -> dict[Side, int]:
    return {side: r if (fixed := stand.fixed[side]) is None else fixed for side in _SIDES}


def ways_for(
    *,
    pair: Pair,
    pattern: Pattern,
    bsl_um: int,
    policy: Policy,
    mounted: bool,
    pin_um: int | None = None,
) -> tuple[Way, ...]:
    """Return the best way of each rung of the ladder, in rung order; empty where there is none. Pure.

    Best within a rung: fewest holes drilled, fewest minutes, smallest |offset|, largest clearance.
    ``mounted``: the pair carries this pattern's binding now. For many sole lengths of one pair and pattern
    make one `WayFinder` and ask it. Raises BadInput where a needed policy is not set.
    """
    return WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=mounted).ways(bsl_um, pin_um=pin_um)
