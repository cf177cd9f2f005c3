"""Screws of an order that are driven into wood: they take glue. A screw in an insert takes none."""

from __future__ import annotations

from fleet.facts.holes import HoleState
from fleet.facts.pairs import Pair
from planner.plan.values import PlannedSet, Rung


def screws_in_wood(pair: Pair, planned: PlannedSet) -> int:
    """Return how many screws of both skis the order drives into wood, by new holes and by old ones."""
    if planned.way.rung.rank <= Rung.ADJUST.rank:
        return 0
    inserts = {
        hole.hole_id for ski in pair.skis.values() for hole in ski.holes if hole.state is HoleState.INSERT
    }
    screws = planned.way.screws.values()
    return sum(hole.do == "drill" or hole.hole_id not in inserts for hole in screws)
