"""The life that a set's drilling costs the skis: further mounts by the shop's spacing, before and after."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fleet.facts.holes import Hole, HoleState, Knowledge
from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from planner.geometry.life.fleet_life import FleetLife
from planner.plan.values import PlannedSet


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeCost:
    """Further mounts of the set's pattern that are surely possible now, and once it is drilled."""

    pattern: str
    before: int
    after: int


def life_cost(fleet: Fleet, planned: PlannedSet, *, seconds: float = 1.0) -> LifeCost | None:
    """None where nothing is drilled, or where the pattern's life cannot be told for this kind of pair."""
    if not planned.way.drilled:
        return None
    pair, lives = fleet.pair(planned.pair), FleetLife(fleet)
    numbers = []
    for each in (pair, _drilled(pair, planned)):
        found = [x for x in lives.of(each, seconds=seconds).by_pattern if x.pattern == planned.way.pattern]
        if not found:
            return None
        numbers.append(found[0].at_least)
    return LifeCost(pattern=planned.way.pattern, before=numbers[0], after=numbers[1])


def _drilled(pair: Pair, planned: PlannedSet) -> Pair:
    """The pair as the order leaves it: its new holes as planned, not measured."""
    skis = {}
    for side, ski in pair.skis.items():
        work = planned.way.skis[side]
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
