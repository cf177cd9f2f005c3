"""An earlier plan is kept to the minute where it still is legal; what is new goes into its gaps."""

from __future__ import annotations

from dataclasses import replace

import pytest
from invented_weeks import bench_and_jobs, due_date_list

from planner.bench.weeks.figures import measure
from planner.bench.weeks.gaps import kept_visits
from planner.bench.weeks.judge import judge_bench_plan
from planner.bench.weeks.values import Bench, BenchPlan, Job, Proof, TimedVisit


def judged(bench: Bench, jobs: tuple[Job, ...], visits: tuple[TimedVisit, ...]) -> tuple[str, ...]:
    figures, late, left = measure(bench, jobs, visits)
    plan = BenchPlan(
        visits=visits, late=late, left_over=left, moved=(), figures=figures, proof=Proof(), how="kept"
    )
    return judge_bench_plan(bench, jobs, plan)


@pytest.fixture(scope="module")
def weeks():
    bench, jobs = bench_and_jobs(40, seed=5, technicians=2, weeks=2)
    return bench, jobs, due_date_list(bench, jobs).visits


def test_a_plan_that_still_is_legal_is_kept_whole(weeks) -> None:
    bench, jobs, visits = weeks
    assert kept_visits(bench, jobs, visits) == visits


def test_an_order_that_is_gone_leaves_the_others_where_they_were(weeks) -> None:
    bench, jobs, visits = weeks
    gone = next(v.job for v in visits if not v.sets_up and v.jig is not None)
    rest = tuple(job for job in jobs if job.number != gone)
    kept = kept_visits(bench, rest, visits)
    assert kept == tuple(v for v in visits if v.job != gone)
    assert judged(bench, rest, kept) == ()


@pytest.mark.parametrize("number", range(0, 40, 3))
def test_a_new_order_goes_into_gaps_and_moves_nobody(weeks, number) -> None:
    bench, jobs, visits = weeks
    more = (*jobs, replace(jobs[number], number="WO-NEW"))
    kept = kept_visits(bench, more, visits)
    assert set(visits) <= set(kept)
    assert {v.visit for v in kept if v.job == "WO-NEW"} == set(range(len(jobs[number].visits)))
    assert judged(bench, more, kept) == ()


def test_fewer_jigs_and_a_closed_day_drop_what_no_longer_stands_and_nothing_illegal_stays(weeks) -> None:
    bench, jobs, visits = weeks
    less = replace(bench, jigs=dict.fromkeys(bench.jigs, 1), days=(*bench.days[:2], *bench.days[3:]))
    kept = kept_visits(less, jobs, visits)
    closed = bench.days[2]
    assert not [v for v in kept if closed.start <= v.start < closed.end]
    assert judged(less, jobs, kept) == ()
    stood = {v.job for v in visits if closed.start <= v.start < closed.end}
    assert {v for v in visits if v.job not in stood} & set(kept)


def test_without_an_earlier_plan_every_order_comes_by_its_due_day_into_the_free_time(weeks) -> None:
    bench, jobs, _ = weeks
    placed = kept_visits(bench, jobs, ())
    assert {v.job for v in placed} == {job.number for job in jobs}
    assert judged(bench, jobs, placed) == ()
