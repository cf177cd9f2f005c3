"""How many of each class of like orders stand at the bench on each day: whole numbers, and a proven bound.

Rows: a visit comes after the visit before and its cure; the people's minutes of a day; a day's jigs with the
set-ups that this day's settings need. Orders that differ by number only are one class with a count. Hours
within a day and who is who are left out, so no real plan has less late weight than what is proved here;
the tests hold it against brute force.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

from planner.bench_weeks.deadlines import Days, Frame, frames
from planner.bench_weeks.values import Bench, JigUse, Job, Visit

NODES = 2_000
"""Branches before the search stops: the same input gives the same days on every machine."""

Terms = list[tuple[int, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPlan:
    """Numbers of the orders that the days have room for, and the proven least weight of the others."""

    on_time: frozenset[str]
    late_bound: int


def plan_days(bench: Bench, jobs: Sequence[Job], *, seconds: float) -> DayPlan | None:
    """As much order weight on time as the days have room for; None if no plan was found in time."""
    return _DayModel(bench, sorted(jobs, key=lambda job: job.number)).solve(seconds)


class _DayModel:
    """The counts and rows of one bench."""

    def __init__(self, bench: Bench, jobs: Sequence[Job]) -> None:
        self.bench, self.days = bench, Days(bench)
        self.highs: Any = _quiet_solver()
        self.classes: dict[tuple[int, tuple[Visit, ...], Frame], list[Job]] = defaultdict(list)
        self.weight = sum(job.weight for job in jobs)
        for job, on_frame in zip(jobs, frames(bench, jobs)[0], strict=True):
            if on_frame is not None:
                self.classes[job.weight, job.visits, on_frame].append(job)
        self.people: dict[int, Terms] = defaultdict(list)
        self.jigs: dict[tuple[JigUse, int], Terms] = defaultdict(list)
        self.counts = [self._class(*key, len(js)) for key, js in self.classes.items()]
        self._jig_rows()
        for day, terms in self.people.items():
            self.highs.addConstr(self._sum(terms) <= bench.days[day].minutes())

    def _sum(self, terms: Terms) -> Any:
        return self.highs.qsum(minutes * count for minutes, count in terms)

    def _class(self, weight: int, visits: tuple[Visit, ...], frame: Frame, size: int) -> tuple[int, Any]:
        highs = self.highs
        on_time = highs.addIntegral(0, size)
        before: dict[int, Any] = {}
        for number, visit in enumerate(visits):
            stage = {}
            for day in range(frame.earliest_day[number], frame.latest_day[number] + 1):
                count = stage[day] = highs.addIntegral(0, size)
                self.people[day].append((visit.minutes, count))
                if visit.jig is not None:
                    self.jigs[visit.jig, day].append((visit.minutes, count))
            highs.addConstr(highs.qsum(stage.values()) == on_time)
            if number:
                self._after(visits[number - 1], visit, before, stage)
            before = stage
        return weight, on_time

    def _after(self, first: Visit, then: Visit, before: dict[int, Any], stage: dict[int, Any]) -> None:
        """No more of the later visit until a day than of the earlier until its cure can be over."""
        for day in stage:
            place = self.days.latest(self.days.ends[day] - then.minutes - first.cure_minutes, first.minutes)
            ready = [-1 * count for d, count in before.items() if place is not None and d <= place[0]]
            if len(ready) < len(before):
                done = [count for d, count in stage.items() if d <= day]
                self.highs.addConstr(self.highs.qsum([*done, *ready]) <= 0)

    def _jig_rows(self) -> None:
        setup = self.bench.setup_minutes
        of_kind: dict[tuple[str, int], Terms] = defaultdict(list)
        for (jig, day), work in self.jigs.items():
            room = self.bench.days[day].end - self.bench.days[day].start - setup
            sets = self.highs.addIntegral(0, self.bench.jig_count(jig.kind))
            self.highs.addConstr(self._sum([*work, (-room, sets)]) <= 0)
            for minutes, count in work:
                self.highs.addConstr(count - max(0, room // minutes) * sets <= 0)
            of_kind[jig.kind, day] += [*work, (setup, sets)]
            self.people[day].append((setup, sets))
        for (kind, day), terms in of_kind.items():
            length = self.bench.days[day].end - self.bench.days[day].start
            self.highs.addConstr(self._sum(terms) <= self.bench.jig_count(kind) * length)

    def solve(self, seconds: float) -> DayPlan | None:
        if not self.counts:
            return DayPlan(on_time=frozenset(), late_bound=self.weight)
        highs = self.highs
        highs.setOptionValue("threads", 1)
        highs.setOptionValue("mip_max_nodes", NODES)
        highs.setOptionValue("time_limit", float(seconds))  # a net only: reached, the plan may differ
        highs.setOptionValue("mip_rel_gap", 0.0)
        highs.setOptionValue("mip_abs_gap", 0.99)  # weights are whole
        highs.maximize(highs.qsum(weight * on_time for weight, on_time in self.counts))
        info = highs.getInfo()
        if info.primal_solution_status != 2:  # 2: a feasible plan is there
            return None
        values = highs.getSolution().col_value
        on_time: set[str] = set()
        for (_, count), js in zip(self.counts, self.classes.values(), strict=True):
            on_time.update(job.number for job in js[: round(values[count.index])])
        return DayPlan(
            on_time=frozenset(on_time), late_bound=max(0, ceil(self.weight - info.mip_dual_bound - 1e-6))
        )


def _quiet_solver() -> Any:
    """HiGHS without its banner, which would stand on stdout before the answer."""
    import highspy

    class Quiet(highspy.Highs):
        def enableCallbacks(self) -> None:  # noqa: N802 - HiGHS names it; it is what prints the banner
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()  # type: ignore[no-untyped-call]

    made: Any = Quiet
    return made()
