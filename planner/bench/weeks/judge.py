"""The judge of a bench plan. It knows no solver and no list, only people, jigs, hours and cures.

Each rule is one function that takes the bench, the jobs and the timed visits and yields sentences.
"""

import itertools
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from fleet.base.days import short_time_text
from planner.bench.weeks.calendar import wall
from planner.bench.weeks.figures import day_index, measure
from planner.bench.weeks.values import Bench, BenchPlan, Job, TimedVisit

_T = TypeVar("_T")
_K = TypeVar("_K")


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchCase:
    """A plan laid out for the rules: jobs by number, each job's visits by their number in it."""

    bench: Bench
    jobs: dict[str, Job]
    of: dict[str, list[TimedVisit]]
    visits: Sequence[TimedVisit]

    def at(self, minute: int) -> str:
        """Return a time as the bench reads it."""
        return short_time_text(wall(minute, self.bench.zone))


def judge_bench_plan(bench: Bench, jobs: Sequence[Job], plan: BenchPlan) -> tuple[str, ...]:
    """Return everything wrong with the plan, as sentences; empty if every rule holds and the figures are
    true.
    """
    known = {job.number: job for job in jobs}
    strangers = tuple(f"{v.job} is not an order of this bench" for v in plan.visits if v.job not in known)
    if strangers:
        return strangers
    of: dict[str, list[TimedVisit]] = defaultdict(list)
    for visit in sorted(plan.visits, key=lambda v: (v.visit, v.start)):
        of[visit.job].append(visit)
    case = BenchCase(bench=bench, jobs=known, of=dict(of), visits=plan.visits)
    said = [sentence for rule in _SHAPE for sentence in rule(case)]
    if not said:  # the other rules may count on the shape
        said = [sentence for rule in _RULES for sentence in rule(case)]
        said += _figures(bench, jobs, plan)
    return tuple(said)


def _each_visit_once(case: BenchCase) -> Iterator[str]:
    for number, visits in case.of.items():
        wanted = list(range(len(case.jobs[number].visits)))
        if [v.visit for v in visits] != wanted:
            yield f"{number} has the visits {[v.visit for v in visits]}, its order has {wanted}"


def _people_exist(case: BenchCase) -> Iterator[str]:
    for v in case.visits:
        if not 0 <= v.person < len(case.bench.people):
            yield f"{v.job} is given to person {v.person}, who is not at the bench"


def _lasts_as_long_as_it_says(case: BenchCase) -> Iterator[str]:
    for v in case.visits:
        asked = case.jobs[v.job].visits[v.visit].minutes + v.sets_up * case.bench.setup_minutes
        if v.end - v.start != asked:
            yield f"{v.job} at {case.at(v.start)} is given {v.end - v.start} minutes and needs {asked}"


def _within_hours(case: BenchCase) -> Iterator[str]:
    for v in case.visits:
        day = day_index(case.bench, v.start)
        windows = () if day is None else case.bench.days[day].windows.get(v.person, ())
        if not any(w.start <= v.start and v.end <= w.end for w in windows):
            name = case.bench.people[v.person].name
            yield f"{v.job} at {case.at(v.start)} to {case.at(v.end)} is outside the bench hours of {name}"


def _one_thing_at_a_time(case: BenchCase) -> Iterator[str]:
    for person, visits in _by(case.visits, lambda v: v.person).items():
        for a, b in _overlaps(visits):
            name = case.bench.people[person].name
            yield f"{name} is at {a.job} and at {b.job} together, {case.at(b.start)}"


def _right_person(case: BenchCase) -> Iterator[str]:
    for v in case.visits:
        asked = case.jobs[v.job].visits[v.visit]
        if asked.people is not None and v.person not in asked.people:
            yield f"{v.job}: {case.bench.people[v.person].name} may not do {asked.name}"
        if asked.other_person and case.of[v.job][v.visit - 1].person == v.person:
            name = case.bench.people[v.person].name
            yield f"{v.job}: {name} would check their own work; {asked.name} needs another person"


def _order_and_cure(case: BenchCase) -> Iterator[str]:
    for number, visits in case.of.items():
        if visits[0].start < case.jobs[number].ready:
            yield f"{number} goes on at {case.at(visits[0].start)} and still cures"
        for before, after in itertools.pairwise(visits):
            asked = case.jobs[number].visits[before.visit]
            if after.start < before.end + asked.cure_minutes:
                cure = f"the {asked.cure_of} cures until" if asked.cure_minutes else "the visit before ends"
                yield (
                    f"{number} goes on at {case.at(after.start)}, but {cure} "
                    f"{case.at(before.end + asked.cure_minutes)}"
                )


def _jigs(case: BenchCase) -> Iterator[str]:
    used = []
    for v in case.visits:
        asked = case.jobs[v.job].visits[v.visit].jig
        if asked is None:
            if v.jig is not None or v.sets_up:
                yield f"{v.job} at {case.at(v.start)} needs no jig"
        elif v.jig is None or not 0 <= v.jig < case.bench.jig_count(asked.kind):
            count = case.bench.jig_count(asked.kind)
            yield f"{v.job} at {case.at(v.start)}: the bench has {count} of {asked.kind}"
        else:
            used.append((asked.kind, v.jig, v))
    for (kind, number), group in _by(used, lambda u: u[:2]).items():
        visits = sorted((u[2] for u in group), key=lambda v: v.start)
        for a, b in _overlaps(visits):
            yield f"jig {kind} no. {number + 1} is at {a.job} and at {b.job} together, {case.at(b.start)}"
        for before, v in zip([None, *visits], visits, strict=False):
            stays = (
                before is not None
                and day_index(case.bench, before.start) == day_index(case.bench, v.start)
                and _setting(case, before) == _setting(case, v)
            )
            if not stays and not v.sets_up:
                yield f"jig {kind} no. {number + 1} is not set for {_setting(case, v)} at {case.at(v.start)}"


def _setting(case: BenchCase, v: TimedVisit) -> str:
    jig = case.jobs[v.job].visits[v.visit].jig
    return jig.setting if jig else ""


def _figures(bench: Bench, jobs: Sequence[Job], plan: BenchPlan) -> list[str]:
    figures, late, left = measure(bench, jobs, plan.visits)
    said = []
    for name, told, true in (
        ("figures", plan.figures, figures),
        ("late orders", plan.late, late),
        ("orders left over", plan.left_over, left),
    ):
        if told != true:
            said.append(f"the plan says {name} {told}, counted again it is {true}")
    for name in ("late_weight", "left_weight", "setups"):
        bound = getattr(plan.proof, name)
        if bound is not None and bound > getattr(figures, name):
            said.append(
                f"the plan claims that no {name} below {bound} exists and has {getattr(figures, name)}"
            )
    return said


def _by(things: Iterable[_T], key: Callable[[_T], _K]) -> dict[_K, list[_T]]:
    groups: dict[_K, list[_T]] = defaultdict(list)
    for thing in things:
        groups[key(thing)].append(thing)
    return groups


def _overlaps(visits: Sequence[TimedVisit]) -> Iterator[tuple[TimedVisit, TimedVisit]]:
    ordered = sorted(visits, key=lambda v: (v.start, v.end))
    for a, b in itertools.pairwise(ordered):
        if b.start < a.end:
            yield a, b


_SHAPE = (_each_visit_once, _people_exist)
_RULES = (
    _lasts_as_long_as_it_says,
    _within_hours,
    _one_thing_at_a_time,
    _right_person,
    _order_and_cure,
    _jigs,
)
