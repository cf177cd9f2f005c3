"""The geometry as the planning problem asks for it: what each way costs, and the way itself when chosen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from fleet.equipment import Pair
from fleet.patterns import Pattern
from fleet.policy import Policy
from planner.placement.ways import WayCost, WayFinder
from planner.plan_values import Rung, Way

Sole = tuple[int, int | None]
"""Boot sole length and pin line, micrometres."""

RUNGS = tuple(Rung)

_SWEEPS_KEPT = 1_000
"""Sweeps (a pair with a pattern) kept at once: a shop's fleet whole, a large one a part at a time."""


class WaysFor(Protocol):
    """The geometry of one pair, pattern and sole: the best way of each rung, in rung order."""

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
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What the ways cost; every array has the shape (pairs, soles, rungs).

    ``drilled`` is -1 where there is no such way; ``offset_um`` is |u|; ``clearance_um`` is capped by policy.
    """

    drilled: npt.NDArray[np.int32]
    minutes: npt.NDArray[np.int32]
    offset_um: npt.NDArray[np.int32]
    clearance_um: npt.NDArray[np.int32]


def counted_clearance(way: Way | WayCost, cap_um: int) -> int:
    """Clearance as plans are compared by: capped; a way without a drill counts the cap."""
    return cap_um if way.clearance_um is None else min(way.clearance_um, cap_um)


def costs_of_ways(
    ways: WaysFor,
    *,
    pairs: Sequence[Pair],
    pattern: Pattern,
    soles: Sequence[Sole],
    policy: Policy,
    mounted: bool,
    asked: npt.NDArray[np.bool_],
) -> Costs:
    """The costs, asked way by way. ``asked`` (pairs, soles): what nobody wants together is not looked at."""
    priced = ways.costs if isinstance(ways, SweptWays) else ways
    cap = policy.um("clearance_counted_max_mm")
    shape = (len(pairs), len(soles), len(RUNGS))
    drilled = np.full(shape, -1, dtype=np.int32)
    minutes, offset, clearance = (np.zeros(shape, dtype=np.int32) for _ in range(3))
    for p, pair in enumerate(pairs):
        for s, (bsl, pin) in enumerate(soles):
            if not asked[p, s]:
                continue
            for way in priced(
                pair=pair, pattern=pattern, bsl_um=bsl, policy=policy, mounted=mounted, pin_um=pin
            ):
                at = (p, s, way.rung.rank)
                drilled[at], minutes[at] = way.drilled, way.minutes
                offset[at], clearance[at] = abs(way.offset_um), counted_clearance(way, cap)
    return Costs(drilled=drilled, minutes=minutes, offset_um=offset, clearance_um=clearance)


class SweptWays:
    """Ways by pair and pattern, swept once for all soles; keeps the newest sweeps, for the chosen ways."""

    def __init__(self) -> None:
        self._finders: dict[tuple[int, int, int], tuple[tuple[Pair, Pattern, Policy], WayFinder]] = {}

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
        """As `planner.placement.ways.ways_for`; a mounted pair only adds the ways that touch no screw."""
        found = self._finder(pair, pattern, policy).ways(bsl_um, pin_um=pin_um)
        return found if mounted else tuple(w for w in found if w.rung.rank > Rung.ADJUST.rank)

    def costs(
        self,
        *,
        pair: Pair,
        pattern: Pattern,
        bsl_um: int,
        policy: Policy,
        mounted: bool,
        pin_um: int | None = None,
    ) -> tuple[WayCost | Way, ...]:
        """What the ways would cost, without making them."""
        found = self._finder(pair, pattern, policy).costs(bsl_um, pin_um=pin_um)
        return found if mounted else tuple(w for w in found if w.rung.rank > Rung.ADJUST.rank)

    def _finder(self, pair: Pair, pattern: Pattern, policy: Policy) -> WayFinder:
        """Known by what was asked itself, which is kept, so that no other can come to its address."""
        key = (id(pair), id(pattern), id(policy))
        if key not in self._finders:
            if len(self._finders) >= _SWEEPS_KEPT:
                del self._finders[next(iter(self._finders))]
            finder = WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=True)
            self._finders[key] = ((pair, pattern, policy), finder)
        return self._finders[key][1]
