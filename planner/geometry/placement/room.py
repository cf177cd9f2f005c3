"""The room of a planned hole beyond the distance asked, exact and as it would be printed."""

from math import isqrt

from fleet.base.units import to_half_mm
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.facts.spacing import too_near
from planner.geometry.placement.frames import PairFrame
from planner.geometry.placement.rule import Rule, drillable, ground_of
from planner.geometry.placement.sweep import Claims

UNBOUNDED_UM = 10**9
"""The room of a hole that has nothing to keep away from."""


class Rooms:
    """The room of one piece at one place on one ski, cached, because many sole lengths ask for it."""

    def __init__(self, *, rule: Rule, pair: Pair, frame: PairFrame, pattern: Pattern) -> None:
        """Prepare the cache; rooms are computed when asked for."""
        self._rule, self._frame, self._pattern = rule, frame, pattern
        self._known: dict[tuple[int, Side, Claims, int], int | None] = {}
        self._spots: dict[tuple[Side, int, int], int | None] = {}
        self._new: dict[tuple[Side, tuple[int, Claims, int]], list[tuple[int, int, int, int]]] = {}
        self._ground = {side: ground_of(rule, pair.skis[side]) for side in Side}
        self._olds = {
            side: [(hole.x_um, hole.y_um, rule.asked_um(hole)) for hole in pair.skis[side].holes]
            for side in Side
        }

    def of(self, index: int, side: Side, claims: Claims, r_um: int) -> int | None:
        """Return the smallest (distance - asked distance) over the piece's drilled holes and the ski's old
        holes, µm.

        None where a hole would not be legal, exact or as printed; `UNBOUNDED_UM` where nothing is near.
        """
        key = (index, side, claims, r_um)
        if key not in self._known:
            self._known[key] = self._measured(*key)
        return self._known[key]

    def _measured(self, index: int, side: Side, claims: Claims, r_um: int) -> int | None:
        least = UNBOUNDED_UM
        own = r_um + self._frame.shift_um[side]
        for wanted, claim in zip(self._pattern.pieces[index].holes, claims, strict=True):
            if claim is not None:
                continue
            spot = (side, own + wanted.x_um, wanted.y_um)
            if spot in self._spots:
                room = self._spots[spot]
            else:
                room = self._spots[spot] = self._hole_room(*spot)
            if room is None:
                return None
            if room < least:
                least = room
        return least

    def _hole_room(self, side: Side, x: int, y: int) -> int | None:
        ground, printed = self._ground[side], (to_half_mm(x), to_half_mm(y))
        differs = printed != (x, y)
        if not drillable(ground, x, y) or (differs and not drillable(ground, *printed)):
            return None
        least = UNBOUNDED_UM
        for hole_x, hole_y, asked in self._olds[side]:
            across, along = hole_y - y, hole_x - x
            square = along * along + across * across
            if too_near(along, across, asked):
                return None
            if differs:
                along, across = hole_x - printed[0], hole_y - printed[1]
                if too_near(along, across, asked):
                    return None
            # squares first: isqrt is slow, and most holes are too far to count
            beyond = least + asked
            if square < beyond * beyond:
                least = isqrt(square) - asked
        return least

    def between(self, one: tuple[int, Claims, int], other: tuple[int, Claims, int], side: Side) -> int | None:
        """Return the room between two pieces, each (index, claims, r): both drilled keep the spacing."""
        spacing = self._rule.spacing_um
        firsts, seconds = self._drilled(one, side), self._drilled(other, side)
        if not firsts or not seconds:
            return UNBOUNDED_UM
        both = [(first, second) for first in firsts for second in seconds]
        least = min((x - u) ** 2 + (y - v) ** 2 for (x, y, _, _), (u, v, _, _) in both)
        printed = min((x - u) ** 2 + (y - v) ** 2 for (_, _, x, y), (_, _, u, v) in both)
        return None if min(least, printed) < spacing * spacing else isqrt(least) - spacing

    def _drilled(self, placed: tuple[int, Claims, int], side: Side) -> list[tuple[int, int, int, int]]:
        """Return x and y of each hole that it drills, exact, then as printed."""
        if (side, placed) not in self._new:
            index, claims, r = placed
            exact = [
                (r + self._frame.shift_um[side] + wanted.x_um, wanted.y_um)
                for wanted, claim in zip(self._pattern.pieces[index].holes, claims, strict=True)
                if claim is None
            ]
            self._new[side, placed] = [(x, y, to_half_mm(x), to_half_mm(y)) for x, y in exact]
        return self._new[side, placed]


def holes_to_plug(pair: Pair) -> tuple[tuple[Side, int], ...]:
    """Return by ski and index the holes that a remount plugs unless it uses them."""
    return tuple(
        (side, index)
        for side in Side
        for index, hole in enumerate(pair.skis[side].holes)
        if hole.state.plugged_if_left
    )
