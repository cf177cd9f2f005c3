"""The room for further mounts that ways leave, and of places that are as good the one that leaves most."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import islice
from types import MappingProxyType
from typing import Any, Final

from fleet.facts.holes import Hole, HoleState, Knowledge
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from planner.geometry.life.fleet_life import FleetLife
from planner.plan.values import Room, Rung, Way
from planner.planning.assign.geometry import SweptWays

MOST_COUNTED: Final = 1_500
"""Ways, or pairs, whose room is counted for one plan, about a hundredth of a second each; with more there is
no such level."""
_PLACES: Final = 40
"""Places looked at for one way."""

Question = tuple[str, str, int, int | None, Rung, bool]


class RoomLeft:
    """The room that is left by the spacing and by the shop's rule, counted once for each way."""

    def __init__(
        self, fleet: Fleet, ways: SweptWays, *, before: Mapping[str, Way] = MappingProxyType({})
    ) -> None:
        """``before``: by pair, the way of an earlier plan, whose place stays where it is as good."""
        self._fleet, self._ways, self._before = fleet, ways, before
        self._lives = FleetLife(fleet)
        self._known: dict[Question, Way | None] = {}
        self._now: dict[str, int] = {}

    def can_count(self, questions: Iterable[Mapping[str, Any]]) -> bool:
        """Return whether they are few enough for a plan to wait for."""
        return len({_key(**each) for each in questions} | self._known.keys()) <= MOST_COUNTED

    def way(self, **question: Any) -> Way | None:
        """The way at a rung that moves a screw, at the place that leaves most room; None if there is none."""
        key = _key(**question)
        if key not in self._known:
            self._known[key] = self._roomiest(**question)
        return self._known[key]

    def _roomiest(self, *, pair: Pair, **question: Any) -> Way | None:
        alike = self._ways.alike(pair=pair, policy=self._fleet.policy, **question)
        places: Iterable[Way] = islice(alike, _PLACES)
        if stays := self._before.get(pair.tag):
            places = list(places)
            places = [each for each in places if each.skis == stays.skis] or places
        now = self.now(pair)
        best: Way | None = None
        for way in places:
            found = replace(way, room=self._left(pair, way, now))
            if best is None or _kept(found) > _kept(best):
                best = found
            if _kept(best) >= min(now, self._rule_after(pair, way)):
                break
        return best

    def now(self, pair: Pair) -> int:
        """The further mounts that the pair may take as it stands."""
        if pair.tag not in self._now:
            rule = self._by_rule(pair)
            self._now[pair.tag] = self._lives.places(pair, most=rule) if rule else 0
        return self._now[pair.tag]

    def _left(self, pair: Pair, way: Way, now: int) -> Room:
        rule = self._rule_after(pair, way)
        return Room(before=now, kept=self._lives.places(as_left(pair, way), most=rule), rule=rule)

    def _rule_after(self, pair: Pair, way: Way) -> int:
        return max(0, self._by_rule(pair) - bool(way.drilled))

    def _by_rule(self, pair: Pair) -> int:
        return max(0, self._fleet.policy.count("mounts_max") - pair.drilled_mounts)


def as_left(pair: Pair, way: Way) -> Pair:
    """The pair as the order leaves it: its new holes as planned, not measured."""
    skis = {}
    for side, ski in pair.skis.items():
        work = way.skis[side]
        old = tuple(replace(h, state=HoleState.PLUGGED) if h.hole_id in work.plug else h for h in ski.holes)
        new = tuple(
            Hole(
                hole_id=f"planned {hole.piece} {hole.number}",
                x_um=hole.x_um,
                y_um=hole.y_um,
                diameter_um=hole.diameter_um,
                depth_um=hole.depth_um,
                state=HoleState.SCREWED,
                knowledge=Knowledge.DRILLED_HERE,
            )
            for hole in work.holes
            if hole.do == "drill"
        )
        skis[side] = replace(ski, holes=old + new)
    return replace(pair, skis=skis)


def _key(
    *, rung: Rung, pair: Pair, pattern: Pattern, bsl_um: int, pin_um: int | None, mounted: bool
) -> Question:
    return pair.tag, pattern.name, bsl_um, pin_um, rung, mounted


def _kept(way: Way) -> int:
    return 0 if way.room is None else way.room.kept
