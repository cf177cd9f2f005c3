"""A whole-number model: the count of each class of orders at the bench on each day, and a proven bound.

Orders that still need the same visits by the same day are one class with a count: what arrives in it and is
not served waits until the next day. Rows: the people's minutes of a day, and those of the people whom some
work needs; a day's jigs with the set-ups that this day's settings need. Hours within a day and who is who
are left out, so no real plan has less late weight than what is proved here; the tests hold it against brute
force.

The same model gives days to work by, where a cure is over only when a whole day is: then a day's visits may
stand in any order. All days are asked at once, and some at a time are then looked at again; that gives good
days early, and bounds nothing.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import ceil, inf
from time import process_time
from typing import Any

from planner.bench.weeks.deadlines import Days, time_windows
from planner.bench.weeks.figures import due_index
from planner.bench.weeks.values import Bench, JigUse, Job, Visit, WorkDay
from planner.planning.assign.linear_program import quiet_highs

NODES = 2_000
"""Branches before the search stops: the same input gives the same days on every machine."""

WALL = 4.0
"""The factor by which the wall's clock may exceed this process's clock, on a busy machine."""

_FEASIBLE = 2
"""The status values by which HiGHS says that it has a plan."""

AT_FIRST = 0.55
"""The share of the seconds that all days together may take, before some at a time are looked at again."""

AGAIN = ((True, 300, 0.7), (False, 1_000, 0.8), (True, 300, 1.0), (True, 600, 1.0))
"""Looks at the days again, for weight or for room: the counts that are free together, the share of the
seconds by which each look ends."""

AT_MOST = 2.0
"""The most seconds for each such look."""

SPARE = 20
"""Minutes of a day that are better left free: a full day cannot always be packed by the clock."""

ROOM_MOST = 3_000
"""Minutes of room, and of set-ups saved, that are worth one weight on time: more than there are."""

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
    return _DayModel(bench, sorted(jobs, key=lambda job: job.number)).best(seconds)


def days_to_work_by(
    bench: Bench,
    jobs: Sequence[Job],
    *,
    seconds: float,
    known: Mapping[str, tuple[int, ...]] | None = None,
) -> DayPlan | None:
    """Return days with most weight on time, then few set-ups, each cure over only when a whole day is.

    Its ``late_bound`` is 0: what these days cannot hold, others might. ``seconds``: a net for both
    questions together. ``known``: days to begin from, by order; then some days at a time are looked at again.
    """
    model = _DayModel(bench, sorted(jobs, key=lambda job: job.number), whole_days=True)
    return model.to_work_by(seconds, known)


def people_able(bench: Bench, visits: Sequence[Visit]) -> frozenset[int]:
    """Return who can do the first of these visits: not the only one who may do the next as another person."""
    everybody = frozenset(range(len(bench.people)))
    mine = visits[0].people or everybody
    if len(visits) > 1 and visits[1].other_person:
        checkers = visits[1].people or everybody
        if len(checkers) == 1:
            mine -= checkers
    return mine


Node = tuple[tuple[Visit, ...], int]
"""The visits that an order still needs, and its due day: orders that agree in both are one count."""


class _DayModel:
    """The counts and rows of one bench: visits served a day, and the stock that waits from day to day."""

    def __init__(self, bench: Bench, jobs: Sequence[Job], *, whole_days: bool = False) -> None:
        self.bench, self.days = bench, Days(bench)
        self.whole_days = whole_days
        self.highs: Any = quiet_highs(
            {
                "threads": 1,
                "mip_max_nodes": NODES,
                "mip_rel_gap": 0.0,
                "mip_abs_gap": 0.99,
            }  # weights are whole
        )
        self.stop_at = 0.0
        self.highs.cbMipInterrupt += self._look_at_the_clock
        self.weight = sum(job.weight for job in jobs)
        self.sources: dict[Node, dict[tuple[int, int], list[Job]]] = defaultdict(lambda: defaultdict(list))
        self.latest: dict[Node, int] = {}
        self.most: list[int] = []
        self.by_day: dict[int, list[Any]] = defaultdict(list)
        self.on_time: dict[tuple[Node, int, int], Any] = {}
        self.served: dict[tuple[Node, int], Any] = {}
        self.stops: list[Any] = []
        self.setups: list[Any] = []
        self.spare: list[Any] = []
        self.runs: dict[tuple[str, int], list[tuple[Any, Terms]]] = defaultdict(list)
        self._sources(jobs)
        self._nodes()
        self._rooms()

    def _sources(self, jobs: Sequence[Job]) -> None:
        for job, window in zip(jobs, time_windows(self.bench, jobs)[0], strict=True):
            if window is None:
                continue
            first, due = window.earliest_day[0], due_index(self.bench, job)
            if self.whole_days:
                first = max(first, bisect_left(self.days.starts, job.ready))
            for number, last in enumerate(window.latest_day):
                self.latest[job.visits[number:], due] = last
            if first <= window.latest_day[0]:
                self.sources[job.visits, due][first, job.weight].append(job)

    def _count(self, most: int) -> Any:
        self.most.append(most)
        # all of them whole: the solver then proves that weights are whole, and finds good days much sooner
        return self.highs.addIntegral(0, most)

    def _nodes(self) -> None:
        highs = self.highs
        arrives: dict[Node, dict[int, list[Any]]] = defaultdict(lambda: defaultdict(list))
        size: dict[Node, int] = defaultdict(int)
        self.nodes = sorted(self.latest, key=lambda node: -len(node[0]))  # the visits before come first
        for node in self.nodes:
            (visit, *rest), due = node
            last, then = self.latest[node], (tuple(rest), due)
            for (day, weight), js in sorted(self.sources.get(node, {}).items()):
                self.on_time[node, day, weight] = count = self._count(len(js))
                arrives[node][day].append(count)
                size[node] += len(js)
            if not arrives[node]:
                continue
            size[then] += size[node]
            waits: list[Any] = []
            for day in range(min(arrives[node]), last + 1):
                served = self.served[node, day] = self._count(size[node])
                self.by_day[day].append(served)
                waits += arrives[node][day]
                left = self._count(size[node])
                if day == last:  # begun and not ended in time: allowed only where nothing else is left
                    self.stops.append(left)
                highs.addConstr(highs.qsum(waits) - served - left == 0)
                waits = [left]
                if rest:
                    ready = self._ready(day, visit, rest[0])
                    if ready is not None and ready <= self.latest[then]:
                        arrives[then][ready].append(served)
                    else:
                        highs.addConstr(served <= 0)

    def _ready(self, day: int, first: Visit, then: Visit) -> int | None:
        """Return the first day of the later visit if the earlier is on this day; None if there is none."""
        if not self.whole_days:
            found = self.days.earliest(
                self.days.starts[day] + first.minutes + first.cure_minutes, then.minutes
            )
            return None if found is None else found[0]
        ready = bisect_left(self.days.starts, self.days.ends[day] + first.cure_minutes)
        return ready if ready < len(self.days.starts) else None

    def _rooms(self) -> None:
        """Add the rows of a day's jigs, of its people, and of those whom some work needs."""
        setup, highs, days = self.bench.setup_minutes, self.highs, self.bench.days
        people: dict[int, Terms] = defaultdict(list)
        few: dict[tuple[frozenset[int], int], Terms] = defaultdict(list)
        on_jig: dict[tuple[JigUse, int], Terms] = defaultdict(list)
        of_kind: dict[tuple[str, int], Terms] = defaultdict(list)
        for ((visits, _), day), served in self.served.items():
            visit, able = visits[0], people_able(self.bench, visits)
            people[day].append((visit.minutes, served))
            if len(able) < len(self.bench.people):
                few[able, day].append((visit.minutes, served))
            if visit.jig is not None:
                on_jig[visit.jig, day].append((visit.minutes, served))
        for (jig, day), work in on_jig.items():
            room = days[day].end - days[day].start - setup
            sets = self._count(self.bench.jig_count(jig.kind))
            self.by_day[day].append(sets)
            self.setups.append(sets)
            self.runs[jig.kind, day].append((sets, work))
            highs.addConstr(self._sum([*work, (-room, sets)]) <= 0)
            for minutes, served in work:
                highs.addConstr(served - max(0, room // minutes) * sets <= 0)
            of_kind[jig.kind, day] += [*work, (setup, sets)]
            people[day].append((setup, sets))
        for (kind, day), terms in of_kind.items():
            length = days[day].end - days[day].start
            highs.addConstr(self._sum(terms) <= self.bench.jig_count(kind) * length)
        for day, terms in people.items():
            spare = self._count(SPARE)
            self.by_day[day].append(spare)
            self.spare.append(spare)
            highs.addConstr(self._sum(terms) + spare <= days[day].minutes())
        for able, day in few:
            mine = [
                term for (other, at), terms in few.items() if at == day and other <= able for term in terms
            ]
            highs.addConstr(self._sum(mine) <= sum(days[day].minutes(person) for person in able))

    def _sum(self, terms: Terms) -> Any:
        return self.highs.qsum(minutes * count for minutes, count in terms)

    def _look_at_the_clock(self, event: Any) -> None:
        event.interrupt(process_time() > self.stop_at)  # taken back too: the flag outlives its run

    def _run(self, seconds: float, start: Sequence[float] = ()) -> list[float]:
        """Return the best counts found in so many seconds of this process; empty if there are none.

        A net only: reached, the plan may differ on another machine.
        """
        import highspy

        self.stop_at = process_time() + seconds
        self.highs.setOptionValue("time_limit", WALL * seconds)  # of each run: its clock begins anew
        if start:
            solution = highspy.HighsSolution()
            solution.col_value = list(start)
            self.highs.setSolution(solution)
        self.highs.run()
        if self.highs.getInfo().primal_solution_status != _FEASIBLE:
            return []
        return [float(round(value, 6)) for value in self.highs.getSolution().col_value]

    def _keep(self, day: int, values: Sequence[float]) -> None:
        for count in self.by_day[day]:
            value = float(round(values[count.index]))
            self.highs.changeColBounds(count.index, value, value)

    def _free(self, day: int) -> None:
        for count in self.by_day[day]:
            self.highs.changeColBounds(count.index, 0.0, float(self.most[count.index]))

    def _aim(self, values: Sequence[float]) -> tuple[int, float]:
        """Return the weight on time, and the minutes of room: more is better."""
        on_time = sum(weight * round(values[count.index]) for (_, _, weight), count in self.on_time.items())
        sets = sum(values[count.index] for count in self.setups)
        return on_time, sum(values[count.index] for count in self.spare) - self.bench.setup_minutes * sets

    def best(self, seconds: float) -> DayPlan | None:
        """Return the most weight on time that was found in so many seconds, and a bound."""
        if not self._ask():
            return DayPlan(on_time=frozenset(), late_bound=self.weight, day_of={})
        values = self._run(seconds)
        # weights are whole, so the bound is rounded up; by 1e-6 less, since the solver may say 3.0000001
        bound = max(0, ceil(self.weight - self.highs.getInfo().mip_dual_bound - 1e-6))
        return self._plan(values, bound) if values else None

    def to_work_by(self, seconds: float, known: Mapping[str, tuple[int, ...]] | None) -> DayPlan | None:
        """Return days with most weight on time, then few set-ups, as far as so many seconds find them."""
        if not self._ask():
            return DayPlan(on_time=frozenset(), late_bound=0, day_of={})
        begun = process_time()
        values = self._run(seconds * AT_FIRST) if known is None else self._as_known(known)
        if not values:
            return None
        for room, counts, share in AGAIN if known is None else AGAIN[1:]:
            self._ask(room=room)
            values = self._again(values, counts, begun + share * seconds)
            values = self._one_run_a_jig(values, counts)
        return self._plan(values, 0)

    def _ask(self, *, room: bool = False) -> bool:
        """Ask for the most weight on time; with ``room``, then for most room within the days. Return False if
        there is no weight.
        """
        import highspy

        highs = self.highs
        heavy = 2 * max((weight for _, _, weight in self.on_time), default=0)
        on_time = highs.qsum(weight * count for (_, _, weight), count in self.on_time.items())
        aim = on_time - heavy * highs.qsum(self.stops)
        if room:
            aim = (
                ROOM_MOST * aim + highs.qsum(self.spare) - self.bench.setup_minutes * highs.qsum(self.setups)
            )
        highs.setObjective(aim, sense=highspy.ObjSense.kMaximize)
        return bool(self.on_time)

    def _as_known(self, known: Mapping[str, tuple[int, ...]]) -> list[float]:
        """Return whole counts of these days; empty if the days do not hold them."""
        counts: dict[tuple[Node, int], int] = defaultdict(int)
        for (visits, due), groups in self.sources.items():
            for (first, _), js in groups.items():
                for job in js:
                    days = known.get(job.number, ())
                    if self._holds(visits, due, first, days):
                        for number, day in enumerate(days):
                            counts[(visits[number:], due), day] += 1
        for key, served in self.served.items():
            self.highs.changeColBounds(served.index, 0.0, float(counts[key]))
        return self._run(AT_MOST)

    def _holds(self, visits: tuple[Visit, ...], due: int, first: int, days: Sequence[int]) -> bool:
        """Return True if an order may be worked on by these days."""
        for number, day in enumerate(days):
            if not first <= day <= self.latest[visits[number:], due]:
                return False
            if number + 1 < len(visits):
                ready = self._ready(day, visits[number], visits[number + 1])
                if ready is None:
                    return False
                first = ready
        return len(days) == len(visits)

    def _again(self, values: list[float], counts: int, ends: float) -> list[float]:
        """Return better counts: some days at a time, with so many counts, are free again, the others kept."""
        days, at, idle = sorted(self.by_day), 0, 0
        for day in days:
            self._keep(day, values)
        while process_time() < ends and idle < len(days):
            free = self._stretch(days[at:], counts)
            found = self._freed(free, values, min(ends - process_time(), AT_MOST)) or values
            if self._aim(found) < self._aim(values):  # the solver does not always know again what it is told
                found = values
                for day in free:
                    self._keep(day, values)
            step = (len(free) + 1) // 2
            idle = 0 if self._aim(found) > self._aim(values) else idle + step
            values = found
            if len(free) == len(days):
                break
            at = 0 if at + len(free) == len(days) else at + step
        return values

    def _stretch(self, days: Sequence[int], counts: int) -> list[int]:
        """Return the first of these days, as many as have so many counts; at least two, if there are."""
        sizes = accumulate(len(self.by_day[day]) for day in days)
        return [
            day for at, (day, size) in enumerate(zip(days, sizes, strict=True)) if at < 2 or size <= counts
        ]

    def _freed(self, days: Sequence[int], values: list[float], seconds: float) -> list[float]:
        """Return the counts found with these days free and the others kept; empty if there are none."""
        for day in days:
            self._free(day)
        found = self._run(seconds, values)
        for day in days:
            self._keep(day, found or values)
        return found

    def _one_run_a_jig(self, values: list[float], counts: int) -> list[float]:
        """Return counts with one setting a day for each jig, where more do not fit beside each other."""
        days = sorted(self.by_day)
        for (kind, day), runs in sorted(self.runs.items()):
            jigs = self.bench.jig_count(kind)
            if self._fit(values, runs, jigs, self.bench.days[day]):
                continue
            row = self.highs.addConstr(self.highs.qsum(sets for sets, _ in runs) <= jigs)
            free = self._stretch(days[max(0, days.index(day) - 1) :], counts)
            found = self._freed(free, values, AT_MOST)
            if not found:
                self.highs.changeRowBounds(row.index, -inf, inf)
            values = found or values
        return values

    def _fit(self, values: list[float], runs: Sequence[tuple[Any, Terms]], jigs: int, day: WorkDay) -> bool:
        """Return True if the day's runs of a kind of jig fit on its jigs, the longest laid first."""
        lengths: list[float] = []
        for sets, work in runs:
            many = round(values[sets.index])
            minutes = sum(each * values[served.index] for each, served in work)
            lengths += [minutes / many + self.bench.setup_minutes] * many if many else []
        free = [float(day.end - day.start)] * jigs
        for length in sorted(lengths, reverse=True):
            at = next((at for at, room in enumerate(free) if room >= length), None)
            if at is None:
                return False
            free[at] -= length
        return True

    def _plan(self, values: Sequence[float], late_bound: int) -> DayPlan:
        """Return the counts as days of orders: who waits longest is served first."""
        day_of: dict[str, tuple[int, ...]] = {}
        waiting: dict[Node, list[tuple[int, str, tuple[int, ...]]]] = defaultdict(list)
        for (node, day, weight), count in self.on_time.items():
            js = self.sources[node][day, weight][: round(values[count.index])]
            waiting[node] += [(day, job.number, ()) for job in js]
        for node in self.nodes:
            (visit, *rest), due = node
            queue = sorted(waiting[node])
            for day in range(len(self.bench.days)):
                count = round(values[self.served[node, day].index]) if (node, day) in self.served else 0
                for _, number, days in queue[:count]:
                    if rest:
                        ready = self._ready(day, visit, rest[0])
                        assert ready is not None
                        waiting[tuple(rest), due].append((ready, number, (*days, day)))
                    else:
                        day_of[number] = (*days, day)
                queue = queue[count:]
        return DayPlan(on_time=frozenset(day_of), late_bound=late_bound, day_of=day_of)
