"""A whole-number model: the count of each class of orders at the bench on each day, and a proven bound.

Rows: a visit comes after the visit before and its cure; the people's minutes of a day; a day's jigs with the
set-ups that this day's settings need. Orders that differ by number only are one class with a count. Hours
within a day and who is who are left out, so no real plan has less late weight than what is proved here;
the tests hold it against brute force.

The same model gives days to work by: with some minutes of every day held back and a cure over only when
a whole day is (then a day's visits may stand in any order), it is asked for the fewest set-ups too.
Held back, it bounds nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from time import process_time
from typing import Any

from planner.bench.weeks.deadlines import Days, TimeWindow, time_windows
from planner.bench.weeks.values import Bench, JigUse, Job, Visit
from planner.planning.quiet_highs import quiet_highs

NODES = 2_000
"""Branches before the search stops: the same input gives the same days on every machine."""

WALL = 4.0
"""The factor by which the wall's clock may exceed this process's clock, on a busy machine."""

_FEASIBLE = 2
"""The status values by which HiGHS says that it has a plan."""

Terms = list[tuple[int, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPlan:
    """The orders that the days have room for, by number, and the proven least weight of the others.

    ``day_of``: the open day (its index) of each visit, for each order on time.
    """

    on_time: frozenset[str]
    late_bound: int
    day_of: Mapping[str, tuple[int, ...]]


def plan_days(bench: Bench, jobs: Sequence[Job], *, seconds: float) -> DayPlan | None:
    """Return the plan with as much order weight on time as the days have room for; None if none was found in
    time.
    """
    return _DayModel(bench, sorted(jobs, key=lambda job: job.number)).solve(seconds)


def days_to_work_by(
    bench: Bench, jobs: Sequence[Job], *, held_back: Sequence[int], seconds: float
) -> DayPlan | None:
    """Return days with ``held_back`` minutes of each left free: most weight on time, then few set-ups.

    Its ``late_bound`` is 0: what these days cannot hold, others might. ``seconds``: a net for each of
    the two questions.
    """
    model = _DayModel(bench, sorted(jobs, key=lambda job: job.number), held_back=held_back)
    return model.solve(seconds, fewest_setups=True)


class _DayModel:
    """The counts and rows of one bench."""

    def __init__(self, bench: Bench, jobs: Sequence[Job], *, held_back: Sequence[int] | None = None) -> None:
        self.bench, self.days = bench, Days(bench)
        self.held_back = held_back
        self.highs: Any = quiet_highs({})
        self.stop_at = 0.0
        self.highs.cbMipInterrupt += self._look_at_the_clock
        self.classes: dict[tuple[int, tuple[Visit, ...], TimeWindow], list[Job]] = defaultdict(list)
        self.weight = sum(job.weight for job in jobs)
        for job, on_window in zip(jobs, time_windows(bench, jobs)[0], strict=True):
            if on_window is not None:
                self.classes[job.weight, job.visits, on_window].append(job)
        self.people: dict[int, Terms] = defaultdict(list)
        self.setups: list[Any] = []
        self.stages: list[list[dict[int, Any]]] = []
        self.jigs: dict[tuple[JigUse, int], Terms] = defaultdict(list)
        self.counts = [self._class(*key, len(js)) for key, js in self.classes.items()]
        self._jig_rows()
        for day, terms in self.people.items():
            room = bench.days[day].minutes() - (held_back[day] if held_back is not None else 0)
            self.highs.addConstr(self._sum(terms) <= max(0, room))

    def _sum(self, terms: Terms) -> Any:
        return self.highs.qsum(minutes * count for minutes, count in terms)

    def _class(
        self, weight: int, visits: tuple[Visit, ...], window: TimeWindow, size: int
    ) -> tuple[int, Any]:
        highs = self.highs
        on_time = highs.addIntegral(0, size)
        before: dict[int, Any] = {}
        self.stages.append([])
        for number, visit in enumerate(visits):
            stage: dict[int, Any] = {}
            self.stages[-1].append(stage)
            for day in range(window.earliest_day[number], window.latest_day[number] + 1):
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
        """Allow no more of the later visit until a day than of the earlier one until its cure can be over."""
        for day in stage:
            last = self._last_before(first, then, day)
            ready = [-1 * count for d, count in before.items() if d <= last]
            if len(ready) < len(before):
                done = [count for d, count in stage.items() if d <= day]
                self.highs.addConstr(self.highs.qsum([*done, *ready]) <= 0)

    def _last_before(self, first: Visit, then: Visit, day: int) -> int:
        """Return the last day of the earlier visit if the later is on this day; -1 for none."""
        if self.held_back is None:
            place = self.days.latest(self.days.ends[day] - then.minutes - first.cure_minutes, first.minutes)
            return -1 if place is None else place[0]
        opens = self.days.starts[day]
        return max((d for d in range(day) if self.days.ends[d] + first.cure_minutes <= opens), default=-1)

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
            self.setups.append(sets)
        for (kind, day), terms in of_kind.items():
            length = self.bench.days[day].end - self.bench.days[day].start
            self.highs.addConstr(self._sum(terms) <= self.bench.jig_count(kind) * length)

    def _look_at_the_clock(self, event: Any) -> None:
        if process_time() > self.stop_at:
            event.interrupt()

    def _net(self, seconds: float) -> None:
        """Limit the solver to so many seconds of this process, and somewhat more by the wall's clock.

        A net only: reached, the plan may differ on another machine.
        """
        self.stop_at = process_time() + seconds
        self.highs.setOptionValue("time_limit", WALL * seconds)  # of each run: its clock begins anew

    def solve(self, seconds: float, *, fewest_setups: bool = False) -> DayPlan | None:
        if not self.counts:
            return DayPlan(on_time=frozenset(), late_bound=self.weight, day_of={})
        highs = self.highs
        highs.setOptionValue("threads", 1)
        highs.setOptionValue("mip_max_nodes", NODES)
        self._net(seconds)
        highs.setOptionValue("mip_rel_gap", 0.0)
        highs.setOptionValue("mip_abs_gap", 0.99)  # weights are whole
        on_time = highs.qsum(weight * count for weight, count in self.counts)
        highs.maximize(on_time)
        info = highs.getInfo()
        if info.primal_solution_status != _FEASIBLE:
            return None
        # weights are whole, so the bound is rounded up; by 1e-6 less, since the solver may say 3.0000001
        late_bound = max(0, ceil(self.weight - info.mip_dual_bound - 1e-6))
        values = [float(round(value)) for value in highs.getSolution().col_value]
        if fewest_setups and self.setups:
            values = self._fewest_setups(on_time, round(info.objective_function_value), values, seconds)
        return self._plan(values, 0 if self.held_back is not None else late_bound)

    def _fewest_setups(self, on_time: Any, weight: int, values: list[float], seconds: float) -> list[float]:
        """Return counts with as much weight on time and the fewest set-ups found, starting from these
        counts.
        """
        import highspy

        highs = self.highs
        highs.addConstr(on_time >= weight)
        highs.setObjective(highs.qsum(self.setups), sense=highspy.ObjSense.kMinimize)
        start = highspy.HighsSolution()
        start.col_value = values
        highs.setSolution(start)
        self._net(seconds)
        highs.run()
        if highs.getInfo().primal_solution_status != _FEASIBLE:
            return values
        return [float(round(value)) for value in highs.getSolution().col_value]

    def _plan(self, values: Sequence[float], late_bound: int) -> DayPlan:
        """Return the counts as days of orders: of a class, the first at one visit is the first at the
        next.
        """
        day_of: dict[str, tuple[int, ...]] = {}
        for stages, js in zip(self.stages, self.classes.values(), strict=True):
            places = [
                [day for day in sorted(stage) for _ in range(int(values[stage[day].index]))]
                for stage in stages
            ]
            for job, days in zip(js, zip(*places, strict=True), strict=False):
                day_of[job.number] = days
        return DayPlan(on_time=frozenset(day_of), late_bound=late_bound, day_of=day_of)
