"""The best way of each rung of the ladder for a pair, a pattern and a boot sole length.

Legal as in `legal`, and more: a reused piece stands at the best fit to its holes (the tolerance only
admits it), new holes lie at half millimetres where that is legal, and the printed numbers are legal too.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from fleet.equipment import Pair
from fleet.holes import Side
from fleet.patterns import Pattern, Piece
from fleet.policy import Policy
from planner.placement.apart import share_a_hole
from planner.placement.frames import frame_of
from planner.placement.intervals import Interval
from planner.placement.placed import PlacedPiece, planned_ski
from planner.placement.room import UNBOUNDED_UM, Rooms, open_holes
from planner.placement.rule import may_drill, rule_for
from planner.placement.settle import candidates, fitting_range, half_steps
from planner.placement.stance import Stance, stance_for
from planner.placement.standing import standing_way
from planner.placement.stands import Reach, planned_stands, reach
from planner.plan_values import Rung, Way

_ROOM_THAT_COUNTS_UM = 10_000
"""Beyond this much room to spare a free piece is put for the middle of its travel, not for still more room
(our choice, no source: an adjustable heel at the end of its track is of no use to the next boot)."""

Rank = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class _Combination:
    """One stand for every piece, with what it costs whatever the offset."""

    reaches: tuple[Reach, ...]
    hard: Interval
    best: Interval
    drilled: int
    reused: int
    plug: dict[Side, tuple[str, ...]]
    minutes: int
    order: int

    @property
    def least_offset_um(self) -> int:
        """No offset of this combination is nearer the mark."""
        low, high = self.best
        return max(0, low - 250, -high - 250)


class WayFinder:
    """The ways of one pattern on one pair: swept once, asked for many sole lengths."""

    def __init__(self, *, pair: Pair, pattern: Pattern, policy: Policy, mounted: bool) -> None:
        """``mounted``: the pair carries this pattern's binding now. Raises BadInput for an unset policy."""
        self._pair, self._pattern, self._mounted = pair, pattern, mounted
        self._rule = rule_for(policy, pair.construction)
        self._frame = frame_of(pair)
        self._rooms = Rooms(rule=self._rule, pair=pair, frame=self._frame, pattern=pattern)
        drill = may_drill(pair, self._rule)
        self._stands = [
            planned_stands(self._rule, pair, self._frame, piece, drill=drill) for piece in pattern.pieces
        ]

    def ways(self, bsl_um: int, *, pin_um: int | None = None) -> tuple[Way, ...]:
        """The best way of each rung for this sole, in rung order; empty if there is none."""
        if not self._pattern.takes_bsl(bsl_um):
            return ()
        stance = stance_for(self._pattern, bsl_um, pin_um)
        best: dict[Rung, tuple[Rank, Way]] = {}
        for combination in self._combinations(stance):
            rung = _rung_of(combination)
            known = [best[r][0] for r in rung if r in best]
            cost = (combination.drilled, combination.minutes, combination.least_offset_um)
            if len(known) == len(rung) and all(cost > rank[:3] for rank in known):
                continue
            way = self._settled(combination, stance)
            if way is None:
                continue
            rank = (way.drilled, way.minutes, abs(way.offset_um), -(way.clearance_um or 0))
            if way.rung not in best or rank < best[way.rung][0]:
                best[way.rung] = (rank, way)
        found = {rung: way for rung, (_, way) in best.items()}
        if self._mounted:
            standing = standing_way(
                rule=self._rule, pair=self._pair, frame=self._frame, pattern=self._pattern, stance=stance
            )
            if standing is not None:
                found[standing.rung] = standing
        return tuple(found[rung] for rung in Rung if rung in found)

    def _combinations(self, stance: Stance) -> list[_Combination]:
        """Every meeting of stands that claims no hole twice, cheapest first."""
        reaches = [
            [r for stand in stands if (r := reach(self._rule, stand, piece, stance)) is not None]
            for stands, piece in zip(self._stands, self._pattern.pieces, strict=True)
        ]
        found = []
        for order, chosen in enumerate(product(*reaches)):
            hard = (max(r.hard[0] for r in chosen), min(r.hard[1] for r in chosen))
            if hard[0] > hard[1]:
                continue
            if any(share_a_hole(a.stand.claims, b.stand.claims) for a, b in combinations(chosen, 2)):
                continue
            fits = [r.fit for r in chosen if r.stand.reused]
            drilled = sum(r.stand.drilled for r in chosen)
            used = {side: {c for r in chosen for c in r.stand.claims[side] if c is not None} for side in Side}
            plug = open_holes(self._pair, used)
            found.append(
                _Combination(
                    reaches=chosen,
                    hard=hard,
                    best=fitting_range(hard, fits),
                    drilled=drilled,
                    reused=sum(r.stand.reused for r in chosen),
                    plug=plug,
                    minutes=self._rule.minutes_for(
                        take_off=self._pair.current_mount is not None,
                        drilled=drilled,
                        plugged=sum(map(len, plug.values())),
                    ),
                    order=order,
                )
            )
        found.sort(key=lambda c: (c.drilled, c.minutes, c.least_offset_um, c.order))
        return found

    def _settled(self, combination: _Combination, stance: Stance) -> Way | None:
        """The combination at its best offset that stands every check, or None."""
        for offset in candidates(combination.hard, combination.best):
            for pieces in self._placings(combination, stance, offset):
                clearance = self._clearance(pieces)
                if clearance is not None:
                    return self._way(combination, stance, offset, pieces, clearance)
        return None

    def _placings(
        self, combination: _Combination, stance: Stance, offset: int
    ) -> Iterator[Sequence[PlacedPiece]]:
        """Places for the free pieces at this offset, most room first, then nearest the middle of travel."""
        each = [
            self._places(index, reached, stance, offset) for index, reached in enumerate(combination.reaches)
        ]
        yield from product(*each)

    def _places(self, index: int, reached: Reach, stance: Stance, offset: int) -> list[PlacedPiece]:
        piece, stand = self._pattern.pieces[index], reached.stand
        end = stance.end_um(piece.follows)
        if not stand.free:
            return [self._placed(piece, reached, stance, offset, 0)]
        if end is None:
            places: list[int] = [0]
        else:
            at = offset + end
            low = max(stand.low, at - piece.travel_forward_um)
            high = min(stand.high, at + piece.travel_back_um)
            if low > high:
                return []
            places = self._tried(index, reached, low, high, at)
        scored = []
        for r in places:
            placed = self._placed(piece, reached, stance, offset, r)
            room = self._room(index, placed)
            if room is not None:
                far = 0 if end is None else abs(offset + end - r)
                scored.append((-min(room, _ROOM_THAT_COUNTS_UM), far, r, placed))
        scored.sort(key=lambda s: s[:3])
        return [placed for *_, placed in scored]

    def _tried(self, index: int, reached: Reach, low: int, high: int, at: int) -> list[int]:
        """Half millimetres on the ski to be drilled; where there is none, the exact place and the ends."""
        stand = reached.stand
        side = Side.A if stand.fixed[Side.A] is None else Side.B
        wanted = next(
            hole
            for hole, claim in zip(self._pattern.pieces[index].holes, stand.claims[side], strict=True)
            if claim is None
        )
        base = -(wanted.x_um + self._frame.shift_um[side])
        return list(half_steps(low, high, base_um=base)) or sorted({low, high, min(max(at, low), high)})

    def _placed(self, piece: Piece, reached: Reach, stance: Stance, offset: int, r: int) -> PlacedPiece:
        stand, end = reached.stand, stance.end_um(piece.follows)
        at = {side: r if (fixed := stand.fixed[side]) is None else fixed for side in Side}
        if end is None:
            slide = 0 if stance.pin_um is None else offset
            slides = dict.fromkeys(Side, slide)
        else:
            slides = {
                side: min(max(offset + end - at[side], -piece.travel_back_um), piece.travel_forward_um)
                for side in Side
            }
        return PlacedPiece(r_um=at, slide_um=slides, claims=stand.claims)

    def _room(self, index: int, placed: PlacedPiece) -> int | None:
        least = UNBOUNDED_UM
        for side in Side:
            room = self._rooms.of(index, side, placed.claims[side], placed.r_um[side])
            if room is None:
                return None
            least = min(least, room)
        return least

    def _clearance(self, pieces: Sequence[PlacedPiece]) -> int | None:
        """The least room of the whole mount, `UNBOUNDED_UM` with nothing near, None if not legal."""
        least = UNBOUNDED_UM
        for index, placed in enumerate(pieces):
            room = self._room(index, placed)
            if room is None:
                return None
            least = min(least, room)
        for (i, one), (j, other) in combinations(enumerate(pieces), 2):
            for side in Side:
                room = self._rooms.between(
                    (i, one.claims[side], one.r_um[side]), (j, other.claims[side], other.r_um[side]), side
                )
                if room is None:
                    return None
                least = min(least, room)
        return least

    def _way(
        self,
        combination: _Combination,
        stance: Stance,
        offset: int,
        pieces: Sequence[PlacedPiece],
        clearance: int,
    ) -> Way:
        return Way(
            rung=_rung_at(combination, offset, self._rule.preferred_um),
            pattern=self._pattern.name,
            bsl_um=stance.bsl_um,
            offset_um=offset,
            skis={
                side: planned_ski(
                    rule=self._rule,
                    pair=self._pair,
                    frame=self._frame,
                    pattern=self._pattern,
                    stance=stance,
                    offset_um=offset,
                    pieces=pieces,
                    side=side,
                    plug=combination.plug[side],
                )
                for side in Side
            },
            drilled=combination.drilled,
            plugged=sum(map(len, combination.plug.values())),
            minutes=combination.minutes,
            clearance_um=None if clearance >= UNBOUNDED_UM else clearance,
        )


def _rung_of(combination: _Combination) -> tuple[Rung, ...]:
    """The rungs that this combination may turn out to be."""
    if combination.drilled == 0:
        return Rung.SAME_HOLES, Rung.CENTRE_MOVED
    return (Rung.PART_REUSED,) if combination.reused else (Rung.ALL_NEW,)


def _rung_at(combination: _Combination, offset_um: int, preferred_um: int) -> Rung:
    if combination.drilled == 0:
        return Rung.SAME_HOLES if abs(offset_um) <= preferred_um else Rung.CENTRE_MOVED
    return Rung.PART_REUSED if combination.reused else Rung.ALL_NEW


def ways_for(
    *,
    pair: Pair,
    pattern: Pattern,
    bsl_um: int,
    policy: Policy,
    mounted: bool,
    pin_um: int | None = None,
) -> tuple[Way, ...]:
    """The best way of each rung of the ladder, in rung order, pure; empty where there is none.

    Best within a rung: fewest holes drilled, fewest minutes, smallest |offset|, largest clearance.
    ``mounted``: the pair carries this pattern's binding now. For many sole lengths of one pair and pattern
    make one `WayFinder` and ask it. Raises BadInput where a needed policy is not set.
    """
    return WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=mounted).ways(bsl_um, pin_um=pin_um)
