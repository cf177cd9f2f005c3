"""The jig setting of a way: one setting that drills its new holes, or none.

A jig holds the pieces of its pattern as far apart as one sole length asks, and lies with its centre on the
ski's own mark or so far beside it. One setting has to do for both skis. Both numbers are printed, so only
numbers that a bench can read are tried, and the best of them is the one whose farthest hole is nearest.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from math import isqrt

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.holes import Side
from fleet.facts.patterns import Follows, Pattern
from planner.geometry.placement.intervals import Interval
from planner.geometry.placement.settle import half_steps
from planner.plan.values import How, Jig, PlannedSki, Way

_READABLE_UM = 100
_HALVES = {Follows.TOE: 1, Follows.HEEL: -1, Follows.CENTRE: 0, Follows.MARK: 0}
"""By how many half soles the followed place lies before the jig's centre. What stays at the mark lies in the
middle of the jig, which is laid on the mark: moved beside it, the jig takes that piece along."""


@dataclass(frozen=True, slots=True)
class _Target:
    """A new hole: the place its piece would need for it, and its distance across from that place."""

    halves: int
    at_um: int
    across_um: int


def with_jig(way: Way, pattern: Pattern, *, bench_error_um: int) -> Way:
    """Return the way with its jig; the pieces that the jig drills get ``how`` *jig*."""
    jig = jig_for(way.skis, pattern, bsl_um=way.bsl_um, bench_error_um=bench_error_um)
    if jig is None:
        return way
    skis = {
        side: replace(
            ski,
            pieces=tuple(
                replace(piece, how=How.JIG) if piece.how is How.TEMPLATE else piece for piece in ski.pieces
            ),
        )
        for side, ski in way.skis.items()
    }
    return replace(way, skis=skis, jig=jig)


def jig_for(
    skis: Mapping[Side, PlannedSki], pattern: Pattern, *, bsl_um: int, bench_error_um: int
) -> Jig | None:
    """Return the setting that drills every new hole within the bench error; None where there is none or no
    hole is new.
    """
    targets = tuple(_targets(skis, pattern))
    reach = _reach(targets, bench_error_um)
    if not targets or reach is None:
        return None
    settings = (
        (_worst(targets, sole, centre), abs(sole - bsl_um), abs(centre), sole, centre)
        for sole in _soles(reach, bsl_um)
        if pattern.takes_bsl(sole)
        for centre in half_steps(*_centres(reach, sole))
    )
    best = min(settings, default=None)
    return None if best is None else Jig(sole_um=best[3], centre_um=best[4])


def _targets(skis: Mapping[Side, PlannedSki], pattern: Pattern) -> Iterator[_Target]:
    pieces = {piece.name.value: piece for piece in pattern.pieces}
    for ski in skis.values():
        for hole in ski.holes:
            if hole.do == "drill":
                piece = pieces[hole.piece]
                listed = piece.holes[hole.number - 1]
                yield _Target(_HALVES[piece.follows], hole.x_um - listed.x_um, hole.y_um - listed.y_um)


def _reach(targets: tuple[_Target, ...], within_um: int) -> dict[int, Interval] | None:
    """Return the limits, in half soles, of the place of those pieces; None where a hole is too far across."""
    found: dict[int, Interval] = {}
    for target in targets:
        if abs(target.across_um) > within_um:
            return None
        # what the circle of the allowed error leaves along the ski, rounded down: never more than allowed
        room = isqrt(within_um**2 - target.across_um**2)
        low, high = found.get(target.halves, (target.at_um - room, target.at_um + room))
        found[target.halves] = (max(low, target.at_um - room), min(high, target.at_um + room))
    return found


def _soles(reach: Mapping[int, Interval], bsl_um: int) -> list[int]:
    """Return the sole lengths worth trying: the boot's, and the ones that the distance of two drilled pieces
    asks for.
    """
    soles = {bsl_um} if bsl_um % _READABLE_UM == 0 else set(half_steps(bsl_um - 250, bsl_um + 250))
    for (one, (low, high)), (other, (least, most)) in combinations(reach.items(), 2):
        between = sorted(2 * length // (one - other) for length in (low - most, high - least))
        soles |= set(half_steps(between[0] - BENCH_STEP_UM, between[1] + BENCH_STEP_UM))
    return sorted(soles)


def _centres(reach: Mapping[int, Interval], sole_um: int) -> Interval:
    """Return the range of the jig's centre at this setting; low is above high where no place does."""
    ends = [
        (low - halves * sole_um // 2, high - halves * sole_um // 2) for halves, (low, high) in reach.items()
    ]
    return max(low for low, _ in ends), min(high for _, high in ends)


def _worst(targets: tuple[_Target, ...], sole_um: int, centre_um: int) -> int:
    """Return the squared distance of the farthest hole from its place, µm²."""
    return max(
        (centre_um + target.halves * sole_um // 2 - target.at_um) ** 2 + target.across_um**2
        for target in targets
    )
