"""The cost of the last sets of a plan: the least holes and minutes with so many of them left unserved.

Each point is a program of its own on the plan's ways: the sets of the plan and no others may be served, so
many fewer in all, whatever their priority; then fewest holes, fewest minutes, and of equals those that keep
the first priorities.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from math import ceil
from typing import Any, Final

import numpy as np

from fleet.base.errors import Refused
from fleet.base.units import counted
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.plan.objective import Certificate, Level
from planner.plan.plan_words import FrontierPoint
from planner.plan.set_aside import as_asked
from planner.plan.values import Plan
from planner.planning.assign.dual_certificate import certificate_of, possible_ways
from planner.planning.assign.formulation import columns_of, face_of, level_costs, network_of
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.linear_program import NEVER, Deadline, Ints, OutOfTime
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.plan import judged_plan, plan_fleet
from planner.planning.assign.problem import Problem, build_problem
from planner.planning.judge.certificate import BadCertificate, Budget, prover

SHARES: Final = (0.0, 0.01, 0.02, 0.04, 0.06, 0.08, 0.12, 0.16, 0.2)
"""Shares of a plan's sets that the points leave unserved (our choice)."""


def frontier(
    fleet: Fleet,
    plan: Plan,
    unserved: Sequence[int] | None = None,
    *,
    ways: SweptWays | None = None,
    deadline: Deadline = NEVER,
) -> Iterator[FrontierPoint]:
    """Yield the points of a plan from all its sets downward, as far as something is drilled.

    ``unserved``: how many sets to leave so; else `SHARES` of them. Once the ``deadline`` is over no more
    points come. Raises Refused where there are fewer sets.
    """
    if deadline.over():
        return
    sets = len(plan.sets)
    numbers = sorted({ceil(share * sets) for share in SHARES}) if unserved is None else list(unserved)
    if max(numbers) > sets:
        raise Refused(f"the plan has only {counted(sets, 'set')}", cure="leave fewer of them unserved")
    served = Counter(each.wish for each in plan.sets)
    wanted = as_asked(fleet, plan)
    wanted = replace(wanted, wishes=tuple(replace(w, quantity=served[w.wish]) for w in wanted.wishes))
    problem = build_problem(
        wanted,
        ways=ways or SweptWays(),
        minutes_limit=plan.minutes_limit,
        parts_limit_cents=plan.parts_limit_cents,
    )
    if not len(problem.arcs):
        yield from (FrontierPoint(unserved=number) for number in numbers)
        return
    points, found = _Points(wanted, problem, deadline), list[FrontierPoint]()
    try:
        for number in numbers:
            found.append(points.leaving(number, sets - number))
            if unserved is None and not found[-1].holes:
                break
    except OutOfTime:
        found[-1:] = [replace(point, cut=True) for point in found[-1:]]
    yield from found


def _least(bound: int | None, value: int) -> int:
    """Nothing costs less than nothing; a bound above what was found would mean that one of them is wrong."""
    return bound if bound is not None and 0 <= bound <= value else 0


class _Points:
    """All points of a plan: one program, asked for so many sets in turn, with all wants of one priority."""

    def __init__(self, fleet: Fleet, problem: Problem, deadline: Deadline) -> None:
        self.by_priority, self.network, self.deadline = problem, network_of(problem), deadline
        self.columns = columns_of(problem, self.network)
        self.whole = face_of(problem, self.network, self.columns, np.arange(self.columns.ways))
        self.fleet = replace(fleet, wishes=_of_one_priority(fleet.wishes))
        self.problem = replace(problem, wishes=_of_one_priority(problem.wishes), worth_counted=False)
        self.proved: Callable[[Certificate], list[int | None]] | None = None

    def leaving(self, unserved: int, sets: int) -> FrontierPoint:
        """The point of so many sets, with what the judge proves of it over every way. Raises OutOfTime.

        The certificate is about plans of at least so many sets: one set less takes no hole and no minute
        more, so that a plan with fewer holes or minutes and more sets would mean one with just so many.
        """
        if self.deadline.over():
            raise OutOfTime
        face = OptimalFace(self.whole.rows, deadline=self.deadline)
        face.relief, face.figures = self.whole.relief, self.whole.figures
        served, drilled, minutes = (self._costs(self.problem, level) for level in self.problem.levels[:3])
        face.ask_no_worse(served, -sets)
        values = [-sets, face.minimise(drilled), face.minimise(minutes)]
        certificate = certificate_of(self.problem, self.network, values, face)
        by_solver = face.all_proved
        first = [
            self._costs(self.by_priority, each)
            for each in self.by_priority.levels
            if each.priority is not None
        ]
        for costs in (-served, *first):
            face.minimise(costs, certify=False)
        ways, serving = self.columns.used(face.values)
        wants: Counter[str] = Counter()
        for wish, count in zip(self.network.serve_wish.tolist(), serving.tolist(), strict=True):
            wants[self.problem.wishes[wish].wish] += count
        if serving.sum() < sets:  # cut short before any plan of so many sets was found
            raise OutOfTime
        point = FrontierPoint(
            unserved=unserved,
            sets=int(serving.sum()),
            holes=int(drilled @ face.values),
            minutes=int(minutes @ face.values),
            mounts=int(ways[self.problem.arcs.drilled > 0].sum()),
            wants=wants,
            by_solver=by_solver,
        )
        _, least_holes, least_minutes = self._bounds(_of_point(point, certificate))
        return replace(
            point,
            least_holes=_least(least_holes, point.holes),
            least_minutes=_least(least_minutes, point.minutes),
        )

    def _bounds(self, certificate: Certificate) -> list[int | None]:
        """Return what the judge proves; nothing where the proof is wrong."""
        budget = Budget(minutes=self.problem.minutes_limit, parts_cents=self.problem.parts_limit_cents)
        try:
            self.proved = self.proved or prover(self.fleet, certificate, budget, possible_ways(self.problem))
            return self.proved(certificate)
        except BadCertificate:
            return [None, None, None]

    def _costs(self, problem: Problem, level: Level) -> Ints:
        return level_costs(problem, self.network, self.columns, level)


def _of_point(point: FrontierPoint, certificate: Certificate) -> Certificate:
    """The multipliers, held against the figures of the very point."""
    values = (-point.sets, point.holes, point.minutes)
    proofs = (replace(proof, value=v) for proof, v in zip(certificate.levels, values, strict=True))
    return replace(certificate, levels=tuple(proofs))


def _of_one_priority(wishes: Sequence[Wish]) -> tuple[Wish, ...]:
    return tuple(replace(wish, priority=1) for wish in wishes)


def plan_sparing_sets(fleet: Fleet, unserved: int, **common: Any) -> Plan:
    """The judged plan that leaves the dearest sets of the best plan unserved; what is left is all it wants.

    ``common``: as `plan_fleet` takes it. Raises Refused where the best plan has fewer sets.
    """
    ways = SweptWays()
    best = plan_fleet(fleet, judged=False, ways=ways, **common)
    (point,) = frontier(fleet, best, [unserved], ways=ways)
    wants = tuple(
        replace(w, quantity=point.wants[w.wish]) for w in fleet.wishes if point.wants.get(w.wish, 0)
    )
    plan = plan_fleet(replace(fleet, wishes=wants), judged=False, ways=ways, **common)
    return judged_plan(fleet, replace(plan, wants=wants))
