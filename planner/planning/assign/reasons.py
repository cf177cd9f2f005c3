"""Reasons in words: the facts that leave a want unserved or a pair unplanned.

And unknown facts that keep sets from being served: planned again as if they were measured. What a measurement
would show nobody knows: a zone counts as wide as the widest in the shop, a ski not seen bare as without
further holes, a waist as the commonest brake asks, the brake of a binding, loose or on a pair that serves
nobody, as its partner's, the commonest of its pattern or as the commonest waist asks, a sole as that of the
next boot. So the sets that come of it are the most that measuring can bring: "up to".
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import ceil
from typing import Final

import numpy as np

from fleet.base.errors import PlanFault
from fleet.base.grouping import grouped
from fleet.base.units import counted, first_of
from fleet.facts.boots import Boot
from fleet.facts.kinds import KIND_NOT_KNOWN, KindRule
from fleet.facts.pairs import Binding, Brake, InspectedArea, Pair, Ski
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.plan.part_prices import money_text, prices_in
from planner.plan.values import PlannedSet, Strip, UnplannedPair, Unserved
from planner.planning.assign.classes import BindingSort, wants_boot, wants_pair
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.lexicographic import Solution, solve
from planner.planning.assign.linear_program import NEVER, Deadline
from planner.planning.assign.problem import Ints, Problem, build_problem

_REASONS: Final = 3
"""So many different reasons why boots are barred are said of one want."""
_NAMED: Final = 8
"""So many bindings are named in one remedy."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """The problem and its outcome, as the reasons read them."""

    fleet: Fleet
    problem: Problem
    sets: Sequence[PlannedSet]
    strips: Sequence[Strip]
    measure: Mapping[str, str] = field(default_factory=dict)
    """By want: what to measure before anything is bought (`measure_first`)."""

    def missing(self) -> dict[int, int]:
        """Sets a wish is short of, by wish index, where any."""
        served = Counter(s.wish for s in self.sets)
        short = {i: w.quantity - served[w.wish] for i, w in enumerate(self.problem.wishes)}
        return {i: n for i, n in short.items() if n > 0}


def unserved(outcome: Outcome) -> tuple[Unserved, ...]:
    """Every wish that is short, with the first fact that blocks it and the nearest remedy: measured first."""
    rows = []
    for i, n in outcome.missing().items():
        wish = outcome.problem.wishes[i].wish
        reason, remedy = _blocked(outcome, i, n)
        if wish in outcome.measure:
            remedy = outcome.measure[wish] + THEN + remedy
        rows.append(Unserved(wish=wish, missing=n, reason=reason, remedy=remedy))
    return tuple(rows)


def _blocked(outcome: Outcome, index: int, missing: int) -> tuple[str, str]:
    fleet, problem = outcome.fleet, outcome.problem
    wish = problem.wishes[index]
    sizes = f"Mondopoint {_cm(wish.mondopoint_min_mm)} to {_cm(wish.mondopoint_max_mm)}"
    lengths = f"{wish.kind.value} of {wish.length_min_mm / 10:g} to {wish.length_max_mm / 10:g} cm"
    rule = KindRule(fleet.policy)
    boots = [b for b in fleet.boots.values() if wants_boot(wish, b, rule) and b.plannable]
    pairs = [p for p in fleet.pairs.values() if wants_pair(wish, p, rule) and p.plannable]
    if not boots and (barred := _barred(fleet, wish)):
        return f"every boot of {sizes} is barred: {barred}", "see `mountbook boot TAG`"
    if not boots:
        return f"no boot of {sizes} is in the ledger", f"buy {counted(missing, 'pair')} of boots of {sizes}"
    if all(b.bsl_um is None for b in boots):
        return f"no boot of {sizes} has a known sole length", "measure the sole lengths"
    if not pairs:
        return f"no plannable pair: {lengths}", f"buy {counted(missing, 'pair')}: {lengths}"
    soles = sorted({b.sole_type for b in boots})
    fitted = sorted({f.pattern for f in fleet.fits if f.sole_type in soles})
    if not fitted:
        return (
            f"no binding is declared by both makers for sole type {', '.join(soles)}",
            "enter the makers' sheets as a fit, or use boots with another sole",
        )
    if not len(arcs_for(problem, index)):
        return _no_option(outcome, pairs, fitted)
    return _outcompeted(outcome, index, missing)


def _barred(fleet: Fleet, wish: Wish) -> str:
    """Return why the boots of the size that there are serve nobody, one of each reason."""
    rule = KindRule(fleet.policy)
    found = {
        rule.against(want=(wish.kind,), boot=b.kinds)
        or (f"a note on it asks: {b.asks}?" if b.asks and not b.barred else b.barred)
        for b in fleet.boots.values()
        if b.mondopoint_mm is not None and wish.mondopoint_min_mm <= b.mondopoint_mm <= wish.mondopoint_max_mm
    }
    return "; ".join(sorted(found - {""})[:_REASONS])


def _no_option(outcome: Outcome, pairs: Sequence[Pair], fitted: Sequence[str]) -> tuple[str, str]:
    supply = outcome.problem.supply
    if not any(sort.pattern in fitted for sort in supply):
        loose = [b for b in outcome.fleet.bindings.values() if b.on_pair is None and b.pattern in fitted]
        if unknown := sorted(b.binding_id for b in loose if b.brake_um is Brake.UNKNOWN):
            named = ", ".join(unknown[:_NAMED]) + (" and more" if len(unknown) > _NAMED else "")
            return (
                f"of the bindings {' or '.join(fitted)} in stock nobody knows the brake",
                f"measure the brake of {named}",
            )
        return (
            f"no binding {' or '.join(fitted)} in stock or on a plannable pair",
            f"buy {fitted[0]} bindings",
        )
    return (
        f"none of the {len(pairs)} pairs asked for has a legal way for these boots",
        f"see `mountbook why {pairs[0].tag} BOOT`",
    )


def _outcompeted(outcome: Outcome, index: int, missing: int) -> tuple[str, str]:
    """Options exist, but boots, pairs, bindings or minutes went to sets that come first."""
    problem = outcome.problem
    busy_boots = {s.boot for s in outcome.sets}
    busy_pairs = {s.pair for s in outcome.sets}
    used = Counter(BindingSort.named(s.way.pattern, s.brake_um) for s in outcome.sets)
    arcs, mine = problem.arcs, arcs_for(problem, index)
    boots = {tag for c in np.unique(arcs.boot[mine]).tolist() for tag in problem.boots[c].tags}
    pairs = {tag for g in np.unique(arcs.pair[mine]).tolist() for tag in problem.pairs[g].tags}
    pair_left = np.array([not busy_pairs.issuperset(pair.tags) for pair in problem.pairs], dtype=bool)
    boot_left = np.array([not busy_boots.issuperset(boot.tags) for boot in problem.boots], dtype=bool)
    both_free = mine[pair_left[arcs.pair[mine]] & boot_left[arcs.boot[mine]]].tolist()
    short: set[BindingSort] = set()
    in_supply = False
    minutes_left, money_left = _left(outcome)
    over_minutes = over_money = 0
    for arc in both_free:
        brakes = int(arcs.brakes[arc])
        sorts = problem.brake_sets[brakes] if brakes >= 0 else (problem.pairs[arcs.pair[arc]].own,)
        for sort in sorts:
            if sort is not None and used[sort] >= problem.supply[sort]:
                short.add(sort)
            else:
                in_supply = True
                over_minutes += minutes_left is not None and int(arcs.minutes[arc]) > minutes_left
                over_money += money_left is not None and int(arcs.parts_cents[arc]) > money_left
    free_boots, free_pairs = len(boots - busy_boots), len(pairs - busy_pairs)
    wish_ = problem.wishes[index]
    if both_free and in_supply and money_left is not None and over_money >= over_minutes:
        budget = money_text(problem.parts_limit_cents or 0)
        return f"the parts budget of {budget} is spent on sets that come first", "raise the parts budget"
    if both_free and in_supply and problem.minutes_limit is not None:
        return (
            f"the {problem.minutes_limit} bench minutes are used by sets that come first",
            "give the bench more minutes or a later ready-by day",
        )
    if both_free and short:
        names = ", ".join(f"{sort.pattern} {sort.brake_text}" for sort in sorted(short))
        return f"all bindings {names} are used", f"buy {missing} {names}"
    if free_boots == 0:
        return (
            f"all {len(boots)} boots that could serve it are in other sets",
            f"buy {counted(missing, 'pair')} of boots of"
            f" {_cm(wish_.mondopoint_min_mm)} to {_cm(wish_.mondopoint_max_mm)}",
        )
    if free_pairs == 0:
        return (
            f"all {len(pairs)} pairs that could serve it are in other sets",
            f"buy {counted(missing, f'{wish_.kind.value} pair')} of"
            f" {wish_.length_min_mm / 10:g} to {wish_.length_max_mm / 10:g} cm",
        )
    return (
        f"the {free_boots} free boots have no legal way on the {free_pairs} free pairs",
        "see `mountbook why PAIR BOOT` for what blocks one of them",
    )


def _left(outcome: Outcome) -> tuple[int | None, int | None]:
    """Bench minutes and hundredths of money that the sets leave; None where there is no limit."""
    problem, prices = outcome.problem, prices_in(outcome.fleet.policy)
    minutes = money = None
    if problem.minutes_limit is not None:
        minutes = problem.minutes_limit - sum(s.minutes for s in outcome.sets)
    if problem.parts_limit_cents is not None and prices is not None:
        patterns = outcome.fleet.patterns
        spent = sum(prices.of_way(s.way, patterns[s.way.pattern]) for s in outcome.sets)
        money = problem.parts_limit_cents - spent
    return minutes, money


def arcs_for(problem: Problem, wish: int) -> Ints:
    """The arcs that could serve a wish."""
    pairs = np.array([wish in p.wishes for p in problem.pairs], dtype=bool)
    boots = np.array([wish in b.wishes for b in problem.boots], dtype=bool)
    if not len(problem.arcs):
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero(pairs[problem.arcs.pair] & boots[problem.arcs.boot])


def unplanned_pairs(outcome: Outcome) -> tuple[UnplannedPair, ...]:
    """Every pair of the fleet that no set uses, with the first fact that says why."""
    busy = {s.pair for s in outcome.sets}
    stripped = {s.pair: s for s in outcome.strips}
    given = {s.binding_from: s.pair for s in outcome.sets if s.binding_from in stripped}
    classes = outcome.problem.pairs
    has_option = {tag for g in set(outcome.problem.arcs.pair.tolist()) for tag in classes[g].tags}
    short = outcome.missing()
    rows: list[UnplannedPair] = []
    rule = KindRule(outcome.fleet.policy)
    for tag in sorted(outcome.fleet.pairs):
        if tag in busy:
            continue
        pair = outcome.fleet.pairs[tag]
        if not pair.plannable:
            reason = f"it is {outcome.fleet.where(tag)}"
        elif tag in stripped:
            reason = f"its binding goes to {given[tag]}; it is flat afterwards"
        else:
            wishes = [i for i, w in enumerate(outcome.problem.wishes) if wants_pair(w, pair, rule)]
            reason = _pair_reason(pair, outcome.problem.wishes, wishes, short, tag in has_option)
        rows.append(UnplannedPair(pair=tag, reason=reason))
    return tuple(rows)


def _pair_reason(
    pair: Pair, all_wishes: Sequence[Wish], wishes: Sequence[int], short: dict[int, int], has_option: bool
) -> str:
    if pair.kind == KIND_NOT_KNOWN:
        return "nobody said yet what it is for: answer its kind (mountbook import open)"
    if not wishes:
        return f"no set wanted asks for {pair.kind.value} of {pair.length_mm / 10:g} cm"
    names = ", ".join(all_wishes[i].wish for i in wishes)
    if not has_option:
        return f"no boot of {names} has a legal way on it with a binding that fits and is there" + _unknown(
            pair
        )
    if not any(i in short for i in wishes):
        return f"every set that could use it is served by a pair at less work ({names})"
    return f"the boots that it could serve are in other sets ({names} is short)"


def _unknown(pair: Pair) -> str:
    """Return what nobody has entered of a pair and would have to be known before more can be planned on
    it.
    """
    found = ["the waist"] if pair.waist_um is None else []
    found += [f"the mounting zone of ski {side}" for side, ski in pair.skis.items() if not ski.zone_known]
    found += [f"the holes of ski {side}, seen bare" for side, ski in pair.skis.items() if not ski.inspected]
    return f"; not known of it, measure this: {', '.join(found)}" if found else ""


def _cm(mondopoint_mm: int) -> str:
    return f"{mondopoint_mm / 10:g}"


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
    of = grouped(tags, lambda tag: unknown[tag].facts)
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
