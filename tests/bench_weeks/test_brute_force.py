"""Small benches against every way of doing them: lateness, then left over, then set-ups."""

from __future__ import annotations

import random
from datetime import date, timedelta

import pytest
from every_way import best_figures
from invented_weeks import due_date_list

from planner.bench.weeks.calendar import open_days
from planner.bench.weeks.day_model import plan_days
from planner.bench.weeks.judge import judge_bench_plan
from planner.bench.weeks.late_model import least_late_and_left
from planner.bench.weeks.values import Bench, JigUse, Job, Person, Visit
from planner.bench.weeks.weeks import plan_bench

FIRST = date(2026, 11, 2)


def small(seed: int) -> tuple[Bench, tuple[Job, ...]]:
    """Two or three orders on two or three short days; hours, cures, jigs and dues drawn."""
    draw = random.Random(seed)
    hours = [draw.choice((1.0, 1.5)), draw.choice((0.5, 1.0))]
    last = FIRST + timedelta(days=draw.choice((1, 2)))
    bench = Bench(
        people=(Person(name="Ada"), Person(name="Bo")),
        days=open_days(first=FIRST, last=last, zone="Europe/Vienna", hours=hours),
        zone="Europe/Vienna",
        jigs={"P": draw.choice((1, 2))},
        setup_minutes=draw.choice((5, 10)),
    )
    jobs = []
    for number in range(draw.choice((2, 3))):
        jig = JigUse(kind="P", setting=draw.choice(("305 mm", "315 mm"))) if draw.random() < 0.8 else None
        visits = [
            Visit(
                steps=(("mount", draw.choice((20, 30, 45))),), jig=jig, cure_minutes=draw.choice((0, 30, 720))
            )
        ]
        if draw.random() < 0.6:
            able = draw.choice((None, frozenset({0}), frozenset({1})))
            visits.append(Visit(steps=(("check", 10),), other_person=True, people=able))
        due = FIRST + timedelta(days=draw.choice((0, 0, 1, 2)))
        jobs.append(
            Job(
                number=f"W{number}",
                pair=f"K{number}",
                visits=tuple(visits),
                due=due,
                weight=draw.choice((1, 2)),
            )
        )
    return bench, tuple(jobs)


@pytest.mark.parametrize("seed", range(30))
def test_a_small_bench_is_as_good_as_every_way_of_doing_it(seed: int) -> None:
    bench, jobs = small(seed)
    plan = plan_bench(bench, jobs)
    best = best_figures(bench, jobs)
    assert (plan.figures.late_weight, plan.figures.left_weight, plan.figures.setups) == best
    assert plan.status == "proved best"
    assert judge_bench_plan(bench, jobs, plan) == ()


@pytest.mark.parametrize("seed", range(30))
def test_the_bounds_by_stretches_of_days_are_never_above_the_best(seed: int) -> None:
    bench, jobs = small(seed)
    late, left, _ = best_figures(bench, jobs)
    late_bound, left_bound = least_late_and_left(bench, jobs, seconds=10.0)
    assert late_bound <= late
    assert late_bound < late or left_bound <= left  # left over is bounded for plans with least late


@pytest.mark.parametrize("seed", range(30))
def test_the_bound_by_days_and_classes_is_never_above_the_best(seed: int, capsys) -> None:
    bench, jobs = small(seed)
    late, _, _ = best_figures(bench, jobs)
    days = plan_days(bench, jobs, seconds=10.0)
    assert days is not None
    assert days.late_bound <= late
    assert sum(job.weight for job in jobs if job.number not in days.on_time) == days.late_bound
    assert capsys.readouterr().out == ""  # the answer alone stands there


def test_the_bound_sees_that_only_some_may_do_a_visit() -> None:
    """By hand: of two people in two hours one may check; 120 minutes hold 12 checks of 10, of 15 orders."""
    bench = Bench(
        people=(Person(name="Ada"), Person(name="Bo")),
        days=open_days(first=FIRST, last=FIRST, zone="Europe/Vienna", hours=[2.0, 2.0]),
        zone="Europe/Vienna",
    )
    check = Visit(steps=(("check", 10),), people=frozenset({1}))
    jobs = [Job(number=f"W{n:02}", pair=f"K{n}", visits=(check,), due=FIRST, weight=1) for n in range(15)]
    days = plan_days(bench, jobs, seconds=10.0)
    assert days is not None
    assert days.late_bound == 3
    assert least_late_and_left(bench, jobs, seconds=10.0) == (3, 3)
    plan = plan_bench(bench, jobs, seconds=5.0)
    assert (plan.figures.late_weight, plan.proof.late_weight, plan.proof.left_weight) == (3, 3, 3)


@pytest.mark.parametrize("seed", range(40, 60))
def test_the_due_date_list_obeys_every_rule_too(seed: int) -> None:
    bench, jobs = small(seed)
    assert judge_bench_plan(bench, jobs, due_date_list(bench, jobs)) == ()
