"""Invented bench weeks of any size, with a seed: a shop's autumn, not a product of any solver."""

from __future__ import annotations

import random
from collections.abc import Sequence
from datetime import date, timedelta

from planner.bench.weeks.calendar import open_days
from planner.bench.weeks.dispatch import DispatchRule
from planner.bench.weeks.figures import due_index, measure
from planner.bench.weeks.values import Bench, BenchPlan, JigUse, Job, Person, Proof, Visit
from planner.bench.weeks.weeks import whole_orders

FIRST = date(2026, 10, 12)


def bench_and_jobs(
    orders: int,
    *,
    seed: int,
    technicians: int,
    weeks: int,
    patterns: int = 6,
    fill: float = 0.92,
    alike: int = 1,
) -> tuple[Bench, tuple[Job, ...]]:
    """A bench and orders that take about ``fill`` of its minutes, due twice a week.

    ``alike``: orders in a row with the same work, jig setting and priority, as the pairs of one set wanted
    in a rental fleet are; 1 is a bench of strangers, every order drawn for itself.
    """
    draw = random.Random(seed)
    last = FIRST + timedelta(days=7 * weeks - 1)
    days = open_days(first=FIRST, last=last, zone="Europe/Vienna", hours=[8.0] * technicians)
    bench = Bench(
        people=tuple(Person(name=f"technician {n + 1}") for n in range(technicians)),
        days=days,
        zone="Europe/Vienna",
        jigs={f"P{n + 1}": max(1, technicians // 2) for n in range(patterns)},
        setup_minutes=10,
    )
    bsls = [285 + 10 * n for n in range(7)]
    jobs: list[dict] = []
    for number in range(orders):
        if number % alike:
            jobs.append({**jobs[-1], "number": f"WO-{number:05d}", "pair": f"K-{number:05d}"})
            continue
        drilled = draw.choice((0, 8, 16, 16))
        plugged = draw.choice((0, 0, 8))
        pattern, bsl = draw.randrange(patterns) + 1, draw.choice(bsls)
        jig = JigUse(kind=f"P{pattern}", setting=f"{bsl} mm") if drilled else None
        fit = (("drill, mount", 14 + 3 * drilled // 2),)
        off = (("take off, confirm", 8),)
        visits = [Visit(steps=off + fit, jig=jig, cure_minutes=12 * 60, cure_of="wood glue")]
        if plugged:
            visits = [
                Visit(steps=(*off, ("plug", plugged)), cure_minutes=24 * 60, cure_of="epoxy"),
                Visit(steps=fit, jig=jig, cure_minutes=12 * 60, cure_of="wood glue"),
            ]
        visits.append(Visit(steps=(("second check", 4), ("release test", 6)), other_person=True))
        priority = draw.choices((1, 2, 3), (2, 5, 3))[0]
        jobs.append(
            {
                "number": f"WO-{number:05d}",
                "pair": f"K-{number:05d}",
                "visits": tuple(visits),
                "weight": 4 - priority,
            }
        )
    return bench, tuple(
        Job(**job, due=due) for job, due in zip(jobs, _dues(draw, bench, jobs, fill, alike), strict=True)
    )


def _dues(draw: random.Random, bench: Bench, jobs: list[dict], fill: float, alike: int) -> list[date]:
    """Wednesdays and Saturdays, so that until each the bench is ``fill`` full; one in twelve in a rush."""
    delivery = [d for d in bench.days if d.day.weekday() in (2, 5)][1:]
    room, delivered = 0.0, 0
    rooms = []
    for day in bench.days:
        if day in delivery:
            rooms.append(room)  # what is mounted today still cures
        room += day.minutes() * fill
    dues, load, rush = [], 0.0, 0
    for number, job in enumerate(jobs):
        load += sum(v.minutes for v in job["visits"])
        while delivered < len(rooms) - 1 and load > rooms[delivered]:
            delivered += 1
        if number % alike == 0:
            rush = draw.randrange(4) if draw.random() < 1 / 12 else 0
        dues.append(delivery[max(0, delivered - rush)].day)
    return dues


def due_date_list(bench: Bench, jobs: Sequence[Job]) -> BenchPlan:
    """The plan of a bench without a planner: orders by due date, each as soon as somebody is free."""
    ranks = {job.number: (due_index(bench, job),) * len(job.visits) for job in jobs}
    visits = whole_orders(bench, jobs, ranks, DispatchRule(stay_minutes=0))
    figures, late, left = measure(bench, jobs, visits)
    return BenchPlan(
        visits=tuple(sorted(visits, key=lambda v: (v.start, v.person))),
        late=late,
        left_over=left,
        moved=(),
        figures=figures,
        proof=Proof(),
        how="due-date list",
    )
