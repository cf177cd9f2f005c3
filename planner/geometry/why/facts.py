"""Facts that may forbid one wanted hole at one place. A person can point at each and change it."""

from dataclasses import dataclass
from enum import IntEnum
from math import isqrt

from fleet.facts.holes import Hole, Side
from fleet.facts.pairs import Pair, Ski
from fleet.facts.patterns import PatternHole
from fleet.facts.spacing import forbidden_half_um, too_near, window_half_um
from planner.geometry.placement.intervals import Interval, holds, union, without
from planner.geometry.placement.rule import Rule


class FactKind(IntEnum):
    """The kinds of facts. Earlier kinds are preferred among equals, because they are quicker to change."""

    NOT_INSPECTED = 0
    ZONE_UNKNOWN = 1
    OUTSIDE_ZONE = 2
    MOUNTS = 3
    HOLE = 4


@dataclass(frozen=True, slots=True, order=True)
class Fact:
    """One fact. ``index``: the number of the old hole on that ski, -1 for other kinds; MOUNTS stands on ski
    A.
    """

    kind: FactKind
    side: Side
    index: int = -1


@dataclass(frozen=True, slots=True)
class Ground:
    """One ski prepared for the question: its holes are shifted to the pair's reference once."""

    side: Side
    ski: Ski
    shift_um: int
    rule: Rule
    drill: bool

    def turns(self, wanted: PatternHole) -> set[int]:
        """Return the places r (µm) at which any fact about this wanted hole changes."""
        found: set[int] = set()
        for hole in self.ski.holes:
            c = hole.x_um - wanted.x_um - self.shift_um
            across = hole.y_um - wanted.y_um
            for half in (
                forbidden_half_um(across, self.rule.asked_um(hole)),
                forbidden_half_um(across, self.rule.reuse_spacing_um),
                window_half_um(across, self.rule.reuse_um),
            ):
                if half >= 0:
                    found |= {c - half, c + half + 1}
        own = wanted.x_um + self.shift_um
        for low, high in (*self._zone(), *self._seen()):
            found |= {low - own, high + 1 - own}
        return found

    def _zone(self) -> list[Interval]:
        back, front = self.ski.zone_back_um, self.ski.zone_front_um
        if back is None or front is None:
            return []
        low, high = self.rule.edge_um - back, front - self.rule.edge_um
        return [(low, high)] if low <= high else []

    def _seen(self) -> list[Interval]:
        return union((area.from_um, area.to_um) for area in self.ski.inspected)

    def against(self, wanted: PatternHole, r_um: int) -> tuple[frozenset[Fact], bool]:
        """Return the facts against this hole with its piece at r, and True if it would be a reuse."""
        x, y = r_um + self.shift_um + wanted.x_um, wanted.y_um
        squares = [(hole.x_um - x) ** 2 + (hole.y_um - y) ** 2 for hole in self.ski.holes]
        into = {
            i
            for i, hole in enumerate(self.ski.holes)
            if squares[i] <= self.rule.reuse_um**2 and self.rule.may_reuse(hole, wanted)
        }
        found = set()
        for i, hole in enumerate(self.ski.holes):
            asked = self.rule.reuse_spacing_um if into else self.rule.asked_um(hole)
            if i not in into and too_near(hole.x_um - x, hole.y_um - y, asked):
                found.add(Fact(FactKind.HOLE, self.side, i))
        if not into:
            found |= self._ground_against(x, y)
        return frozenset(found), bool(into)

    def nearness_um(self, fact: Fact, wanted: PatternHole, r_um: int) -> int | None:
        """Return the distance (µm) to the fact's old hole where it is too near; 0 for a place outside the
        zone.
        """
        x, y = r_um + self.shift_um + wanted.x_um, wanted.y_um
        if fact.kind is not FactKind.HOLE:
            return 0 if fact in self._ground_against(x, y) else None
        hole = self.ski.holes[fact.index]
        square = (hole.x_um - x) ** 2 + (hole.y_um - y) ** 2
        taken = square <= self.rule.reuse_um**2 and self.rule.may_reuse(hole, wanted)
        near = too_near(hole.x_um - x, hole.y_um - y, self.rule.asked_um(hole))
        return isqrt(square) if near and not taken else None

    def _ground_against(self, x: int, y: int) -> set[Fact]:
        found = set()
        half = self.ski.zone_half_width_um
        if not self.ski.zone_known or half is None:
            found.add(Fact(FactKind.ZONE_UNKNOWN, self.side))
        elif not holds(self._zone(), x) or abs(y) > half - self.rule.edge_um:
            found.add(Fact(FactKind.OUTSIDE_ZONE, self.side))
        if not holds(self._seen(), x):
            found.add(Fact(FactKind.NOT_INSPECTED, self.side))
        if not self.drill:
            found.add(Fact(FactKind.MOUNTS, Side.A))
        return found


def uninspected(ski: Ski) -> list[Interval]:
    """Return the stretches of the mounting zone that nobody has looked at, µm from the ski's own mark; empty
    if the zone is unknown.
    """
    if ski.zone_back_um is None or ski.zone_front_um is None:
        return []
    return without([(-ski.zone_back_um, ski.zone_front_um)], ((a.from_um, a.to_um) for a in ski.inspected))


def grounds(pair: Pair, rule: Rule, shifts: dict[Side, int], *, drill: bool) -> list[Ground]:
    """Return the grounds of both skis."""
    return [Ground(side, pair.skis[side], shifts[side], rule, drill) for side in Side]


def hole_of(pair: Pair, fact: Fact) -> Hole:
    """Return the old hole that the fact is about."""
    return pair.skis[fact.side].holes[fact.index]
