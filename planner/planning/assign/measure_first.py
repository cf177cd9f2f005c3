"""Unknown facts that keep sets from being served: planned again as if they were measured.

What a measurement would show nobody knows: a zone counts as wide as the widest in the shop, a ski not seen
bare as without further holes, a waist as the commonest brake asks, the brake of a binding, loose or on a pair
that serves nobody, as its partner's, the commonest of its pattern or as the commonest waist asks, a sole as
that of the next boot. So the sets that come of it are the most that measuring can bring: "up to".
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

import numpy as np

from fleet.base.errors import PlanFault
from fleet.base.units import counted, first_of
from fleet.facts.boots import Boot
from fleet.facts.kinds import KindRule
from fleet.facts.pairs import Binding, Brake, InspectedArea, Pair, Ski
from fleet.tables.snapshot import Fleet
from planner.planning.assign.binding_stock import BindingSort
from planner.planning.assign.classes import wants_boot, wants_pair
from planner.planning.assign.deadline import NEVER, Deadline
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.lexicographic import Solution, solve
from planner.planning.assign.problem import Problem, build_problem

THEN: Final = "; then "
"""Between what is measured first and what helps the rest of a want."""
_MOST_NAMED: Final = 8
_WIDEST: Final = (600_000, 600_000, 80_000)
"""The widest zone that may be entered, for a shop in which none is known."""
_ASSUMED_COSTS: Final = 1_000_000
"""Holes that a set on assumed facts costs in thought: it is chosen only where it serves a set more."""


@dataclass(frozen=True, slots=True)
class _Unknown:
    """The facts that are not known of a pair or boot, in words, and the minutes to measure them."""

    facts: tuple[str, ...]
    minutes: float


def measure_first(
    fleet: Fleet, problem: Problem, solution: Solution, ways: SweptWays, deadline: Deadline = NEVER
) -> dict[str, str]:
    """Return for each want that is short what to measure before anything is bought, where it may help.

    Once the ``deadline`` is over, what a plan made in one pass shows.
    """
    served = Counter(problem.wishes[each.wish].wish for each in solution.sets)
    short = {w.wish for w in fleet.wishes if served[w.wish] < w.quantity}
    if not short:
        return {}
    pairs, boots, unknown = _as_if_measured(fleet)
    braked = _brakes_as_if_measured(fleet, busy={each.pair for each in solution.sets})
    if not unknown and not braked:
        return {}
    supposed = replace(
        fleet,
        pairs=dict(fleet.pairs) | pairs,
        boots=dict(fleet.boots) | boots,
        bindings=dict(fleet.bindings) | braked,
    )
    thought = build_problem(
        supposed, ways=ways, minutes_limit=problem.minutes_limit, parts_limit_cents=problem.parts_limit_cents
    )
    try:
        found = solve(_reluctant(thought, unknown), lambda _: None, deadline)
    except PlanFault:
        return {}
    then = Counter(thought.wishes[each.wish].wish for each in found.sets)
    used = [
        (thought.wishes[s.wish].wish, tag) for s in found.sets for tag in (s.pair, s.boot) if tag in unknown
    ]
    for wish, names in _leaning_on(braked, problem, thought, found):
        unknown[names] = _Unknown(("the brake",), float(fleet.policy.number("minutes_measure")))
        used.append((wish, names))
    said = {}
    for wish in sorted(short):
        gain = then[wish] - served[wish]
        mine = [tag for of, tag in used if of == wish] or [tag for _, tag in used]  # one frees another
        if gain > 0 and mine:
            said[wish] = f"measure first: {_words(mine, unknown)}; serves up to {counted(gain, 'more set')}"
    return said


def _reluctant(problem: Problem, unknown: Mapping[str, _Unknown]) -> Problem:
    """The problem in which facts that were assumed are leant on as little as the sets served allow."""
    pair = np.array([bool(set(p.tags) & unknown.keys()) for p in problem.pairs], dtype=np.int64)
    boot = np.array([bool(set(b.tags) & unknown.keys()) for b in problem.boots], dtype=np.int64)
    if not len(problem.arcs):
        return problem
    arcs = problem.arcs
    leant = pair[arcs.pair] + boot[arcs.boot]
    return replace(problem, arcs=replace(arcs, drilled=arcs.drilled + leant * _ASSUMED_COSTS))


def _leaning_on(
    braked: Mapping[str, Binding], problem: Problem, thought: Problem, found: Solution
) -> Iterator[tuple[str, str]]:
    """Yield (want, the bindings to measure) of each set that gets a binding whose brake nobody knows."""
    names = _to_measure(braked, own={each.pair for each in found.sets})
    taken: Counter[BindingSort] = Counter()
    for each in found.sets:
        sort = each.sort
        if sort is None or sort not in names:
            continue
        taken[sort] += 1
        if taken[sort] > problem.supply.get(sort, 0) and names[sort]:
            yield thought.wishes[each.wish].wish, names[sort].pop(0)


def _to_measure(braked: Mapping[str, Binding], *, own: Collection[str]) -> dict[BindingSort, list[str]]:
    """The bindings for one pair of skis in words, by the sort that they are taken for: loose ones first, then
    those of a pair that carries no set of its own (``own``: the pairs that do).
    """
    loose: dict[BindingSort, list[str]] = {}
    mounted: dict[tuple[str, BindingSort], list[str]] = {}
    for name, binding in braked.items():
        if binding.on_pair is None:
            loose.setdefault(BindingSort.of(binding), []).append(name)
        elif binding.on_pair not in own:
            mounted.setdefault((binding.on_pair, BindingSort.of(binding)), []).append(name)
    found = {
        sort: [f"{one} and {other}" for one, other in zip(names[::2], names[1::2], strict=False)]
        for sort, names in loose.items()
    }
    for (_, sort), names in mounted.items():
        found.setdefault(sort, []).append(" and ".join(names))
    return found


def _brakes_as_if_measured(fleet: Fleet, *, busy: Collection[str]) -> dict[str, Binding]:
    """The bindings whose brake is not known, loose or on a pair that is planned for nobody (``busy``: the
    others), each with the brake of its partner, else with the commonest of its pattern or of the shop, else
    with one that fits the commonest waist.
    """
    known = [b for b in fleet.bindings.values() if isinstance(b.brake_um, int)]
    of_shop = Counter(b.brake_um for b in known)
    if not of_shop:
        waists = (pair.waist_um for pair in fleet.pairs.values() if pair.plannable)
        of_shop = Counter(waist for waist in waists if waist is not None)
    of_pair = {b.on_pair: b.brake_um for b in known if b.on_pair is not None}
    found = {}
    for name, binding in sorted(fleet.bindings.items()):
        if binding.on_pair in busy or binding.asks or binding.brake_um is not Brake.UNKNOWN:
            continue
        widths = Counter(b.brake_um for b in known if b.pattern == binding.pattern) or of_shop
        partner = of_pair.get(binding.on_pair or "")
        if partner is not None or widths:
            width = partner if partner is not None else widths.most_common(1)[0][0]
            found[name] = replace(binding, brake_um=width)
    return found


def _words(tags: Sequence[str], unknown: Mapping[str, _Unknown]) -> str:
    of: dict[tuple[str, ...], list[str]] = {}
    for tag in tags:
        of.setdefault(unknown[tag].facts, []).append(tag)
    minutes = ceil(sum(unknown[tag].minutes for tag in tags))
    facts = "; ".join(f"{' and '.join(facts)} of {_named(each)}" for facts, each in of.items())
    return f"{facts}, about {counted(minutes, 'minute')}"


def _named(tags: list[str]) -> str:
    return f"{len(tags)} ({first_of(tags, _MOST_NAMED)})" if len(tags) > 1 else tags[0]


def _as_if_measured(fleet: Fleet) -> tuple[dict[str, Pair], dict[str, Boot], dict[str, _Unknown]]:
    pairs: dict[str, Pair] = {}
    boots: dict[str, Boot] = {}
    unknown: dict[str, _Unknown] = {}
    each = float(fleet.policy.number("minutes_measure"))
    off = float(fleet.policy.number("minutes_take_off"))
    zone, waist = _widest_zone(fleet), _waist_for_brakes(fleet)
    mounted = {b.on_pair for b in fleet.bindings.values()}
    rule = KindRule(fleet.policy)
    for tag, pair in fleet.pairs.items():
        if pair.waist_um is not None and all(s.zone_known and s.inspected for s in pair.skis.values()):
            continue
        of_pair = pair.waist_um is None and waist is not None
        unzoned = {side for side, ski in pair.skis.items() if not ski.zone_known}
        unseen = {side for side, ski in pair.skis.items() if not ski.inspected}
        lacking = (
            ("the waist", of_pair),
            ("the mounting zone", unzoned),
            ("the holes seen bare (or that it is new)", unseen),
        )
        facts = tuple(words for words, lacks in lacking if lacks)
        if facts and pair.plannable and any(wants_pair(wish, pair, rule) for wish in fleet.wishes):
            minutes = each * max(int(of_pair), len(unzoned | unseen)) + (
                off if unseen and tag in mounted else 0
            )
            skis = {side: _ski(ski, zone) for side, ski in pair.skis.items()}
            pairs[tag] = replace(pair, skis=skis, waist_um=waist if pair.waist_um is None else pair.waist_um)
            unknown[tag] = _Unknown(facts, minutes)
    for boot in fleet.boots.values():
        if boot.bsl_um is not None or not boot.plannable:
            continue
        if not any(wants_boot(wish, boot, rule) for wish in fleet.wishes):
            continue
        if (like := _next_boot(fleet, boot)) is not None:
            boots[boot.tag] = replace(boot, bsl_um=like.bsl_um)
            unknown[boot.tag] = _Unknown(("the sole length",), each)
    return pairs, boots, unknown


def _ski(ski: Ski, zone: tuple[int, int, int]) -> Ski:
    back, front, half = zone
    if not ski.zone_known:
        ski = replace(ski, zone_back_um=back, zone_front_um=front, zone_half_width_um=half)
    if ski.inspected:
        return ski
    area = InspectedArea(from_um=-(ski.zone_back_um or 0), to_um=ski.zone_front_um or 0, how="bare", on="")
    return replace(ski, inspected=(area,))


def _widest_zone(fleet: Fleet) -> tuple[int, int, int]:
    known = list(_zones(fleet)) or [_WIDEST]
    back, front, half = map(max, zip(*known, strict=True))
    return back, front, half


def _zones(fleet: Fleet) -> Iterator[tuple[int, int, int]]:
    for pair in fleet.pairs.values():
        for ski in pair.skis.values():
            back, front, half = ski.zone_back_um, ski.zone_front_um, ski.zone_half_width_um
            if back is not None and front is not None and half is not None:
                yield back, front, half


def _waist_for_brakes(fleet: Fleet) -> int | None:
    """The waist that the commonest brake of the shop fits; None without any brake."""
    brakes = Counter(b.brake_um for b in fleet.bindings.values())
    widths = [(-count, width) for width, count in brakes.items() if isinstance(width, int)]
    return min(widths)[1] if widths else None


def _next_boot(fleet: Fleet, boot: Boot) -> Boot | None:
    """The boot of that sole type whose sole is known and whose size is nearest."""
    size = boot.mondopoint_mm or 0
    alike = [b for b in fleet.boots.values() if b.bsl_um is not None and b.sole_type == boot.sole_type]
    return min(alike, key=lambda b: (abs((b.mondopoint_mm or 0) - size), b.tag), default=None)
