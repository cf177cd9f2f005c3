"""The stock of sets by type that serves many seasons best on average.

Two stages (sample average). First, once: each pair is set up for one boot, or left. A set is of a *type*:
the wants that ask for both its length and its shell. Then, in every season, each want takes sets of the
types that may serve it, up to what that season asks for at once. A set pays if one more would be used in
more than ``1 - ready`` of the seasons: with one want alone that is the newsvendor's fractile.

The program counts by groups (`first_stage`); what that leaves out can only flatter, so no plan passes its
bound.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from planner.planning.assign.classes import Wishes
from planner.planning.assign.linear_program import Floats
from planner.planning.seasons.first_stage import FirstStage
from planner.planning.seasons.season_program import Resource, SeasonProgram, best_in_whole_sets, run

_SLACK: Final = 1e-6
"""Of a floor, and what a set must be used more often than its price to pay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BestStock:
    """Sets to have ready by type, and the program that said so (None where no set can be made).

    ``bound``: the most that mean sets served less the price of the sets can be, with the priorities before
    the last served as found.
    """

    counts: Mapping[Wishes, int]
    bound: float
    program: SeasonProgram | None


def best_stock(
    stage: FirstStage, peaks: Sequence[Sequence[int]], priorities: Sequence[int], *, ready: float
) -> BestStock:
    """The stock that serves the seasons best on average, priority by priority.

    ``peaks[s][w]``: sets of want w that season s asks for at once. ``ready``: the share of seasons that one
    want alone is made ready for, 0 to 1.
    """
    if not peaks or not any(choice.serves for choice in stage.choices):
        return BestStock(counts={}, bound=0.0, program=None)
    program = SeasonProgram(stage, peaks, priorities, 1.0 - ready + _SLACK)
    ranks = sorted(set(priorities))
    values = np.zeros(program.columns)
    for rank in ranks:
        values, bound = best_in_whole_sets(program, rank, values)
        if rank != ranks[-1]:
            weights = program.served(rank)
            program.floors.append((weights, float(weights @ values) - _SLACK))
    counts: Counter[Wishes] = Counter()
    for choice, value in zip(stage.choices, values.tolist(), strict=False):
        counts[choice.serves] += round(value)
    return BestStock(
        counts={who: n for who, n in sorted(counts.items()) if n and who},
        bound=bound,
        program=program,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OneMore:
    """The gain in mean sets served of one more of a thing (``number``: the group or sort of `FirstStage`)."""

    thing: Resource
    number: int
    sets: float


def values_of_one_more(
    found: BestStock, *, each: int, alike: Callable[[Resource, int], object] | None = None
) -> tuple[OneMore, ...]:
    """The most valuable things to have one more of, up to ``each`` of a kind of thing, best first.

    ``alike``: of things that it gives the same value for only the best is asked about.

    The linear program of the last priority is solved again with one more of each thing that its prices put
    first; priorities before it stay served. One more pair comes as the others of its group are, binding
    included. What adds nothing is left out.
    """
    program = found.program
    if program is None:
        return ()
    rank = max(program.priorities)
    weights = program.served(rank)
    solver = program.solver(rank, whole=False)
    base = float(weights @ run(solver))
    prices = solver.getSolution().row_dual
    rows = []
    for thing in Resource:
        candidates = [
            (-sum(prices[row] for row in _rows(program, thing, number)), number)
            for what, number in program.row_of
            if what is thing
        ]
        best: dict[object, int] = {}
        for _, number in sorted(candidates):
            best.setdefault(number if alike is None else alike(thing, number), number)
        for number in list(best.values())[:each]:
            more = _again(solver, program, weights, thing, number) - base
            if more > 5e-4:
                rows.append(OneMore(thing=thing, number=number, sets=more))
    return tuple(sorted(rows, key=lambda r: (-round(r.sets, 6), list(Resource).index(r.thing), r.number)))


def _rows(program: SeasonProgram, thing: Resource, number: int) -> Iterator[int]:
    yield program.row_of[thing, number]
    own = program.stage.own[number] if thing is Resource.PAIR else None
    if own is not None:
        yield program.row_of[Resource.BINDING, program.sorts.index(own)]


MINUTES_MORE: Final = 60
"""Bench time is worth asking for by the hour."""


def _again(solver: Any, program: SeasonProgram, weights: Floats, thing: Resource, number: int) -> float:
    """Mean sets served with one more of a thing; the program is put back as it was."""
    import highspy

    more = MINUTES_MORE if thing is Resource.MINUTES else 1
    rows = list(_rows(program, thing, number))
    for row in rows:
        solver.changeRowBounds(row, -highspy.kHighsInf, program.upper[row] + more)
    served = float(weights @ run(solver))
    for row in rows:
        solver.changeRowBounds(row, -highspy.kHighsInf, program.upper[row])
    return served
