"""Issuing a plan: judged again, numbered, and old sheets called in."""

from __future__ import annotations

import dataclasses

import pytest

from fleet.base.errors import MountbookError, PlanFault
from fleet.rules.holds import hold
from planner.bench.orders.book import find_order, next_revision, read_orders
from planner.plan.values import Rung
from tests.counter.shop import NELL
from tests.orders.bench_shop import BenchShop


def test_an_order_carries_its_number_revision_and_the_whole_set(shop: BenchShop) -> None:
    plan = shop.plan()
    [order] = shop.issue(plan).orders
    assert (order.name, order.tag, order.boot, order.state) == ("WO-2612-0001 A", "K-1", "B-317", "open")
    assert order.way == Rung.PART_REUSED.value
    assert order.planned == plan.sets[0]


def test_a_plan_for_a_pair_that_is_held_meanwhile_is_refused_and_nothing_is_issued(shop: BenchShop) -> None:
    plan = shop.plan()
    with shop.desk(NELL) as desk:
        hold(desk, "K-1", why="edge torn")
    before = shop.dump()
    with pytest.raises(PlanFault, match=r"no longer holds for today's ledger: .*K-1"):
        shop.issue(plan)
    assert shop.dump() == before


def test_a_plan_whose_hole_was_moved_by_hand_is_refused(shop: BenchShop) -> None:
    """A plan.json edited after the judge saw it: one hole 3 mm nearer to an old one."""
    plan = shop.plan()
    [planned] = plan.sets
    from fleet.facts.holes import Side

    ski = planned.way.skis[Side.A]
    holes = tuple(
        dataclasses.replace(hole, x_um=hole.x_um - 3000) if hole.do == "drill" and hole.number == 1 else hole
        for hole in ski.holes
    )
    skis = dict(planned.way.skis) | {Side.A: dataclasses.replace(ski, holes=holes)}
    forged = dataclasses.replace(planned, way=dataclasses.replace(planned.way, skis=skis))
    with pytest.raises(PlanFault, match="K-1"):
        shop.issue(dataclasses.replace(plan, sets=(forged,)))


def test_a_plan_still_issues_after_entries_that_do_not_touch_it(shop: BenchShop) -> None:
    plan = shop.plan()
    shop.enter("staff listed", {"name": "New Hand", "role": "technician", "valid_until": "2027-05-31"})
    assert len(shop.issue(plan).orders) == 1


def test_an_order_that_would_be_issued_again_word_for_word_stands(
    shop: BenchShop,
) -> None:
    shop.issue()
    before = shop.dump()
    again = shop.issue()
    assert [order.name for order in again.orders] == ["WO-2612-0001 A"]
    assert again.stand == again.orders
    assert again.collect == ()
    assert shop.dump() == before, "nothing was entered"


def test_an_order_does_not_stand_once_a_policy_on_its_sheet_has_changed(shop: BenchShop) -> None:
    shop.issue()
    shop.enter(
        "policy set",
        {
            "name": "cure_wood_glue_hours",
            "value": "24",
            "unit": "hours",
            "origin": "the glue's new data sheet",
            "since": "2026-12-27",
        },
    )
    again = shop.issue()
    assert [order.name for order in again.orders] == ["WO-2612-0001 B"]
    assert again.stand == ()


def test_issuing_again_gives_the_next_revision_and_lists_the_sheet_to_collect(shop: BenchShop) -> None:
    shop.issue()
    again = shop.issue_for("2026-12-31")
    assert [order.name for order in again.orders] == ["WO-2612-0001 B"]
    assert [order.name for order in again.collect] == ["WO-2612-0001 A"]
    states = {order.name: order.state for order in read_orders(shop.ledger.connection, everything=True)}
    assert states == {"WO-2612-0001 A": "cancelled", "WO-2612-0001 B": "open"}


def test_a_pair_that_the_new_plan_leaves_out_loses_its_order(shop: BenchShop) -> None:
    shop.issue()
    shop.enter("wish withdrawn", {"wish": "W-1"})
    again = shop.issue()
    assert again.orders == ()
    assert [order.name for order in again.collect] == ["WO-2612-0001 A"]


@pytest.mark.parametrize(
    ("letter", "after"), [("A", "B"), ("Y", "Z"), ("Z", "AA"), ("AZ", "BA"), ("AB", "AC")]
)
def test_revisions_are_letters(letter: str, after: str) -> None:
    assert next_revision(letter) == after


@pytest.mark.parametrize("typed", ["WO-2612-0001", "wo-2612-0001 a", "WO-2612-0001A", "WO-2612-0001 rev A"])
def test_an_order_is_found_as_it_is_read_from_the_sheet(shop: BenchShop, typed: str) -> None:
    shop.issue()
    assert find_order(shop.ledger.connection, typed).name == "WO-2612-0001 A"


def test_the_bare_number_is_not_enough_once_there_are_two_revisions(shop: BenchShop) -> None:
    shop.issue()
    shop.issue_for("2026-12-31")
    with pytest.raises(MountbookError, match="has revisions A, B: which sheet is it"):
        find_order(shop.ledger.connection, "WO-2612-0001")
    with pytest.raises(MountbookError, match="WO-2612-0001 A is not the newest revision; WO-2612-0001 B is"):
        find_order(shop.ledger.connection, "WO-2612-0001 A")
