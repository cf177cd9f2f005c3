"""Brute force: every order of visits by every person on every jig. For two or three orders only.

Visits are appended in order of their start, each as early as it can be: any plan can be pushed to such a
list without a worse end, and the order on each jig, which decides the set-ups, stays the same.
"""

from __future__ import annotations

from itertools import combinations

from planner.bench.weeks.figures import due_index
from planner.bench.weeks.values import Bench, Job


def best_figures(bench: Bench, jobs: tuple[Job, ...]) -> tuple[int, int, int]:
    """The least (late weight, left weight, set-ups)."""
    best = None
    for count in range(len(jobs) + 1):
        for chosen in combinations(jobs, count):
            left = sum(job.weight for job in jobs if job not in chosen)
            people = tuple(0 for _ in bench.people)
            found = _search(
                bench, chosen, {job.number: (0, job.ready, -1) for job in chosen}, people, {}, 0, 0
            )
            if found is not None:
                key = (found[0] + left, left, found[1])
                best = key if best is None else min(best, key)
    assert best is not None
    return best


def _search(bench, jobs, state, people, jigs, late, setups):
    open_jobs = [job for job in jobs if state[job.number][0] < len(job.visits)]
    if not open_jobs:
        return late, setups
    best = None
    for job in open_jobs:
        number, ready, last_person = state[job.number]
        visit = job.visits[number]
        units = range(bench.jig_count(visit.jig.kind)) if visit.jig else (None,)
        for person in range(len(bench.people)):
            if visit.people is not None and person not in visit.people:
                continue
            if visit.other_person and person == last_person:
                continue
            for unit in units:
                placed = _place(bench, visit, person, max(ready, people[person]), jigs, unit)
                if placed is None:
                    continue
                day, end, sets = placed
                after_people = tuple(end if p == person else t for p, t in enumerate(people))
                after_jigs = jigs
                if visit.jig:
                    after_jigs = jigs | {(visit.jig.kind, unit): (end, visit.jig.setting, day)}
                after = state | {job.number: (number + 1, end + visit.cure_minutes, person)}
                over = number + 1 == len(job.visits) and day > due_index(bench, job)
                found = _search(
                    bench, jobs, after, after_people, after_jigs, late + over * job.weight, setups + sets
                )
                if found is not None and (best is None or found < best):
                    best = found
    return best


def _place(bench, visit, person, ready, jigs, unit):
    free, setting, last_day = jigs.get((visit.jig.kind, unit), (0, "", -1)) if visit.jig else (0, "", -1)
    for index, day in enumerate(bench.days):
        for window in day.windows.get(person, ()):
            sets = bool(visit.jig) and not (setting == visit.jig.setting and last_day == index)
            start = max(window.start, ready, free)
            end = start + visit.minutes + sets * bench.setup_minutes
            if end <= window.end:
                return index, end, sets
    return None
