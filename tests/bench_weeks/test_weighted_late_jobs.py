"""One technician, no jig, no cure: the orders that cannot be on time, against an exact program of a textbook.

Source: Lawler and Moore, A functional equation and its application to resource allocation and sequencing
problems, Management Science 16 (1969), pages 77 to 84: least weight of late jobs on one machine; from memory.
"""

from __future__ import annotations

import random
from datetime import date, timedelta

import pytest

from planner.bench.weeks.calendar import open_days
from planner.bench.weeks.figures import due_index
from planner.bench.weeks.judge import judge_bench_plan
from planner.bench.weeks.values import Bench, Job, Person, Visit
from planner.bench.weeks.weeks import plan_bench

FIRST = date(2026, 11, 2)
DAY_MINUTES = 240


def bench_and_jobs(seed: int) -> tuple[Bench, list[Job]]:
    """Orders of one or two hours for days of four: what is short enough in all can be laid into days."""
    draw = random.Random(seed)
    days = open_days(first=FIRST, last=FIRST + timedelta(days=4), zone="Europe/Vienna", hours=[4.0])
    bench = Bench(people=(Person(name="Ada"),), days=days, zone="Europe/Vienna", jigs={}, setup_minutes=10)
    return bench, [
        Job(
            number=f"W{number:02}",
            pair=f"K{number:02}",
            visits=(Visit(steps=(("mount", draw.choice((60, 120))),)),),
            due=FIRST + timedelta(days=draw.randrange(5)),
            weight=draw.choice((1, 2, 5)),
        )
        for number in range(draw.randrange(8, 19))
    ]


def least_late_weight(jobs: list[tuple[int, int, int]]) -> int:
    """Jobs as (deadline, minutes, weight): the least weight of those that end after their deadline."""
    least = {0: 0}
    for deadline, minutes, weight in sorted(jobs):
        late = {busy: found + weight for busy, found in least.items()}
        for busy, found in least.items():
            if busy + minutes <= deadline:
                late[busy + minutes] = min(late.get(busy + minutes, found), found)
        least = late
    return min(least.values())


def test_the_textbook_program_itself() -> None:
    """By hand: of three jobs of 2, due at 2, 4 and 4, the lightest is late."""
    assert least_late_weight([(2, 2, 7), (4, 2, 3), (4, 2, 5)]) == 3
    assert least_late_weight([(2, 2, 7), (4, 2, 3), (6, 2, 5)]) == 0


@pytest.mark.parametrize("seed", range(12))
def test_no_more_weight_is_late_than_must_be_and_that_is_proved(seed: int) -> None:
    bench, jobs = bench_and_jobs(seed)
    must = least_late_weight(
        [((due_index(bench, job) + 1) * DAY_MINUTES, job.visits[0].steps[0][1], job.weight) for job in jobs]
    )
    plan = plan_bench(bench, jobs)
    assert plan.figures.late_weight == must
    assert plan.proof.late_weight == must
    assert judge_bench_plan(bench, jobs, plan) == ()


def test_the_weeks_drawn_have_late_orders_and_others() -> None:
    late = [bool(plan_bench(*bench_and_jobs(seed)).late) for seed in range(12)]
    assert {True, False} <= set(late)
