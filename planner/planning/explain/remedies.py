"""Remedies for a want that is short: bought in thought, and solved again.

No prices are on record, so *cheapest* means: fewest things to buy for a set more; bindings before boots
before pairs where that is equal; minutes of the bench or money for parts where only those are short.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial

import numpy as np

from fleet.base.errors import Refused
from planner.planning.assign.classes import BindingSort
from planner.planning.assign.problem import Problem
from planner.planning.assign.reasons import arcs_for
from planner.planning.explain.case import (
    PlanCase,
    Say,
    new_pair_classes,
    with_bindings,
    with_boots,
    with_pairs,
)
from planner.planning.replan.change_budget import served_by_priority


class RemedyKind(StrEnum):
    """Things to buy, the cheapest kind first."""

    MINUTES = "minutes"
    MONEY = "money for parts"
    BINDINGS = "bindings"
    BOOTS = "boots"
    PAIRS = "pairs"
    PAIRS_WITH_BINDINGS = "pairs with bindings"


_LIMITS = (RemedyKind.MINUTES, RemedyKind.MONEY)
"""No thing to buy: a limit that was set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """``count`` of a thing and ``served`` sets more of the want; ``in_all``: more sets of all wants.

    ``sort``: the sort of binding. ``sole``: sole type and length in micrometres of the boots. ``minutes``:
    bench minutes beyond the limit, the fewest that serve so many; money in hundredths likewise.
    """

    thing: RemedyKind
    count: int = 0
    served: int = 0
    in_all: int = 0
    sort: BindingSort | None = None
    sole: tuple[str, int] | None = None


_Change = Callable[[Problem, int], Problem]


def remedies(case: PlanCase, wish: str, *, say: Say | None = None) -> tuple[Remedy, ...]:
    """Everything that, bought alone, serves more of the want, the cheapest first.

    Raises Refused if the plan is not short of it.
    """
    missing = next((u.missing for u in case.plan.unserved if u.wish == wish), 0)
    if not missing:
        raise Refused(f"the plan is not short of {wish}", cure="name a want that the plan lists as unserved")
    only = _only(case, wish)
    base = most_served(only)
    found: list[Remedy] = []
    all_before = most_served(case.problem)
    for tried, change in _tries(case, wish):
        if any(r.served == missing and r.thing is not tried.thing for r in found):
            break  # a cheaper kind of thing serves all that is missing
        if say is not None:
            say(f"solving again with more {tried.thing}")
        most = _most(case, tried.thing, missing)
        gain = most_served(change(only, most)) - base
        if gain <= 0:
            continue
        serves = partial(_served_with, change, only)
        count = 1 + bisect_left(range(1, most), base + gain, key=serves)
        in_all = most_served(change(case.problem, count)) - all_before
        found.append(replace(tried, count=count, served=gain, in_all=in_all))
    rank = list(RemedyKind)
    return tuple(
        sorted(found, key=lambda r: (-min(r.served, missing), _things(r) / r.served, rank.index(r.thing)))
    )


def _served_with(change: _Change, problem: Problem, count: int) -> int:
    return most_served(change(problem, count))


def _things(remedy: Remedy) -> int:
    if remedy.thing in _LIMITS:
        return 0
    return remedy.count * (2 if remedy.thing is RemedyKind.PAIRS_WITH_BINDINGS else 1)


def _most(case: PlanCase, thing: RemedyKind, missing: int) -> int:
    arcs = case.problem.arcs
    if thing is RemedyKind.MINUTES:
        return int(arcs.minutes.max(initial=0) + case.problem.strip_minutes) * missing
    if thing is RemedyKind.MONEY:
        return int(arcs.parts_cents.max(initial=0)) * missing
    return missing


def _only(case: PlanCase, wish: str) -> Problem:
    """The problem in which no other want can gain: what is served of the others is all that is wanted."""
    short = {u.wish: u.missing for u in case.plan.unserved if u.wish != wish}
    wishes = tuple(replace(w, quantity=w.quantity - short.get(w.wish, 0)) for w in case.problem.wishes)
    return replace(case.problem, wishes=wishes)


def _tries(case: PlanCase, wish: str) -> Iterator[tuple[Remedy, _Change]]:
    problem = case.problem
    index = next(i for i, w in enumerate(problem.wishes) if w.wish == wish)
    if problem.minutes_limit is not None:
        limit = problem.minutes_limit
        yield Remedy(thing=RemedyKind.MINUTES), lambda p, n: replace(p, minutes_limit=limit + n)
    if problem.parts_limit_cents is not None:
        cents = problem.parts_limit_cents
        yield Remedy(thing=RemedyKind.MONEY), lambda p, n: replace(p, parts_limit_cents=cents + n)
    sorts = _sorts_for(problem, index)
    for sort in sorts:
        yield Remedy(thing=RemedyKind.BINDINGS, sort=sort), partial(_buy, sort=sort)
    for number, boots in enumerate(problem.boots):
        if index in boots.wishes and boots.tags:
            sole = (boots.sole_type, boots.bsl_um)
            yield Remedy(thing=RemedyKind.BOOTS, sole=sole), partial(_buy, boots=number)
    for number in new_pair_classes(problem, wish):
        yield Remedy(thing=RemedyKind.PAIRS), partial(_buy, pairs=number)
        for sort in sorts:
            both = partial(_buy, pairs=number, sort=sort)
            yield Remedy(thing=RemedyKind.PAIRS_WITH_BINDINGS, sort=sort), both


def _buy(
    problem: Problem,
    count: int,
    *,
    sort: BindingSort | None = None,
    boots: int | None = None,
    pairs: int | None = None,
) -> Problem:
    if sort is not None:
        problem = with_bindings(problem, {sort: count})
    if boots is not None:
        problem = with_boots(problem, boots, count)
    return problem if pairs is None else with_pairs(problem, pairs, count)


def _sorts_for(problem: Problem, wish: int) -> Sequence[BindingSort]:
    """Sorts of binding that some way for this want could use."""
    brakes = set(problem.arcs.brakes[arcs_for(problem, wish)].tolist()) - {-1}
    return sorted({sort for b in brakes for sort in problem.brake_sets[b]})


def most_served(problem: Problem) -> int:
    """Sets served, in all priorities, by the first levels of the objective, proved."""
    if problem.minutes_limit is None and problem.parts_limit_cents is None:
        problem = merged(problem)
    return sum(served_by_priority(problem).values())


def merged(problem: Problem) -> Problem:
    """The problem without work: one arc for a pair class, boot class and set of sorts; pair classes that
    reach the same boots by the same sorts are one. Serves exactly as many sets where neither minutes nor
    money bind.
    """
    arcs = problem.arcs
    key = np.stack([arcs.pair, arcs.boot, arcs.brakes], axis=1)
    _, first = np.unique(key, axis=0, return_index=True)
    arcs = arcs.only(np.sort(first))
    reach: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for pair, boot, brakes in zip(arcs.pair.tolist(), arcs.boot.tolist(), arcs.brakes.tolist(), strict=True):
        reach[pair].append((boot, brakes))
    groups: dict[object, list[int]] = defaultdict(list)
    for number, pair_class in enumerate(problem.pairs):
        groups[pair_class.wishes, pair_class.own, tuple(sorted(reach[number]))].append(number)
    heads = {members[0]: n for n, members in enumerate(groups.values())}
    pairs = tuple(
        replace(problem.pairs[members[0]], tags=tuple(t for m in members for t in problem.pairs[m].tags))
        for members in groups.values()
    )
    new_number = np.array([heads.get(n, -1) for n in range(len(problem.pairs))], dtype=np.int64)
    arcs = arcs.only(new_number[arcs.pair] >= 0)
    arcs = replace(arcs, pair=new_number[arcs.pair])
    return replace(problem, pairs=pairs, arcs=arcs.only(arcs.canonical()))
