"""Families of fleets that are hard to plan: processor seconds until proved, or how far from proved in a time.

    python -m tests.bench.hard_families [PAIRS ...] [--seconds S] [--only FAMILY ...]

Each family is a seeded fleet of `plan_fleets` with one thing turned: bindings for one pair in twelve, a sole
of its own for nearly every boot, skis of one length, windows that overlap or span everything, the scarce
wants last, minutes or minutes and money for half of what the free plan takes, one pair in three not seen
bare. The seconds are those of the search alone, by the process's own clock; the gap is that which the judge's
sums prove. The reference is a flow without any side limit (`by_flow`): what the same fleet would take if
nothing bound.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Callable
from dataclasses import replace
from time import process_time

from fleet.base.errors import PlanFault
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.planning.assign.formulation import network_of
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.lexicographic import by_flow, solve
from planner.planning.assign.linear_program import NEVER, Deadline
from planner.planning.assign.plan import certified, expand, proposal
from planner.planning.assign.problem import Problem, build_problem
from planner.planning.assign.reasons import Outcome
from tests.bench.plan_fleets import SHELLS_MM, real_fleet
from tests.bench.rows import row

SIZES = (240, 900)
SHARE = 0.5
"""Of the minutes and of the holes of the free plan, where they bind."""
PRICES = {"price_new_hole": "1.15", "price_reused_hole": "0.25", "price_plug": "0.30"}

Limits = tuple[int | None, int | None]


def scarce_bindings(fleet: Fleet) -> Fleet:
    """Of the loose bindings one in twelve is there."""
    loose = [n for n, b in sorted(fleet.bindings.items()) if b.on_pair is None]
    keep = {n for k, n in enumerate(loose) if k // 2 % 12 == 0}
    return replace(
        fleet, bindings={n: b for n, b in fleet.bindings.items() if b.on_pair is not None or n in keep}
    )


def many_soles(fleet: Fleet) -> Fleet:
    """Soles up to 6 mm longer or shorter, in steps of 1 mm."""
    rng = random.Random(1)
    boots = {
        t: replace(b, bsl_um=(b.bsl_um or 0) + 1000 * rng.randint(-6, 6)) for t, b in fleet.boots.items()
    }
    return replace(fleet, boots=boots)


def one_length(fleet: Fleet) -> Fleet:
    """All skis of 1,700 mm: every want of a kind asks for the same pairs."""
    return wide_windows(replace(fleet, pairs={t: replace(p, length_mm=1700) for t, p in fleet.pairs.items()}))


def _windows(fleet: Fleet, change: Callable[[int, Wish], Wish]) -> Fleet:
    return replace(fleet, wishes=tuple(change(n, w) for n, w in enumerate(fleet.wishes)))


def overlapping(fleet: Fleet) -> Fleet:
    """Each want also takes the lengths and shells beside its own."""
    return _windows(
        fleet,
        lambda _, w: replace(
            w,
            length_min_mm=w.length_min_mm - 80,
            length_max_mm=w.length_max_mm + 80,
            mondopoint_min_mm=w.mondopoint_min_mm - 10,
            mondopoint_max_mm=w.mondopoint_max_mm + 10,
        ),
    )


def wide_windows(fleet: Fleet) -> Fleet:
    """Each want takes every length and shell of its kind."""
    return _windows(
        fleet,
        lambda _, w: replace(
            w,
            length_min_mm=1,
            length_max_mm=3000,
            mondopoint_min_mm=min(low for low, _ in SHELLS_MM[w.kind]),
            mondopoint_max_mm=max(high for _, high in SHELLS_MM[w.kind]),
        ),
    )


def inverted_priorities(fleet: Fleet) -> Fleet:
    """A priority for each want, the smallest want last, over overlapping windows."""
    fleet = overlapping(fleet)
    order = sorted(range(len(fleet.wishes)), key=lambda n: -fleet.wishes[n].quantity)
    return _windows(fleet, lambda n, w: replace(w, priority=1 + order.index(n)))


def third_not_seen(fleet: Fleet) -> Fleet:
    """One pair in three takes no new hole: nobody saw it bare."""
    pairs = {
        tag: replace(pair, skis={side: replace(ski, inspected=()) for side, ski in pair.skis.items()})
        if n % 3 == 0
        else pair
        for n, (tag, pair) in enumerate(sorted(fleet.pairs.items()))
    }
    return replace(fleet, pairs=pairs)


def as_it_is(fleet: Fleet) -> Fleet:
    """The fleet unchanged."""
    return fleet


FAMILIES: dict[str, tuple[Callable[[Fleet], Fleet], bool, bool]] = {
    "scarce bindings": (scarce_bindings, False, False),
    "many soles, scarce bindings": (lambda f: many_soles(scarce_bindings(f)), False, False),
    "one length": (one_length, False, False),
    "overlapping wishes, scarce bindings": (lambda f: overlapping(scarce_bindings(f)), False, False),
    "inverted priorities, scarce bindings": (lambda f: inverted_priorities(scarce_bindings(f)), False, False),
    "wide windows, minutes": (wide_windows, True, False),
    "minutes": (as_it_is, True, False),
    "minutes and money": (as_it_is, True, True),
    "a third not seen, minutes": (third_not_seen, True, False),
}


def limits_of(fleet: Fleet, ways: SweptWays, *, minutes: bool, money: bool) -> Limits:
    """Half of the minutes and of the parts that the plan takes with none of those limits."""
    if not minutes:
        return None, None
    free = build_problem(fleet, ways=ways, minutes_limit=None, parts_limit_cents=10**9 if money else None)
    taken = [s.arc for s in solve(free, lambda _: None).sets]
    half = (int(each[taken].sum() * SHARE) for each in (free.arcs.minutes, free.arcs.parts_cents))
    most, cents = half
    return most, cents if money else None


def measured(problem: Problem, fleet: Fleet, ways: SweptWays, seconds: float) -> str:
    """The result of the search, by its processor time, and what the judge's sums prove of it."""
    start = process_time()
    try:
        solution = solve(problem, lambda _: None, Deadline(seconds) if seconds else NEVER)
    except PlanFault as fault:
        return f"no answer: {fault.sentence}"
    took = process_time() - start
    sets, strips = expand(fleet, problem, solution.sets, ways)
    plan = proposal(Outcome(fleet, problem, sets, strips, {}), made_at="", ready_by=None)
    plan = certified(fleet, plan, problem, solution)
    assert plan.certificate is not None
    solved = sum(level.by_solver or level.bound == level.value for level in plan.certificate.levels)
    closed = sum(level.bound == level.value for level in plan.certificate.levels)
    of = len(plan.certificate.levels)
    missed = next((p for p in plan.certificate.levels if p.bound != p.value), None)
    where = "" if missed is None else f" (first: {missed.name}, {plan.gap_percent:g} %)"
    return (
        f"{took:.1f} s CPU, {plan.totals.served} of {plan.totals.wanted} sets,"
        f" {solved} of {of} levels solved, {closed} certified{where}"
    )


def main() -> None:
    """All families asked for."""
    ask = argparse.ArgumentParser(prog="python -m tests.bench.hard_families")
    ask.add_argument("pairs", nargs="*", type=int, default=SIZES)
    ask.add_argument("--seconds", type=float, default=0.0, help="of the clock; 0: until proved")
    ask.add_argument("--only", nargs="*", default=[])
    given = ask.parse_args()
    for count in given.pairs:
        base = replace(real_fleet(count, seed=count))
        base = replace(base, policy=base.policy.with_values(**PRICES))
        for name, (turn, minutes, money) in FAMILIES.items():
            if given.only and name not in given.only:
                continue
            fleet, ways = turn(base), SweptWays()
            most, cents = limits_of(fleet, ways, minutes=minutes, money=money)
            problem = build_problem(fleet, ways=ways, minutes_limit=most, parts_limit_cents=cents)
            start = process_time()
            by_flow(problem, network_of(problem), lambda _: None)
            flow = process_time() - start
            told = measured(problem, fleet, ways, given.seconds)
            row(
                f"{count:,} pairs, {name}, {len(problem.arcs):,} ways",
                told,
                f"the flow alone {flow:.1f} s",
                "-",
            )


if __name__ == "__main__":
    main()
