"""Changes that unblock a pattern on a pair, nearest first. Every change is tried, none is guessed."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from fleet.base.units import length_text
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.pairs import InspectedArea, Pair, Ski
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy
from planner.geometry.placement.intervals import Interval
from planner.geometry.placement.legal import LegalFinder, offsets_only
from planner.geometry.placement.rule import Rule, may_drill, rule_for

_WIDE_UM = 2_000_000
_LITTLE_MORE_UM = 5_000
"""A window opened further than this is no help beside other changes (our choice, no source)."""
_BEST = Knowledge.MEASURED_HERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question that every change is tried on: one pattern on one pair for one sole."""

    pair: Pair
    pattern: Pattern
    bsl_um: int
    pin_um: int | None
    policy: Policy

    def legal_with(self, pair: Pair, *, drill: bool | None = None) -> bool:
        """Return True if the pair, changed like this, has a legal offset."""
        return self.nearest_with(pair, drill=drill, limit_um=None) is not None

    def nearest_with(self, pair: Pair, *, drill: bool | None, limit_um: int | None) -> int | None:
        """Return the distance (µm) from the mark to the nearest legal offset; None if there is none."""
        finder = LegalFinder(pair=pair, pattern=self.pattern, policy=self.policy, drill=drill)
        legal = offsets_only(finder.offsets(self.bsl_um, pin_um=self.pin_um, limit_um=limit_um))
        return min((max(low, -high, 0) for low, high in legal), default=None)


def changes(question: Question, beyond: list[Interval]) -> Iterator[str]:
    """Yield the changes that would unblock, nearest first: measure, then look, then change a policy."""
    pair = question.pair
    rule = rule_for(question.policy, pair.construction)
    known = _measured(question, rule)
    if known is not None:
        yield known
    surveyed = replace(pair, skis={side: _seen(pair, side) for side in Side})
    if question.legal_with(surveyed):
        skis = _needed(question, lambda side: _seen(pair, side))
        yield f"take binding and plate off, look at {skis} bare, and enter the survey"
    if not all(ski.zone_known for ski in pair.skis.values()):
        if question.legal_with(replace(pair, skis={side: _zoned(pair, side) for side in Side})):
            yield "measure and enter the mounting zone"
        elif question.legal_with(replace(pair, skis={side: _zoned(surveyed, side) for side in Side})):
            yield "measure and enter the mounting zone, and survey both skis bare"
    if beyond:
        more = min(min(abs(low), abs(high)) for low, high in beyond)
        wider = f"{_up_to_half(more - rule.limit_um)} mm more from the mark"
        yield f"a manager allows {wider} (offset_limit_mm {_up_to_half(more)})"
    if not may_drill(pair, rule) and question.legal_with(pair, drill=True):
        yield (
            f"a manager allows one mount more (mounts_max {pair.drilled_mounts + 1});"
            f" the pair has had {pair.drilled_mounts}{pair.earlier_text}"
        )


def together(question: Question) -> str | None:
    """Return the fewest changes (two or three) that unblock only together; None if there are none."""
    pair = question.pair
    rule = rule_for(question.policy, pair.construction)
    every = {(side, hole.hole_id) for side in Side for hole in pair.skis[side].holes}
    steps: list[tuple[str, Callable[[Pair], Pair]]] = [
        ("survey both skis bare", lambda p: replace(p, skis={s: _seen(p, s) for s in Side})),
        ("measure and enter the mounting zone", lambda p: replace(p, skis={s: _zoned(p, s) for s in Side})),
        ("measure all old holes again, place and diameter", lambda p: _sure(p, every, rule)),
        (f"let a manager allow one mount more (mounts_max {pair.drilled_mounts + 1})", lambda p: p),
        ("window", lambda p: p),
    ]
    mounts, window = len(steps) - 2, len(steps) - 1
    for count in (2, 3):
        for chosen in combinations(range(len(steps)), count):
            changed = pair
            for index in chosen:
                changed = steps[index][1](changed)
            nearest = question.nearest_with(
                changed,
                drill=True if mounts in chosen else None,
                limit_um=rule.limit_um + _LITTLE_MORE_UM if window in chosen else None,
            )
            if nearest is not None:
                said = [steps[index][0] for index in chosen if index != window]
                if window in chosen:
                    wider = f"{_up_to_half(nearest)} mm from the mark (offset_limit_mm)"
                    said.append(f"let a manager allow {wider}")
                return ", and ".join(said)
    return None


def _measured(question: Question, rule: Rule) -> str | None:
    """Return the fewest holes that unblock when measured again, if they are found where they are recorded."""
    pair = question.pair
    unsure = [
        (side, hole.hole_id)
        for side in Side
        for hole in pair.skis[side].holes
        if hole.knowledge is not _BEST
        or (hole.diameter_um is None and hole.state in (HoleState.OPEN, HoleState.SCREWED))
    ]
    if not unsure or not question.legal_with(_sure(pair, set(unsure), rule)):
        return None
    needed = unsure
    for hole in list(unsure):
        rest = [other for other in needed if other != hole]
        if question.legal_with(_sure(pair, set(rest), rule)):
            needed = rest
    names = ", ".join(f"{name} (ski {side.value})" for side, name in needed)
    return f"measure hole{'s' if len(needed) > 1 else ''} {names} again, place and diameter"


def _sure(pair: Pair, holes: set[tuple[Side, str]], rule: Rule) -> Pair:
    skis = {
        side: replace(
            ski,
            holes=tuple(
                replace(hole, knowledge=_BEST, diameter_um=hole.diameter_um or rule.drill_um)
                if (side, hole.hole_id) in holes
                else hole
                for hole in ski.holes
            ),
        )
        for side, ski in pair.skis.items()
    }
    return replace(pair, skis=skis)


def _seen(pair: Pair, side: Side) -> Ski:
    area = InspectedArea(from_um=-_WIDE_UM, to_um=_WIDE_UM, how="bare", on="")
    return replace(pair.skis[side], inspected=(area,))


def _zoned(pair: Pair, side: Side) -> Ski:
    ski = pair.skis[side]
    return (
        ski
        if ski.zone_known
        else replace(ski, zone_back_um=_WIDE_UM, zone_front_um=_WIDE_UM, zone_half_width_um=_WIDE_UM)
    )


def _needed(question: Question, changed: Callable[[Side], Ski]) -> str:
    """Return the one ski for which the change is enough, else both."""
    pair = question.pair
    for side in Side:
        if question.legal_with(replace(pair, skis={**pair.skis, side: changed(side)})):
            return f"ski {side.value}"
    return "both skis"


def _up_to_half(value_um: int) -> str:
    return length_text(-(-value_um // 500) * 500)
