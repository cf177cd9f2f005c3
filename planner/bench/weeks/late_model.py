"""A whole-number model of the orders that cannot be on time, at full capacity a day, and its proven bound.

Time within a day is left out, visits may be split, and jigs only cost their share of set-ups; every real
plan obeys these rows, so the least weight of late orders here bounds every real plan's. Shown true by
the tests against brute force.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from planner.bench.weeks.deadlines import TimeWindow, time_windows
from planner.bench.weeks.values import Bench, JigUse, Job


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The jobs to be on time and to be done at all, by number, and the proven least weights."""

    on_time: frozenset[str]
    done: frozenset[str]
    late_bound: int
    left_bound: int


class _Class(NamedTuple):
    """Jobs that differ by number only."""

    weight: int
    visits: tuple[Any, ...]
    on_time: TimeWindow | None
    done: TimeWindow | None


def effective_people(bench: Bench, job: Job, number: int) -> frozenset[int]:
    """Return the people who can do a visit. The only possible checker cannot have done the work before."""
    everybody = frozenset(range(len(bench.people)))
    mine = job.visits[number].people or everybody
    following = job.visits[number + 1] if number + 1 < len(job.visits) else None
    if following is not None and following.other_person:
        checkers = following.people or everybody
        if len(checkers) == 1:
            mine = mine - checkers
    return mine


def choose_on_time(bench: Bench, jobs: Sequence[Job], *, seconds: float = 10.0) -> Choice:
    """Return the orders to be on time: least weight of the others, then least weight of those left."""
    from ortools.sat.python import cp_model

    ordered = sorted(jobs, key=lambda job: job.number)
    on_windows, done_windows = time_windows(bench, ordered)
    classes: dict[_Class, list[Job]] = defaultdict(list)
    for job, on_window, done_window in zip(ordered, on_windows, done_windows, strict=True):
        classes[_Class(job.weight, job.visits, on_window, done_window)].append(job)
    model = cp_model.CpModel()
    x = {c: model.new_int_var(0, len(js) if c.on_time else 0, "") for c, js in classes.items()}
    y = {c: model.new_int_var(0, len(js) if c.done else 0, "") for c, js in classes.items()}
    for c in classes:
        model.add(x[c] <= y[c])
    _capacity_rows(model, bench, classes, x, y)
    late = sum(c.weight * (len(js) - x[c]) for c, js in classes.items())
    left = sum(c.weight * (len(js) - y[c]) for c, js in classes.items())
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1  # the same plan on every machine
    solver.parameters.max_deterministic_time = seconds
    solver.parameters.max_time_in_seconds = 10 * seconds  # a net only: reached, the plan may differ
    bounds = []
    for level in (late, left):
        model.minimize(level)
        status = solver.solve(model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            raise RuntimeError(f"the late model ended as {solver.status_name(status)}")
        value, bound = solver.value(level), _whole_bound(solver.best_objective_bound)
        bounds.append(bound)
        model.clear_hints()  # type: ignore[no-untyped-call]
        for var in (*x.values(), *y.values()):
            model.add_hint(var, solver.value(var))
        model.add(level <= value)
    on_time: set[str] = set()
    done: set[str] = set()
    for c, js in classes.items():
        on_time.update(job.number for job in js[: solver.value(x[c])])
        done.update(job.number for job in js[: solver.value(y[c])])
    return Choice(
        on_time=frozenset(on_time),
        done=frozenset(done),
        late_bound=bounds[0],
        left_bound=bounds[1],
    )


def _whole_bound(bound: float) -> int:
    from math import ceil

    # weights are whole, so the bound is rounded up; by 1e-6 less, since the solver may say 3.0000001
    return max(0, ceil(bound - 1e-6))


Terms = list[tuple[int, Any]]
Loads = dict[tuple[int, int], Terms]
"""Minutes times counts of visits that cannot be done outside a stretch of days (first, until)."""

_FIRSTS = 4
"""Stretches begin on the first days only: later ones never bind, because nothing is released there."""


def _capacity_rows(model: Any, bench: Bench, classes: Any, x: Any, y: Any) -> None:
    """Add a row for each stretch of days, set of people and kind of jig: the work must fit into the
    stretch.
    """
    everybody = frozenset(range(len(bench.people)))
    by_people: dict[frozenset[int], Loads] = defaultdict(lambda: defaultdict(list))
    by_jig: dict[JigUse, Loads] = defaultdict(lambda: defaultdict(list))
    for c, js in classes.items():
        for number, visit in enumerate(c.visits):
            people = effective_people(bench, js[0], number)
            for window, count in ((c.on_time, x[c]), (c.done, y[c] - x[c])):
                if window is None:
                    continue
                span = (min(window.earliest_day[number], _FIRSTS - 1), window.latest_day[number])
                for group in {people, everybody}:
                    by_people[group][span].append((visit.minutes, count))
                if visit.jig is not None:
                    by_jig[visit.jig][span].append((visit.minutes, count))
    kinds: dict[str, list[JigUse]] = defaultdict(list)
    for jig in sorted(by_jig):
        kinds[jig.kind].append(jig)
    for first in range(min(_FIRSTS, len(bench.days))):
        untils = sorted({s[1] for loads in by_people.values() for s in loads if s[0] >= first})
        for until in untils:
            setups: Terms = []
            for kind, settings in kinds.items():
                work, sets = [], []
                for jig in settings:
                    mine = _within(by_jig[jig], first, until)
                    if mine:
                        work += mine
                        sets.append((bench.setup_minutes, _setups(model, bench, mine)))
                length = sum(day.end - day.start for day in bench.days[first : until + 1])
                if work:
                    model.add(_sum(work + sets) <= bench.jig_count(kind) * length)
                setups += sets
            for group, loads in by_people.items():
                terms = _within(loads, first, until)
                room = sum(day.minutes(p) for day in bench.days[first : until + 1] for p in group)
                if group == everybody:
                    terms += setups
                if terms:
                    model.add(_sum(terms) <= max(0, room))


def _within(loads: Loads, first: int, until: int) -> Terms:
    return [term for span, terms in loads.items() if first <= span[0] and span[1] <= until for term in terms]


def _sum(terms: Terms) -> Any:
    return sum(minutes * count for minutes, count in terms)


def _setups(model: Any, bench: Bench, work: Terms) -> Any:
    """Return the fewest set-ups that this work of one setting can need: a jig holds at most a day for
    each.
    """
    longest = max(day.end - day.start for day in bench.days)
    room = max(1, longest - bench.setup_minutes)
    setups = model.new_int_var(0, 10_000, "")
    model.add(setups * room >= _sum(work))
    return setups
