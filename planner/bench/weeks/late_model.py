"""A second bound of late and left-over orders: whole stretches of days at full capacity, in a second or less.

Days are not told apart within a stretch, visits may be split, and jigs only cost their share of set-ups;
every real plan obeys these rows, so the least weight here bounds every real plan's. It is the day model's
bound or above where orders are alike, below it where each is drawn for itself. Held against brute force.
"""

from collections import defaultdict
from collections.abc import Sequence
from math import ceil
from typing import Any, NamedTuple

from planner.bench.weeks.day_model import people_able
from planner.bench.weeks.deadlines import TimeWindow, time_windows
from planner.bench.weeks.values import Bench, JigUse, Job, Visit


class _Class(NamedTuple):
    """Jobs that differ by number only."""

    weight: int
    visits: tuple[Visit, ...]
    on_time: TimeWindow | None
    done: TimeWindow | None


def least_late_and_left(bench: Bench, jobs: Sequence[Job], *, seconds: float) -> tuple[int, int]:
    """Return what no plan goes below: the weight of late orders, and then of those left over."""
    from ortools.sat.python import cp_model

    classes: dict[_Class, int] = defaultdict(int)
    for job, on_window, done_window in zip(jobs, *time_windows(bench, jobs), strict=True):
        classes[_Class(job.weight, job.visits, on_window, done_window)] += 1
    model = cp_model.CpModel()
    x = {c: model.new_int_var(0, count if c.on_time else 0, "") for c, count in classes.items()}
    y = {c: model.new_int_var(0, count if c.done else 0, "") for c, count in classes.items()}
    for c in classes:
        model.add(x[c] <= y[c])
    _capacity_rows(model, bench, classes, x, y)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1  # the same bounds on every machine
    solver.parameters.max_deterministic_time = seconds
    solver.parameters.max_time_in_seconds = 10 * seconds  # a net only: reached, the bounds may differ
    bounds = []
    for done in (x, y):
        level = sum(c.weight * (count - done[c]) for c, count in classes.items())
        model.minimize(level)
        status = solver.solve(model)
        # weights are whole, so the bound is rounded up; by 1e-6 less, since the solver may say 3.0000001
        bounds.append(max(0, ceil(solver.best_objective_bound - 1e-6)))
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return bounds[0], 0  # what was proved until then holds; of the rest nothing is known
        model.clear_hints()  # type: ignore[no-untyped-call]
        for count in (*x.values(), *y.values()):
            model.add_hint(count, solver.value(count))
        model.add(level <= solver.value(level))
    return bounds[0], bounds[1]


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
    for c in classes:
        for number, visit in enumerate(c.visits):
            people = people_able(bench, c.visits[number:])
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
