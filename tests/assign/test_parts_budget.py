"""A budget for parts on real geometry: kept, priced by the shop, argued about, written and read back."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import pytest

from fleet.base.errors import BadInput
from fleet.facts.holes import Side
from fleet.tables.snapshot import Fleet
from planner.plan.part_prices import budget_cents
from planner.plan.plan_file import plan_from_json, plan_text
from planner.plan.values import Plan, Rung
from planner.planning.assign.plan import plan_fleet
from planner.planning.explain.case import build_case
from planner.planning.explain.remedies import RemedyKind, remedies
from planner.planning.judge import judge_plan
from tests.assign.shop import real_shop

PRICES = {"price_new_hole": "0.45", "price_reused_hole": "0.20", "price_plug": "0.35"}


@cache
def shop() -> Fleet:
    plain = real_shop(0)
    return replace(plain, policy=plain.policy.with_values(**PRICES))


@cache
def planned(cents: int | None) -> Plan:
    return plan_fleet(shop(), made_at="", ready_by=None, minutes_limit=None, parts_limit_cents=cents)


def by_hand(plan: Plan) -> int:
    """Counted from the sheets: 45 a new hole, 20 a screw into an old one, 35 a plug."""
    total = 0
    for each in plan.sets:
        if each.way.rung in (Rung.AS_IS, Rung.ADJUST):
            continue
        for side in Side:
            ski = each.way.skis[side]
            total += sum(45 if hole.do == "drill" else 20 for hole in ski.holes) + 35 * len(ski.plug)
    return total


def test_the_parts_of_a_plan_are_priced_from_its_sheets() -> None:
    plan = planned(None)
    assert plan.totals.parts_cents == by_hand(plan) > 0


def test_half_the_money_serves_fewer_sets_and_is_not_passed() -> None:
    free = planned(None)
    money = (free.totals.parts_cents or 0) // 2
    tight = planned(money)
    assert by_hand(tight) <= money
    assert 0 < tight.totals.served < free.totals.served
    assert any("parts budget" in u.reason for u in tight.unserved)


def test_money_that_a_remedy_asks_for_serves_so_many_more_in_a_fresh_plan() -> None:
    money = (planned(None).totals.parts_cents or 0) // 2
    tight, asked = planned(money), 0
    case = build_case(shop(), tight)
    for short in tight.unserved:
        for remedy in remedies(case, short.wish):
            if remedy.thing is RemedyKind.MONEY:
                asked += 1
                assert planned(money + remedy.count).totals.served - tight.totals.served == remedy.in_all
                assert planned(money + remedy.count - 1).totals.served < tight.totals.served + remedy.in_all
    assert asked


def test_no_money_at_all_plans_what_needs_no_part() -> None:
    plan = planned(0)
    assert {s.way.rung for s in plan.sets} <= {Rung.AS_IS, Rung.ADJUST}
    assert plan.unserved


def test_a_plan_with_a_budget_reads_back_as_it_was_written() -> None:
    plan = planned(1_250)
    data = json.loads(plan_text(plan))
    assert data["parts_budget"] == 12.5
    assert plan_from_json(data) == plan


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("abc", "no amount of money"),
        ("-1", "no amount of money from 0 up"),
        ("0.555", "finer than a hundredth"),
    ],
)
def test_nonsense_is_no_budget(typed: str, sentence: str) -> None:
    with pytest.raises(BadInput, match=sentence):
        budget_cents(typed, shop().policy)


def test_without_prices_there_is_no_budget_and_none_is_guessed() -> None:
    with pytest.raises(BadInput, match="the policy price_new_hole is not set"):
        budget_cents("100", real_shop(0).policy)
    assert budget_cents(None, real_shop(0).policy) is None


@pytest.mark.parametrize("share", [0.3, 0.5, 0.7])
def test_a_plan_within_a_budget_is_proved_best_whatever_step_the_prices_share(share: float) -> None:
    free = planned(None).totals.parts_cents or 0
    tight = planned(int(free * share))
    assert tight.totals.served < planned(None).totals.served
    assert (tight.status, tight.gap_percent) == ("proved best", 0.0)


@pytest.mark.parametrize("cents", [320, 321, 329, 479, 480, 1_129, 1_279, 1_280])
def test_money_that_no_set_can_use_does_not_stand_in_the_way_of_the_proof(cents: int) -> None:
    """The parts of every way of this shop cost a multiple of 160 hundredths: 479 buy what 320 do."""
    tight = planned(cents)
    assert tight.certificate is not None
    assert tight.certificate.parts_step == 160
    assert (tight.status, tight.gap_percent) == ("proved best", 0.0)
    assert tight.totals == planned(cents - cents % 160).totals


@pytest.mark.parametrize("step", [0, 320, 480])
def test_a_step_that_the_parts_do_not_have_is_refused(step: int) -> None:
    """A larger step would lower the limit, and prove more than is true: 1280 to 960 with a step of 480."""
    tight = planned(1_280)
    assert tight.certificate is not None
    lie = replace(tight, certificate=replace(tight.certificate, parts_step=step))
    objections = judge_plan(shop(), lie)
    assert [o.rule for o in objections] == ["certificate"]
    told = (
        "a way's parts are no multiple of the step of the budget"
        if step
        else "the step of its budget is none"
    )
    assert objections[0].message == f"the certificate does not hold: {told}"
