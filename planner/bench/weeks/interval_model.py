"""The exact model: every visit an interval, every person and jig a machine (CP-SAT). For small benches.

Starts are limited to the bench hours; each level of the objective is proved before the next is asked.
The same code proves published job-shop instances in the tests.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from planner.bench.weeks.figures import due_index
from planner.bench.weeks.values import Bench, JigUse, Job, Proof, TimedVisit

OBJECTIVE = ("late_weight", "left_weight", "setups", "finish_days")


@dataclass(frozen=True, slots=True, kw_only=True)
class Exact:
    """The exact model's answer: visits, proofs, and the value of each level asked for."""

    visits: tuple[TimedVisit, ...]
    proof: Proof
    values: dict[str, int]
    proved: dict[str, bool]


def solve_exactly(
    bench: Bench,
    jobs: Sequence[Job],
    *,
    levels: Sequence[str] = OBJECTIVE,
    seconds: float = 10.0,
) -> Exact | None:
    """Return the best plan level by level; None if time ran out before any was found.

    Levels: those of `Figures`, and ``makespan``: the minutes from the first opening to the last end (then
    every order must be done).
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    built = _Intervals(model, bench, sorted(jobs, key=lambda job: job.number))
    terms = built.terms("makespan" in levels)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = seconds
    solver.parameters.max_time_in_seconds = 10 * seconds
    values: dict[str, int] = {}
    proved: dict[str, bool] = {}
    bounds: dict[str, int] = {}
    visits: tuple[TimedVisit, ...] | None = None
    for level in levels:
        model.minimize(terms[level])
        status = solver.solve(model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            break
        values[level] = solver.value(terms[level])
        proved[level] = status == cp_model.OPTIMAL
        bounds[level] = round(solver.best_objective_bound)
        visits = built.read(solver)
        model.add(terms[level] <= values[level])
        if not proved[level]:
            break
    if visits is None:
        return None
    proof = Proof(
        **{k: max(0, v) for k, v in bounds.items() if k in ("late_weight", "left_weight", "setups")}
    )
    return Exact(visits=visits, proof=proof, values=values, proved=proved)


class _Intervals:
    """The variables and rules of one bench."""

    def __init__(self, model: Any, bench: Bench, jobs: Sequence[Job]) -> None:
        self.model, self.bench, self.jobs = model, bench, jobs
        self.origin = bench.days[0].start
        self.horizon = bench.days[-1].end - self.origin
        self.done = {job.number: model.new_bool_var("") for job in jobs}
        self.start: dict[tuple[str, int], Any] = {}
        self.end: dict[tuple[str, int], Any] = {}
        self.at: dict[tuple[str, int, int], Any] = {}  # (job, visit, person) -> literal
        self.on: dict[tuple[str, int, int], Any] = {}  # (job, visit, jig) -> literal
        self.day: dict[tuple[str, int, int], Any] = {}  # (job, visit, day) -> literal
        self.sets_up: dict[tuple[str, int], Any] = {}
        self.of_person: dict[int, list[Any]] = defaultdict(list)
        self.of_kind: dict[str, list[tuple[str, int]]] = defaultdict(list)
        self.jig_of: dict[tuple[str, int], JigUse] = {}
        for job in jobs:
            for number in range(len(job.visits)):
                self._visit(job, number)
        for intervals in self.of_person.values():
            model.add_no_overlap(intervals)
        for kind, keys in sorted(self.of_kind.items()):
            for jig in range(bench.jig_count(kind)):
                self._runs(jig, keys)

    def _visit(self, job: Job, number: int) -> None:
        model, visit, key = self.model, job.visits[number], (job.number, number)
        setup = model.new_bool_var("") if visit.jig is not None else 0
        size = visit.minutes + self.bench.setup_minutes * setup
        start = model.new_int_var(0, self.horizon, "")
        end = model.new_int_var(0, self.horizon, "")
        model.add(end == start + size)
        self.start[key], self.end[key] = start, end
        places = []
        for person in range(len(self.bench.people)):
            if visit.people is not None and person not in visit.people:
                continue
            here = []
            for index, day in enumerate(self.bench.days):
                for window in day.windows.get(person, ()):
                    if window.end - window.start < visit.minutes:
                        continue
                    literal = model.new_bool_var("")
                    model.add(start >= window.start - self.origin).only_enforce_if(literal)
                    model.add(end <= window.end - self.origin).only_enforce_if(literal)
                    here.append((index, literal))
            at = model.new_bool_var("")
            model.add(sum(literal for _, literal in here) == at)
            interval = model.new_optional_interval_var(start, size, end, at, "")
            self.at[(*key, person)] = at
            self.of_person[person].append(interval)
            places += here
        model.add(sum(literal for _, literal in places) == self.done[job.number])
        for index in range(len(self.bench.days)):
            today = [literal for day, literal in places if day == index]
            flag = model.new_bool_var("")
            model.add(sum(today) == flag)
            self.day[(*key, index)] = flag
        if number == 0 and job.ready > self.origin:
            model.add(start >= job.ready - self.origin).only_enforce_if(self.done[job.number])
        if number:
            before = (job.number, number - 1)
            cure = job.visits[number - 1].cure_minutes
            model.add(start >= self.end[before] + cure).only_enforce_if(self.done[job.number])
            if visit.other_person:
                for person in range(len(self.bench.people)):
                    if (*key, person) in self.at and (*before, person) in self.at:
                        model.add(self.at[(*key, person)] + self.at[(*before, person)] <= 1)
        if visit.jig is not None:
            self.sets_up[key], self.jig_of[key] = setup, visit.jig
            self.of_kind[visit.jig.kind].append(key)
            for jig in range(self.bench.jig_count(visit.jig.kind)):
                self.on[(*key, jig)] = model.new_bool_var("")
            model.add(
                sum(self.on[(*key, j)] for j in range(self.bench.jig_count(visit.jig.kind)))
                == self.done[job.number]
            )

    def _runs(self, jig: int, keys: Sequence[tuple[str, int]]) -> None:
        """Order the visits of one jig day by day: it stays set only for the same setting on the same day."""
        model = self.model
        arcs = [(0, 0, empty := model.new_bool_var(""))]
        for a, key in enumerate(keys, 1):
            on = self.on[(*key, jig)]
            arcs.append((a, a, on.negated()))
            model.add_implication(on, empty.negated())
            first = model.new_bool_var("")
            arcs += [(0, a, first), (a, 0, model.new_bool_var(""))]
            model.add_implication(first, self.sets_up[key])
            for b, other in enumerate(keys, 1):
                if a == b:
                    continue
                follows = model.new_bool_var("")
                arcs.append((a, b, follows))
                model.add(self.start[other] >= self.end[key]).only_enforce_if(follows)
                if self.jig_of[key] != self.jig_of[other]:
                    model.add_implication(follows, self.sets_up[other])
                    continue
                for day in range(len(self.bench.days)):
                    same = self.day[(*other, day)]
                    model.add_bool_or(
                        follows.negated(), self.day[(*key, day)].negated(), same, self.sets_up[other]
                    )
        model.add_circuit(arcs)

    def terms(self, all_done: bool) -> dict[str, Any]:
        """Return the levels as expressions."""
        model, days = self.model, len(self.bench.days)
        late: Any = 0
        left: Any = 0
        finish: Any = 0
        makespan = model.new_int_var(0, self.horizon, "")
        for job in self.jobs:
            done, last = self.done[job.number], (job.number, len(job.visits) - 1)
            if all_done:
                model.add(done == 1)
                model.add(makespan >= self.end[last])
            due = due_index(self.bench, job)
            on_time = sum(self.day[(*last, d)] for d in range(due + 1))
            late += job.weight * (1 - on_time)
            left += job.weight * (1 - done)
            finish += sum(d * self.day[(*last, d)] for d in range(days)) + days * (1 - done)
        return {
            "late_weight": late,
            "left_weight": left,
            "setups": sum(self.sets_up.values()) if self.sets_up else 0 * makespan,
            "finish_days": finish,
            "makespan": makespan,
        }

    def read(self, solver: Any) -> tuple[TimedVisit, ...]:
        """Return the solution as timed visits."""
        visits = []
        for job in self.jobs:
            if not solver.value(self.done[job.number]):
                continue
            for number in range(len(job.visits)):
                key = (job.number, number)
                person = next(
                    p
                    for p in range(len(self.bench.people))
                    if (*key, p) in self.at and solver.value(self.at[(*key, p)])
                )
                jigs = [j for j in range(99) if (*key, j) in self.on and solver.value(self.on[(*key, j)])]
                visits.append(
                    TimedVisit(
                        job=job.number,
                        visit=number,
                        person=person,
                        start=self.origin + solver.value(self.start[key]),
                        end=self.origin + solver.value(self.end[key]),
                        jig=jigs[0] if jigs else None,
                        sets_up=bool(jigs) and bool(solver.value(self.sets_up[key])),
                    )
                )
        return tuple(sorted(visits, key=lambda v: (v.start, v.person)))
