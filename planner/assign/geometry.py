"""The geometry as the planning problem asks for it: each pair and pattern swept once, for all soles."""

from __future__ import annotations

from fleet.equipment import Pair
from fleet.patterns import Pattern
from fleet.policy import Policy
from planner.placement.ways import WayFinder
from planner.plan_values import Way


class SweptWays:
    """Ways by pair and pattern. Keeps the sweeps of one pair, because pairs are asked one by one."""

    def __init__(self) -> None:
        self._pair: str = ""
        self._finders: dict[tuple[str, bool], WayFinder] = {}

    def __call__(
        self,
        *,
        pair: Pair,
        pattern: Pattern,
        bsl_um: int,
        policy: Policy,
        mounted: bool,
        pin_um: int | None = None,
    ) -> tuple[Way, ...]:
        """As `planner.placement.ways.ways_for`."""
        if pair.tag != self._pair:
            self._pair, self._finders = pair.tag, {}
        key = (pattern.name, mounted)
        if key not in self._finders:
            self._finders[key] = WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=mounted)
        return self._finders[key].ways(bsl_um, pin_um=pin_um)
