"""A full day packed to the minute, and days that are planned again: against the judge and every way."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from random import Random
from time import process_time

import pytest
from every_way import best_figures
from hypothesis import given, settings, strategies as st
from invented_weeks import bench_and_jobs
from test_brute_force import small

from planner.bench.weeks import day_fill, weeks
from planner.bench.weeks.calendar import open_days
from planner.bench.weeks.day_fill import fill_days
from planner.bench.weeks.day_model import DayPlan, _DayModel, days_to_work_by, plan_days
from planner.bench.weeks.day_pack import Ready, pack_day
from planner.bench.weeks.day_teams import pack_teams
from planner.bench.weeks.figures import due_index, measure
from planner.bench.weeks.judge import judge_bench_plan
from planner.bench.weeks.late_model import least_late_and_left
from planner.bench.weeks.values import Bench, BenchPlan, JigUse, Job, Person, Proof, TimedVisit, Visit
from planner.bench.weeks.weeks import _kept_days

DAY = date(2026, 11, 2)


def bench_of(people: int, **more: object) -> Bench:
    return Bench(
        people=tuple(Person(name=f"technician {n}") for n in range(people)),
        days=open_days(first=DAY, last=DAY, zone="Europe/Vienna", hours=[2.0] * people),
        zone="Europe/Vienna",
        setup_minutes=10,
        **more,  # type: ignore[arg-type]
    )


def objections(bench: Bench, jobs: list[Job], visits: tuple[TimedVisit, ...]) -> tuple[str, ...]:
    done = {v.job for v in visits}
    jobs = [job for job in jobs if job.number in done]
    figures, late, left = measure(bench, jobs, visits)
    return judge_bench_plan(
        bench,
        jobs,
        BenchPlan(
            visits=visits, late=late, left_over=left, moved=(), figures=figures, proof=Proof(), how="packed"
        ),
    )


def packed(bench: Bench, jobs: list[Job], last: list[int | None] | None = None) -> tuple[TimedVisit, ...]:
    ready = [
        Ready(job.number, 0, job.visits[0], None if last is None else last[n], job.visits[0].minutes)
        for n, job in enumerate(jobs)
    ]
    return pack_day(bench, 0, ready, seconds=2.0)


def job(number: int, minutes: int, setting: str | None = None, kind: str = "P") -> Job:
    jig = JigUse(kind=kind, setting=setting) if setting else None
    return Job(
        number=f"W{number:02}", pair=f"K{number:02}", visits=(Visit(steps=(("work", minutes),), jig=jig),)
    )


def test_a_setting_longer_than_half_of_what_is_left_is_shared_and_set_up_once() -> None:
    """By hand: three settings of 60 minutes, 10 to set up each, and 30 without a jig, are two times 120."""
    jobs = [job(3 * s + n, 20, f"{305 + 10 * s} mm") for s in range(3) for n in range(3)] + [job(9, 30)]
    bench = bench_of(2, jigs={"P": 3})
    visits = packed(bench, jobs)
    assert len(visits) == len(jobs)
    assert sum(v.sets_up for v in visits) == 3
    assert sum(v.end - v.start for v in visits) == 240
    assert objections(bench, jobs, visits) == ()


def test_checks_are_packed_so_that_nobody_gets_their_own() -> None:
    """Of 24 checks of 10 minutes 12 are of what the first did: those are all that the second can do."""
    checks = [replace(job(n, 10), visits=(Visit(steps=(("check", 10),)),)) for n in range(24)]
    bench = bench_of(2)
    ready = [
        Ready(c.number, 1, replace(c.visits[0], other_person=True), n % 2, 10) for n, c in enumerate(checks)
    ]
    visits = pack_day(bench, 0, ready, seconds=2.0)
    assert len(visits) == 24
    did = {each.number: each.last for each in ready}
    assert all(v.person != did[v.job] for v in visits)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_whatever_lies_ready_is_packed_legally(data: st.DataObject) -> None:
    people = data.draw(st.integers(2, 3))
    bench = bench_of(people, jigs={"P": data.draw(st.integers(1, 2)), "Q": 1})
    jobs = [
        job(
            number,
            data.draw(st.sampled_from((8, 10, 22, 34, 46))),
            data.draw(st.sampled_from((None, "305 mm", "315 mm", "325 mm"))),
            data.draw(st.sampled_from(("P", "Q"))),
        )
        for number in range(data.draw(st.integers(1, 14)))
    ]
    visits = packed(bench, jobs)
    assert visits
    assert objections(bench, jobs, visits) == ()


@settings(max_examples=40, deadline=None)
@given(st.integers(100, 10**6))
def test_no_bound_is_above_the_best_of_every_way(seed: int) -> None:
    bench, jobs = small(seed)
    late, _, _ = best_figures(bench, jobs)
    days = plan_days(bench, jobs, seconds=10.0)
    assert days is not None
    assert days.late_bound <= late
    assert least_late_and_left(bench, jobs, seconds=10.0)[0] <= late


def test_a_visit_stands_on_a_day_after_the_cure_of_the_visit_before() -> None:
    bench, jobs = bench_and_jobs(60, seed=4, technicians=2, weeks=2)
    found = days_to_work_by(bench, jobs, seconds=5.0)
    assert found is not None
    assert found.on_time
    for job in jobs:
        days = found.day_of.get(job.number, ())
        for visit, before, after in zip(job.visits, days, days[1:], strict=False):
            opens, closes = bench.days[after].start, bench.days[before].end
            assert opens >= closes + visit.cure_minutes


def test_days_that_are_known_are_never_made_worse() -> None:
    """Also where they hold more than they can: what does not fit, or would begin before its cure, is left."""
    bench, jobs = bench_and_jobs(120, seed=4, technicians=1, weeks=3, fill=1.05)
    found = days_to_work_by(bench, jobs, seconds=5.0)
    assert found is not None
    weight = {job.number: job.weight for job in jobs}
    again = days_to_work_by(bench, jobs, seconds=2.0, known=found.day_of)
    assert again is not None
    assert sum(map(weight.get, again.on_time)) >= sum(map(weight.get, found.on_time))
    crowded = {number: tuple(range(len(days))) for number, days in found.day_of.items()}
    sorted_out = days_to_work_by(bench, jobs, seconds=2.0, known=crowded)
    assert sorted_out is not None
    model = _DayModel(bench, sorted(jobs, key=lambda job: job.number), whole_days=True)
    for job in jobs:
        days = sorted_out.day_of.get(job.number)
        assert days is None or model._holds(job.visits, due_index(bench, job), 0, days)


def test_a_solver_that_was_stopped_by_the_clock_works_again() -> None:
    """Its flag to stop outlived the run, so that every question after it had no time at all."""
    bench, jobs = bench_and_jobs(60, seed=4, technicians=2, weeks=2, fill=1.05)
    model = _DayModel(bench, sorted(jobs, key=lambda job: job.number))
    assert model._ask()
    model._run(0.0)
    assert model._run(20.0)


def days_of(bench: Bench, jobs: list[Job]) -> DayPlan:
    found = days_to_work_by(bench, jobs, seconds=20.0)
    assert found is not None
    return found


def test_a_day_gets_no_more_settings_than_its_jigs_hold_beside_each_other() -> None:
    """By hand: four settings of 10 + 78 minutes are 352 of the three jigs' 360, but no two go on one jig."""
    bench = bench_of(6, jigs={"P": 3})
    jobs = [replace(job(n, 78, f"{305 + 10 * n} mm"), due=DAY) for n in range(4)]
    found = days_of(bench, jobs)
    on_time = [each for each in jobs if each.number in found.on_time]
    assert len(packed(bench, on_time)) == len(on_time) == 3


def test_the_minutes_to_spare_are_shared_among_the_days() -> None:
    """By hand: 20 visits of 10 minutes in two days of 120 leave 40: 20 to each day."""
    bench = replace(
        bench_of(1),
        days=open_days(first=DAY, last=DAY + timedelta(days=1), zone="Europe/Vienna", hours=[2.0]),
    )
    found = days_of(bench, [replace(job(n, 10), due=DAY + timedelta(days=1)) for n in range(20)])
    assert Counter(days[0] for days in found.day_of.values()) == {0: 10, 1: 10}


def test_many_people_are_packed_in_teams_that_share_the_jigs() -> None:
    """By hand: 9 settings of 60 minutes, 10 to set up, and 81 times 10 without a jig, are 12 times 120."""
    on_jig = [job(9 * n + s, 20, f"{285 + 10 * s} mm", f"P{s % 3}") for s in range(9) for n in range(3)]
    jobs = [*on_jig, *(job(100 + n, 10) for n in range(81))]
    bench = bench_of(12, jigs={"P0": 3, "P1": 3, "P2": 3})
    ready = [Ready(each.number, 0, each.visits[0], None, each.visits[0].minutes) for each in jobs]
    visits = pack_teams(bench, 0, ready, seconds=2.0)
    assert len(visits) == len(jobs)
    assert sum(v.sets_up for v in visits) == 9
    assert sum(v.end - v.start for v in visits) == 12 * 120
    assert objections(bench, jobs, visits) == ()


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_whatever_lies_ready_is_packed_legally_in_teams(data: st.DataObject) -> None:
    """Few jigs, and a person who alone may do some of the work."""
    bench = bench_of(data.draw(st.integers(7, 14)), jigs={"P": data.draw(st.integers(1, 3)), "Q": 1})
    jobs = []
    for number in range(data.draw(st.integers(1, 40))):
        each = job(
            number,
            data.draw(st.sampled_from((8, 10, 22, 34, 46))),
            data.draw(st.sampled_from((None, "305 mm", "315 mm", "325 mm"))),
            data.draw(st.sampled_from(("P", "Q"))),
        )
        people = data.draw(st.sampled_from((None, None, frozenset({0}), frozenset({2, 5}))))
        jobs.append(replace(each, visits=(replace(each.visits[0], people=people),)))
    ready = [Ready(each.number, 0, each.visits[0], None, each.visits[0].minutes) for each in jobs]
    visits = pack_teams(bench, 0, ready, seconds=1.0)
    assert visits
    assert objections(bench, jobs, visits) == ()


def a_day_laid_by_hand(draw: Random, people: int) -> list[Job]:
    """Two hours for each person: half of them set a jig and work on it, the rest is work without one; then
    two visits of 10 minutes are taken out again.
    """
    jobs: list[Job] = []
    for person in range(people):
        left = 120
        if person < people // 2:
            minutes, left = draw.choice((26, 34, 38, 46)), left - 10
            for _ in range(draw.randint(1, (left - 20) // minutes)):
                jobs.append(job(len(jobs), minutes, f"{285 + 10 * person} mm", f"P{person % 3}"))
                left -= minutes
        while left:
            fits = [m for m in (10, 14, 16, 22) if left == m or (left - m >= 10 and left - m not in (12, 18))]
            jobs.append(job(len(jobs), draw.choice(fits)))
            left -= jobs[-1].visits[0].minutes
    short = [each for each in jobs if each.visits[0].minutes == 10][:2]
    return [each for each in jobs if each not in short]


@pytest.mark.parametrize("seed", [5, 8, 11])
def test_a_visit_that_no_team_has_room_for_is_packed_with_a_few_people_of_all(seed: int) -> None:
    """Eighteen people in teams of six left one or two visits out, though 20 minutes stand free."""
    jobs = a_day_laid_by_hand(Random(seed), 18)
    bench = bench_of(18, jigs={"P0": 3, "P1": 3, "P2": 3})
    ready = [Ready(each.number, 0, each.visits[0], None, each.visits[0].minutes) for each in jobs]
    visits = pack_teams(bench, 0, ready, seconds=0.5)
    assert len(visits) == len(jobs)
    assert objections(bench, jobs, visits) == ()


def test_work_that_did_not_fit_is_given_up_itself_where_it_weighs_least() -> None:
    """By hand: 100 and 40 minutes do not fit into a day of 120, and 100 of weight 3 fill the next."""
    bench = replace(
        bench_of(1),
        days=open_days(first=DAY, last=DAY + timedelta(days=1), zone="Europe/Vienna", hours=[2.0]),
    )
    due = DAY + timedelta(days=1)
    jobs = [replace(job(n, m), weight=w, due=due) for n, m, w in ((1, 100, 3), (2, 40, 1), (3, 100, 3))]
    visits = fill_days(bench, jobs, {"W01": (0,), "W02": (0,), "W03": (1,)})
    assert measure(bench, jobs, visits)[1] == ("W02",)


def test_a_look_again_that_finds_less_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The solver does not always know again what it is told that it found before."""
    bench, jobs = bench_and_jobs(60, seed=4, technicians=2, weeks=2)
    model = _DayModel(bench, sorted(jobs, key=lambda job: job.number), whole_days=True)
    assert model._ask(room=True)
    known = model._as_known(days_of(bench, jobs).day_of)
    monkeypatch.setattr(model, "_run", lambda *_: [0.0] * len(known))
    assert model._again(known, 300, process_time() + 20.0) == known


def test_work_that_did_not_fit_takes_what_is_not_begun_out_of_the_days(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Days planned as if no jig had to be set up hold too much: passed on, it makes begun orders late."""
    bench, jobs = bench_and_jobs(200, seed=2, technicians=2, weeks=4, fill=1.05, alike=8)
    days = days_to_work_by(replace(bench, setup_minutes=0), jobs, seconds=10.0)
    assert days is not None
    given_up = measure(bench, jobs, fill_days(bench, jobs, days.day_of))[0]
    monkeypatch.setattr(day_fill._Weeks, "_give_up", lambda *_: None)
    passed_on = measure(bench, jobs, fill_days(bench, jobs, days.day_of))[0]
    assert given_up.late_weight < passed_on.late_weight


def test_an_earlier_plans_days_are_filled_within_the_time_and_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without time left each day is filled by one rule; with time the days are still not planned anew."""
    bench, jobs = bench_and_jobs(200, seed=2, technicians=2, weeks=4, fill=1.05, alike=8)
    days = days_to_work_by(replace(bench, setup_minutes=0), jobs, seconds=10.0)
    assert days is not None
    filled: Counter[tuple[object, int]] = Counter()
    count = day_fill._Day._count

    def fill_and_count(day: day_fill._Day) -> None:
        filled[day.weeks, day.index] += 1
        count(day)

    monkeypatch.setattr(day_fill._Day, "_count", fill_and_count)
    monkeypatch.setattr(day_fill, "days_to_work_by", lambda *_, **__: pytest.fail("planned anew"))
    earlier = fill_days(bench, jobs, days.day_of)
    assert max(filled.values()) > 1
    filled.clear()
    assert _kept_days(bench, jobs, earlier, until=process_time()) is not None
    assert max(filled.values()) == 1
    assert _kept_days(bench, jobs, earlier, until=process_time() + 100.0) is not None


def test_a_day_that_other_work_fills_is_packed_for_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """No minute is idle, yet nothing planned for the day was done: that is no reason to leave it so."""
    days = open_days(first=DAY, last=DAY + timedelta(days=1), zone="Europe/Vienna", hours=[2.0])
    bench = replace(bench_of(1), days=days)
    check = Visit(steps=(("check", 30),))
    jobs = [
        Job(number=f"WO-{n}", pair=f"K-{n}", visits=(check,), due=days[1].day, weight=1) for n in range(4)
    ]

    def run(day: day_fill._Day) -> None:
        day.idle = 0
        day._count()

    monkeypatch.setattr(day_fill._Day, "run", run)
    visits = fill_days(bench, jobs, {job.number: (0,) for job in jobs})
    assert len([v for v in visits if v.start < days[1].start]) == 4


def test_no_packing_begins_that_would_end_after_the_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: days of 2 s, packings of 3 s each, and 13 s: three, since a fourth packing would end at 14."""
    bench, jobs = bench_and_jobs(20, seed=1, technicians=1, weeks=1, fill=1.5)
    now, turns = [0.0], []
    monkeypatch.setattr(weeks, "process_time", lambda: now[0])

    def days(*_: object, **__: object) -> DayPlan:
        now[0] += 2.0
        return DayPlan(on_time=frozenset(), late_bound=0, day_of={})

    def fill(*_: object, turn: int, **__: object) -> tuple[TimedVisit, ...]:
        turns.append(turn)
        now[0] += 3.0
        return ()

    monkeypatch.setattr(weeks, "days_to_work_by", days)
    monkeypatch.setattr(weeks, "plan_days", lambda *_, **__: None)
    monkeypatch.setattr(weeks, "fill_days", fill)
    nothing = measure(bench, jobs, ())[0], (), "nothing"
    weeks._by_days(bench, jobs, nothing, Proof(late_weight=0), 13.0, 13.0, (), None)
    assert turns == [0, 1, 2]
