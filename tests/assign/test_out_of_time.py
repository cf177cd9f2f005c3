"""Out of time: the best plan found is judged and written like any other, and says how far it may be off.

Clocks are turned by hand: each look at the clock is a tick, so that a plan is cut short wherever it looks.
"""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fleet.base.errors import PlanFault
from fleet.tables.snapshot import Fleet
from planner.plan.plan_file import plan_from_json, plan_text
from planner.plan.plan_words import left_open, result_of
from planner.plan.values import Plan
from planner.planning.assign import lexicographic, plan as plan_module
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.lexicographic import solve
from planner.planning.assign.linear_program import NEVER, OVER, Deadline, LinearProgram
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.plan import judged_plan, plan_fleet
from planner.planning.assign.problem import build_problem
from planner.planning.assign.reasons import measure_first
from planner.planning.judge import judge_plan
from planner.planning.judge.bound import BoundRow, proved_bounds
from planner.planning.judge.certificate import BadCertificate, level_values
from tests.assign import brute_force
from tests.assign.shop import real_shop
from tests.assign.test_outside import short_of_minutes
from tests.assign.test_small_cases import levels_of, random_case
from tests.bench.assign_fleets import fleet_problem
from tests.few import first
from tests.judge.choices import Choice, choices, claim


def after_looks(count: int, tick: float = 1.0) -> Deadline:
    """Over once the clock was looked at ``count`` times; ``tick`` seconds pass between two looks."""
    ticks = itertools.count()
    return Deadline((count + 0.5) * tick, clock=lambda: next(ticks) * tick)


def planned(shop: Fleet, deadline: Deadline, minutes: int | None = 200) -> Plan:
    """Judged: a plan that the judge refuses raises."""
    return plan_fleet(shop, made_at="", ready_by=None, minutes_limit=minutes, deadline=deadline)


def gap_is_honest(plan: Plan, best: list[int], values: list[int]) -> None:
    """Up to the first level that is worse than the best, no bound lies above what the best plan reaches."""
    assert plan.certificate is not None
    levels = min(len(values), len(best))  # a plan cut short may leave the room uncounted
    values, best = values[:levels], best[:levels]
    assert values >= best
    for level, value, reached in zip(plan.certificate.levels, values, best, strict=False):
        assert level.value == value
        assert level.bound is None or level.bound <= reached
        if plan.status == "proved best":
            assert level.bound == value == reached
        if value != reached:
            assert plan.gap_percent > 0
            return


@pytest.mark.parametrize("tick", [1.0, 1e-9], ids=["solvers have time", "solvers are cut too"])
@pytest.mark.parametrize("seed", first(1, range(2)))
def test_a_plan_cut_short_at_any_look_at_the_clock_is_judged_and_says_how_far_it_may_be_off(
    seed: int, tick: float
) -> None:
    shop = real_shop(seed)
    whole = planned(shop, NEVER)
    best = list(level_values(shop, whole))
    for looks in (0, 2, 8, 10, 12, 15, 25):
        plan = planned(shop, after_looks(looks, tick))
        gap_is_honest(plan, best, list(level_values(shop, plan)))
        assert plan_from_json(json.loads(plan_text(plan))) == plan
        assert (plan.status == "proved best") is not bool(list(left_open(plan)))


@pytest.mark.parametrize("seed", first(8, range(20)))
def test_small_cases_cut_short_are_no_better_than_the_best_and_bounded_by_it(seed: int) -> None:
    shop, ways, minutes = random_case(seed, most=5)
    value, _ = brute_force.best(shop, ways, minutes)
    for looks, tick in itertools.product((0, 2, 4, 7, 9, 11, 14), (1.0, 1e-9)):
        plan = plan_fleet(
            shop,
            made_at="",
            ready_by=None,
            minutes_limit=minutes,
            ways=ways,
            judged=False,
            deadline=after_looks(looks, tick),
        )
        served = plan.totals.served
        best_lost = -sum(value[:-4]) * shop.policy.um("clearance_counted_max_mm") + value[-1]
        gap_is_honest(plan, [*value[:-1], best_lost], list(level_values(shop, plan)))
        assert levels_of(plan) >= value
        assert served == len(plan.sets)


@pytest.mark.parametrize("minutes", [None, 0, 200])
def test_no_time_at_all_still_gives_a_plan_with_reasons(minutes: int | None) -> None:
    plan = planned(real_shop(2), Deadline(0.0), minutes)
    assert plan.status == "best found"
    assert minutes == 0 or plan.sets
    assert all(u.reason and u.remedy for u in plan.unserved)
    assert all(u.reason for u in plan.unplanned_pairs)


def test_what_to_measure_first_is_not_looked_for_beyond_the_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """One pair is not seen: the plan as if it were is made in one pass, and no program is solved."""
    shop = real_shop(2)
    tag = next(s.pair for s in planned(shop, NEVER, None).sets if s.way.drilled)
    pair = shop.pairs[tag]
    unseen = replace(pair, skis={side: replace(ski, inspected=()) for side, ski in pair.skis.items()})
    shop = replace(shop, pairs={**shop.pairs, tag: unseen})
    problem = build_problem(shop, ways=SweptWays(), minutes_limit=None)
    solution = solve(problem, lambda _: None)
    monkeypatch.setattr(lexicographic, "face_of", lambda *_: pytest.fail("a linear program was made"))
    monkeypatch.setattr(lexicographic, "by_flow", lambda *_: None)
    assert isinstance(measure_first(shop, problem, solution, SweptWays(), OVER), dict)


@pytest.mark.parametrize("minutes", [None, 200])
def test_time_enough_gives_the_very_plan_of_no_limit(minutes: int | None) -> None:
    shop = real_shop(1)
    assert plan_text(planned(shop, Deadline(3600.0), minutes)) == plan_text(planned(shop, NEVER, minutes))


@pytest.mark.parametrize("seconds", [0.0, 0.05, 0.3])
def test_a_fleet_short_of_bindings_in_real_seconds_keeps_its_limits(seconds: float) -> None:
    """Where the clock falls is the machine's matter; no pair and no boot is used twice in what comes out."""
    problem = fleet_problem(200, seed=201, bindings_share=0.3)
    found = solve(problem, lambda _: None, Deadline(seconds))
    assert found.sets
    assert len({s.pair for s in found.sets}) == len({s.boot for s in found.sets}) == len(found.sets)
    assert found.certificate is not None
    assert [level.value for level in found.certificate.levels] == [value for _, value in found.levels]


@pytest.mark.long
@pytest.mark.parametrize("looks", range(0, 120, 7))
def test_a_fleet_of_300_cut_short_is_never_better_than_what_is_proved(looks: int) -> None:
    problem = short_of_minutes(300)
    best = solve(problem, lambda _: None)
    found = solve(problem, lambda _: None, after_looks(looks))
    assert [v for _, v in found.levels] >= [v for _, v in best.levels]


def cut() -> tuple[Fleet, Plan]:
    shop = real_shop(0)
    plan = planned(shop, Deadline(0.0))
    assert plan.certificate is not None
    assert any(level.bound not in (None, level.value) for level in plan.certificate.levels)
    return shop, plan


def test_a_plan_that_says_a_better_gap_than_it_proves_is_refused() -> None:
    shop, plan = cut()
    assert plan.certificate is not None
    levels = plan.certificate.levels
    at = next(i for i, level in enumerate(levels) if level.bound not in (None, level.value))
    claims = {
        "a smaller gap": replace(plan, gap_percent=plan.gap_percent / 2),
        "best": replace(plan, status="proved best", gap_percent=0.0),
        "a bound that nothing proves": replace(
            plan,
            certificate=replace(
                plan.certificate,
                levels=(*levels[:at], replace(levels[at], bound=levels[at].value), *levels[at + 1 :]),
            ),
        ),
        "a bound above the plan": replace(
            plan,
            certificate=replace(
                plan.certificate, levels=(replace(levels[0], bound=levels[0].value + 1), *levels[1:])
            ),
        ),
    }
    assert judge_plan(shop, plan) == ()
    for name, said in claims.items():
        assert {o.rule for o in judge_plan(shop, said)} == {"certificate"}, name


def test_what_is_left_open_is_told_level_by_level() -> None:
    _, plan = cut()
    assert plan.certificate is not None
    lines = list(left_open(plan))
    assert len(lines) == sum(level.bound != level.value for level in plan.certificate.levels)
    assert all("not proved" in line for line in lines)
    assert all(("no more than" in line) == line.startswith(("priority", "room")) for line in lines)
    assert result_of(plan) == f"best found, at most {plan.gap_percent:g} % from the best"


def test_after_a_level_that_is_not_proved_the_next_is_bounded_among_plans_no_worse_at_it() -> None:
    """min x + y, then min x, with x + y >= 2, both at most 3. The plan (2, 1) has 3 where 2 is proved.

    Among plans with x + y <= 3 nothing is proved of x but 0; from y <= 3 - x no multiplier gets more. A
    multiplier that uses the plan's 3 as if nothing less were possible proves nothing.
    """
    rows = [BoundRow(2, 99)]
    columns = choices(Choice((1, 1), 3, ((0, 1),)), Choice((1, 0), 3, ((0, 1),)))
    first = claim(3, (1,))
    fair = claim(2, (0,), (0,))
    unfair = claim(2, (0,), (1,))
    assert proved_bounds(rows, columns, [first, fair]) == [2, 0]
    assert proved_bounds([BoundRow(2, 99)], columns, [first, unfair]) == [2, None]
    at_most = claim(-2, (0,), (-1,))
    larger = choices(Choice((1, -1), 3, ((0, 1),)), Choice((1, 0), 3, ((0, 1),)))
    assert proved_bounds([BoundRow(2, 99)], larger, [first, at_most]) == [2, -3]


@pytest.mark.parametrize("broken", ["the sets", "the certificate"])
def test_a_solver_whose_checks_do_not_hold_costs_the_proof_and_not_the_plan(
    monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    """Greedy, if need be: it is said to be unproved, and judged like any other."""
    shop = real_shop(2)
    best = planned(shop, NEVER)
    if broken == "the sets":
        checked = lexicographic._checked

        def unlucky(*plan: Any, proved: Any = None, **more: Any) -> Any:
            if proved is not None:
                raise PlanFault("the sets reach less than was proved", cure="report this")
            return checked(*plan, **more)

        monkeypatch.setattr(lexicographic, "_checked", unlucky)
    else:
        monkeypatch.setattr(plan_module, "proved_levels", _no_proof)
    plan = planned(shop, NEVER)
    assert plan.status == "best found"
    assert plan.totals.served <= best.totals.served
    assert plan.sets
    assert judge_plan(shop, plan) == ()
    assert result_of(plan) != "proved best"
    if broken == "the certificate":
        assert result_of(plan) == "best found, nothing is proved of it"


def test_a_plan_whose_proof_alone_the_judge_refuses_is_written_without_the_proof() -> None:
    shop = real_shop(0)
    plan = planned(shop, NEVER)
    assert judged_plan(shop, plan) == plan
    spoilt = replace(plan, gap_percent=7.0)
    written = judged_plan(shop, spoilt)
    assert (written.status, written.gap_percent, written.certificate) == ("best found", 100.0, None)
    with pytest.raises(PlanFault, match="the judge refuses the plan"):
        judged_plan(shop, replace(spoilt, sets=plan.sets[1:]))


def _no_proof(*_: Any) -> Any:
    raise BadCertificate("it knows no such pair")


def test_an_integer_program_after_many_linear_ones_has_no_more_time_than_is_left() -> None:
    """HiGHS counts the time of linear programs from its first run on, that of an integer program from its
    own start: a limit reckoned for the one once let the other run as long again as all had taken before.
    """
    face = OptimalFace(
        LinearProgram(
            size=2,
            column_upper=np.ones(2),
            lower=np.array([-np.inf]),
            upper=np.array([1.0]),
            row=np.zeros(2, dtype=np.int64),
            column=np.arange(2),
            value=np.ones(2, dtype=np.int64),
        ),
        deadline=Deadline(10.0, clock=lambda: 0.0),
    )
    face.minimise(np.array([-1, -2]))
    limits = []

    class RunLong:
        """The face's solver, as if it had run for 50 seconds; only a run shows the limit that stands."""

        def __init__(self, solver: Any) -> None:
            self.solver = solver

        def __getattr__(self, name: str) -> Any:
            return getattr(self.solver, name)

        def getRunTime(self) -> float:  # noqa: N802 - HiGHS names it
            return 50.0

        def setOptionValue(self, name: str, value: Any) -> None:  # noqa: N802 - HiGHS names it
            if name == "time_limit":
                limits.append(value)

    face._solver = RunLong(face._solver)
    face._run()
    face._whole_numbers()
    assert limits == [60.0, 5.0]
