"""Benches too large for the exact search: valid, judged, better than the list, steady when planned again."""

from __future__ import annotations

from dataclasses import replace

import pytest
from invented_weeks import bench_and_jobs, due_date_list

from planner.bench.weeks.judge import judge_bench_plan
from planner.bench.weeks.weeks import plan_bench


@pytest.fixture(scope="module")
def weeks():
    bench, jobs = bench_and_jobs(80, seed=3, technicians=2, weeks=2)
    return bench, jobs, plan_bench(bench, jobs)


def test_the_plan_is_no_later_than_the_due_date_list(weeks) -> None:
    bench, jobs, plan = weeks
    listed = due_date_list(bench, jobs)
    assert plan.figures.key()[:2] <= listed.figures.key()[:2]
    assert plan.proof.late_weight is not None
    assert plan.proof.late_weight <= plan.figures.late_weight


def test_every_order_is_done_or_named(weeks) -> None:
    _, jobs, plan = weeks
    assert {v.job for v in plan.visits} | set(plan.left_over) == {job.number for job in jobs}


def test_the_same_bench_gives_the_same_plan(weeks) -> None:
    bench, jobs, plan = weeks
    assert plan_bench(bench, tuple(reversed(jobs))) == plan


def test_planning_again_moves_nothing_that_need_not_move(weeks) -> None:
    bench, jobs, plan = weeks
    again = plan_bench(bench, jobs, before=plan.visits)
    assert again.figures.late_weight <= plan.figures.late_weight
    assert again.moved == ()


def test_one_more_order_moves_few_others(weeks) -> None:
    bench, jobs, plan = weeks
    rush = replace(jobs[0], number="WO-RUSH")
    again = plan_bench(bench, (*jobs, rush), before=plan.visits)
    assert judge_bench_plan(bench, (*jobs, rush), again) == ()
    assert len(again.moved) <= len(jobs) // 4
