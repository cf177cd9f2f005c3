"""The judge's rules one by one: an allowed plan, and one change that breaks each."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from fleet.base.errors import BadInput
from planner.bench.weeks.calendar import open_days, utc_minute, wall
from planner.bench.weeks.judge import judge_bench_plan
from planner.bench.weeks.values import Bench, BenchPlan, JigUse, Job, Person, Visit
from planner.bench.weeks.weeks import plan_bench

SATURDAY = date(2026, 10, 24)
GLUE = 23 * 60


def bench_of(days: int = 3, **more: object) -> Bench:
    return Bench(
        people=(Person(name="Ada"), Person(name="Bo")),
        days=open_days(
            first=SATURDAY,
            last=SATURDAY + timedelta(days=days),
            zone="Europe/Vienna",
            hours=[8.0, 8.0],
            weekdays_closed=(),
        ),
        zone="Europe/Vienna",
        setup_minutes=10,
        **more,  # type: ignore[arg-type]
    )


def order(number: str, setting: str = "315 mm", **more: object) -> Job:
    return Job(
        number=number,
        pair=number,
        visits=(
            Visit(
                steps=(("mount", 30),),
                jig=JigUse(kind="P", setting=setting),
                cure_minutes=GLUE,
                cure_of="wood glue",
            ),
            Visit(steps=(("second check", 10),), other_person=True),
        ),
        **more,  # type: ignore[arg-type]
    )


BENCH = bench_of()
JOBS = (order("W1"), order("W2", "305 mm"))


@pytest.fixture(scope="module")
def plan() -> BenchPlan:
    return plan_bench(BENCH, JOBS)


def broken(plan: BenchPlan, job: str, visit: int, **change: object) -> str:
    """The first sentence of the judge once one visit is changed."""
    visits = tuple(
        replace(v, **change) if (v.job, v.visit) == (job, visit) else v  # type: ignore[arg-type]
        for v in plan.visits
    )
    return " | ".join(judge_bench_plan(BENCH, JOBS, replace(plan, visits=visits)))


def of(plan: BenchPlan, job: str, visit: int):
    return next(v for v in plan.visits if (v.job, v.visit) == (job, visit))


def test_a_good_plan_has_no_objection(plan: BenchPlan) -> None:
    assert judge_bench_plan(BENCH, JOBS, plan) == ()


def test_the_glue_cures_in_real_hours(plan: BenchPlan) -> None:
    check = of(plan, "W1", 1)
    early = of(plan, "W1", 0).end + GLUE - 1
    assert "the wood glue cures until" in broken(plan, "W1", 1, start=early, end=early + 10)
    assert check.start >= of(plan, "W1", 0).end + GLUE


def test_nobody_checks_their_own_work(plan: BenchPlan) -> None:
    assert "would check their own work" in broken(plan, "W1", 1, person=of(plan, "W1", 0).person)


def test_nobody_works_before_the_bench_opens(plan: BenchPlan) -> None:
    start = BENCH.days[0].start - 1
    length = of(plan, "W1", 0).end - of(plan, "W1", 0).start
    assert "outside the bench hours" in broken(plan, "W1", 0, start=start, end=start + length)


def test_a_visit_lasts_as_long_as_its_steps(plan: BenchPlan) -> None:
    assert "minutes and needs" in broken(plan, "W1", 0, end=of(plan, "W1", 0).end - 5)


def test_one_jig_is_at_one_place(plan: BenchPlan) -> None:
    other = of(plan, "W2", 0)
    said = broken(
        plan, "W1", 0, start=other.start, end=other.start + 40, person=1 - other.person, sets_up=True
    )
    assert "jig P no. 1 is at" in said


def test_a_jig_is_set_for_the_sole_at_hand(plan: BenchPlan) -> None:
    late = max((of(plan, "W1", 0), of(plan, "W2", 0)), key=lambda v: v.start)
    assert "is not set for" in broken(plan, late.job, 0, sets_up=False, end=late.end - 10)


def test_the_bench_has_so_many_jigs(plan: BenchPlan) -> None:
    assert "the bench has 1 of P" in broken(plan, "W1", 0, jig=1)


def test_a_visit_forgotten_is_a_fault_of_shape(plan: BenchPlan) -> None:
    visits = tuple(v for v in plan.visits if (v.job, v.visit) != ("W1", 1))
    assert judge_bench_plan(BENCH, JOBS, replace(plan, visits=visits)) == (
        "W1 has the visits [0], its order has [0, 1]",
    )


def test_told_figures_are_counted_again(plan: BenchPlan) -> None:
    wrong = replace(plan, figures=replace(plan.figures, setups=0))
    assert any("counted again" in said for said in judge_bench_plan(BENCH, JOBS, wrong))


def test_a_bound_above_what_was_found_is_a_lie(plan: BenchPlan) -> None:
    wrong = replace(plan, proof=replace(plan.proof, late_weight=1))
    assert any("claims" in said for said in judge_bench_plan(BENCH, JOBS, wrong))


def test_a_cure_over_the_autumn_clock_change_is_an_hour_shorter_on_the_wall() -> None:
    """Vienna, 2026-10-25 03:00 becomes 02:00: 23 real hours from 09:00 end at 07:00, not 08:00."""
    mounted = utc_minute(datetime.fromisoformat("2026-10-24T09:00+02:00"))
    assert wall(mounted + GLUE, "Europe/Vienna").isoformat() == "2026-10-25T07:00:00+01:00"


def test_open_days_keep_the_wall_clock_over_the_change() -> None:
    days = bench_of(1).days
    starts = [datetime.fromtimestamp(day.start * 60, UTC).hour for day in days]
    assert starts == [6, 7]  # 08:00 in Vienna, summer and winter time
    assert [day.minutes() for day in days] == [960, 960]


def test_closing_days_and_the_pause_are_kept() -> None:
    days = open_days(
        first=date(2026, 11, 2),
        last=date(2026, 11, 8),
        zone="Europe/Vienna",
        hours=[8.0],
        pause=(time(12), time(12, 30)),
        closed=(date(2026, 11, 4),),
    )
    assert [day.day.day for day in days] == [2, 3, 5, 6, 7]
    assert {day.minutes() for day in days} == {480}
    assert wall(days[0].end, "Europe/Vienna").time() == time(16, 30)


def test_weeks_without_an_open_day_are_refused() -> None:
    with pytest.raises(BadInput, match="not open"):
        open_days(first=date(2026, 11, 8), last=date(2026, 11, 8), zone="UTC", hours=[8.0])


def test_an_order_that_cannot_cure_in_time_is_late_and_proved_so() -> None:
    plan = plan_bench(BENCH, (order("W1", due=SATURDAY),))
    assert plan.late == ("W1",)
    assert plan.status == "proved best"


def test_what_does_not_fit_into_the_weeks_is_left_over_untouched() -> None:
    plan = plan_bench(bench_of(0), (order("W1"),))
    assert plan.left_over == ("W1",)
    assert plan.visits == ()
