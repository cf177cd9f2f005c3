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
from planner.placement.ways import WayFinder
from planner.plan_values import Rung, Way

Sole = tuple[int, int | None]
"""Boot sole length and pin line, micrometres."""

RUNGS = tuple(Rung)


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


def counted_clearance(way: Way, cap_um: int) -> int:
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
) -> Costs:
    """The costs, asked way by way."""
    cap = policy.um("clearance_counted_max_mm")
    shape = (len(pairs), len(soles), len(RUNGS))
    drilled = np.full(shape, -1, dtype=np.int32)
    minutes, offset, clearance = (np.zeros(shape, dtype=np.int32) for _ in range(3))
    for p, pair in enumerate(pairs):
        for s, (bsl, pin) in enumerate(soles):
            for way in ways(
                pair=pair, pattern=pattern, bsl_um=bsl, policy=policy, mounted=mounted, pin_um=pin
            ):
                at = (p, s, way.rung.rank)
                drilled[at], minutes[at] = way.drilled, way.minutes
                offset[at], clearance[at] = abs(way.offset_um), counted_clearance(way, cap)
    return Costs(drilled=drilled, minutes=minutes, offset_um=offset, clearance_um=clearance)


class SweptWays:
    """Ways by pair and pattern, swept once for all soles; keeps the sweeps of the pair asked last."""

    def __init__(self) -> None:
        self._pair: Pair | None = None
        self._finders: dict[str, WayFinder] = {}
        self._found: dict[tuple[str, int, int | None], tuple[Way, ...]] = {}

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
        if pair is not self._pair:
            self._pair, self._finders, self._found = pair, {}, {}
        key = (pattern.name, bsl_um, pin_um)
        if key not in self._found:
            finder = self._finders.get(pattern.name)
            if finder is None:
                finder = WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=True)
                self._finders[pattern.name] = finder
            self._found[key] = finder.ways(bsl_um, pin_um=pin_um)
        found = self._found[key]
        return found if mounted else tuple(w for w in found if w.rung.rank > Rung.ADJUST.rank)
