"""Remedies for a want that is short: bought in thought, and solved again.

No prices are on record, so *cheapest* means: fewest things to buy for a set more; bindings before boots
before pairs where that is equal; minutes of the bench or money for parts where only those are short.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial

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
from planner.planning.explain.served import most_served


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
    count: int
    served: int
    in_all: int
    sort: BindingSort | None = None
    sole: tuple[str, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Try:
    thing: RemedyKind
    change: Callable[[Problem, int], Problem]
    sort: BindingSort | None = None
    sole: tuple[str, int] | None = None


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
    for attempt in _tries(case, wish):
        if any(r.served == missing and r.thing is not attempt.thing for r in found):
            break  # a cheaper kind of thing serves all that is missing
        if say is not None:
            say(f"solving again with more {attempt.thing}")
        most = _most(case, attempt, missing)
        gain = most_served(attempt.change(only, most)) - base
        if gain <= 0:
            continue
        serves = partial(_served_more, attempt, only)
        count = 1 + bisect_left(range(1, most), base + gain, key=serves)
        found.append(
            Remedy(
                thing=attempt.thing,
                count=count,
                served=gain,
                in_all=most_served(attempt.change(case.problem, count)) - all_before,
                sort=attempt.sort,
                sole=attempt.sole,
            )
        )
    rank = list(RemedyKind)
    return tuple(
        sorted(found, key=lambda r: (-min(r.served, missing), _things(r) / r.served, rank.index(r.thing)))
    )


def _served_more(attempt: _Try, problem: Problem, count: int) -> int:
    return most_served(attempt.change(problem, count))


def _things(remedy: Remedy) -> int:
    if remedy.thing in _LIMITS:
        return 0
    return remedy.count * (2 if remedy.thing is RemedyKind.PAIRS_WITH_BINDINGS else 1)


def _most(case: PlanCase, attempt: _Try, missing: int) -> int:
    arcs = case.problem.arcs
    if attempt.thing is RemedyKind.MINUTES:
        return int(arcs.minutes.max(initial=0) + case.problem.strip_minutes) * missing
    if attempt.thing is RemedyKind.MONEY:
        return int(arcs.parts_cents.max(initial=0)) * missing
    return missing


def _only(case: PlanCase, wish: str) -> Problem:
    """The problem in which no other want can gain: what is served of the others is all that is wanted."""
    short = {u.wish: u.missing for u in case.plan.unserved if u.wish != wish}
    wishes = tuple(replace(w, quantity=w.quantity - short.get(w.wish, 0)) for w in case.problem.wishes)
    return replace(case.problem, wishes=wishes)


def _tries(case: PlanCase, wish: str) -> Iterator[_Try]:
    problem = case.problem
    index = next(i for i, w in enumerate(problem.wishes) if w.wish == wish)
    if problem.minutes_limit is not None:
        limit = problem.minutes_limit
        yield _Try(thing=RemedyKind.MINUTES, change=lambda p, n: replace(p, minutes_limit=limit + n))
    if problem.parts_limit_cents is not None:
        cents = problem.parts_limit_cents
        yield _Try(thing=RemedyKind.MONEY, change=lambda p, n: replace(p, parts_limit_cents=cents + n))
    sorts = _sorts_for(problem, index)
    for sort in sorts:
        yield _Try(thing=RemedyKind.BINDINGS, change=partial(_buy, sort=sort), sort=sort)
    for number, boots in enumerate(problem.boots):
        if index in boots.wishes and boots.tags:
            yield _Try(
                thing=RemedyKind.BOOTS,
                change=partial(_buy, boots=number),
                sole=(boots.sole_type, boots.bsl_um),
            )
    for number in new_pair_classes(problem, wish):
        yield _Try(thing=RemedyKind.PAIRS, change=partial(_buy, pairs=number))
        for sort in sorts:
            yield _Try(
                thing=RemedyKind.PAIRS_WITH_BINDINGS,
                change=partial(_buy, pairs=number, sort=sort),
                sort=sort,
            )


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
