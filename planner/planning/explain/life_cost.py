"""The life that a set's drilling costs the skis: further mounts by the shop's spacing, before and after."""

from dataclasses import dataclass

from fleet.tables.snapshot import Fleet
from planner.geometry.life.fleet_life import FleetLife
from planner.plan.values import PlannedSet
from planner.planning.assign.geometry import as_left


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeCost:
    """Further mounts of the set's pattern that are surely possible now, and once it is drilled."""

    pattern: str
    before: int
    after: int


def life_cost(fleet: Fleet, planned: PlannedSet) -> LifeCost | None:
    """None where nothing is drilled, or where the pattern's life cannot be told for this kind of pair."""
    if not planned.way.drilled:
        return None
    pair, lives = fleet.pair(planned.pair), FleetLife(fleet)
    numbers = []
    for each in (pair, as_left(pair, planned.way)):
        found = [x for x in lives.of(each).by_pattern if x.pattern == planned.way.pattern]
        if not found:
            return None
        numbers.append(found[0].at_least)
    return LifeCost(pattern=planned.way.pattern, before=numbers[0], after=numbers[1])
