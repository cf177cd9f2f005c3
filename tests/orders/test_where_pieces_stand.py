"""From where a piece stands is said only while nobody has set the binding since it was recorded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from fleet.facts.holes import Side
from fleet.facts.patterns import pattern_to_body
from fleet.rules.holds import begin_repair, end_repair, hold
from planner.bench.orders.close import done
from planner.paper.work_order_facts import work_order_sheet
from planner.plan.values import PlannedSet, Rung
from tests.counter.shop import JORY, NELL, SANNE, lark
from tests.orders.bench_shop import BenchShop


def adjusted_to(shop: BenchShop, bsl_mm: int) -> PlannedSet:
    """The shop's pair planned for a boot of that sole: its heel is set, no screw is touched."""
    before = shop.fleet().boots["B-317"].bsl_um
    if before != bsl_mm * 1000:
        shop.enter("boot changed", {"tag": "B-317", "changes": {"bsl_um": [before, bsl_mm * 1000]}})
    [planned] = shop.plan().sets
    assert planned.way.rung is Rung.ADJUST
    return planned


def heel_is_told(shop: BenchShop, planned: PlannedSet) -> str:
    """The words of the order's heel, and that plan and words agree."""
    sheet = work_order_sheet(
        shop.fleet(), planned, number=None, revision=None, proposal=True, plan_hash="", printed_at=shop.now
    )
    [heel] = [step.lead for step in sheet.steps if step.lead.startswith("heel: ")]
    known = {at.stands_um for side in Side for at in planned.way.skis[side].pieces if at.piece == "heel"}
    assert ("where it stands" in heel) == (known != {None})
    return heel


@pytest.fixture
def set_once(shop: BenchShop) -> BenchShop:
    """Set by a work order for 310, looked at by another person, ready: the ledger says where the heel is."""
    adjusted_to(shop, 310)
    shop.issue()
    with shop.desk(JORY) as desk:
        done(desk, "WO-2612-0001", measured={})
    shop.look("K-1", by=SANNE)
    return shop


def test_an_imported_mount_does_not_say_where_its_pieces_stand(shop: BenchShop) -> None:
    assert heel_is_told(shop, adjusted_to(shop, 310)).startswith("heel: must stand ")


def test_a_piece_is_told_from_where_the_last_order_set_it(set_once: BenchShop) -> None:
    """From 310 to 300: the toe piece has no travel, so the heel comes 10 mm forward."""
    assert (
        heel_is_told(set_once, adjusted_to(set_once, 300)) == "heel: 10.0 mm toward TIP from where it stands"
    )


def another_sole(shop: BenchShop) -> None:
    shop.boot("B-305", 305, "alpine A")
    shop.out("K-1", boot="B-305", set_now=True, by=SANNE)
    shop.back("K-1")


def another_sole_and_back_again(shop: BenchShop) -> None:
    """In the end the binding stands at the sole of the order again."""
    another_sole(shop)
    shop.look("K-1", by=SANNE)
    shop.boot("B-310", 310, "alpine A")
    shop.out("K-1", boot="B-310", set_now=True, by=SANNE)
    shop.back("K-1")
    shop.enter("boot changed", {"tag": "B-310", "changes": {"bsl_um": [310_000, 345_000]}})  # out of the way


def no_boot_named(shop: BenchShop) -> None:
    shop.policy("out_without_boot", "yes")
    shop.out("K-1", by=NELL)
    shop.back("K-1")


def a_repair(shop: BenchShop) -> None:
    with shop.desk(JORY) as desk:
        hold(desk, "K-1", why="heel wobbles")
    with shop.desk(JORY) as desk:
        begin_repair(desk, "K-1")
    with shop.desk(JORY) as desk:
        end_repair(desk, "K-1", did="heel reset")
    shop.look("K-1", by=SANNE)


def test_a_rental_in_its_own_boot_leaves_the_pieces_where_they_are(set_once: BenchShop) -> None:
    set_once.boot("B-310", 310, "alpine A")
    set_once.out("K-1", boot="B-310", by=NELL)
    set_once.back("K-1")
    set_once.enter("boot changed", {"tag": "B-310", "changes": {"bsl_um": [310_000, 345_000]}})
    assert heel_is_told(set_once, adjusted_to(set_once, 300)).endswith(
        "10.0 mm toward TIP from where it stands"
    )


def test_a_heel_that_travels_alone_is_back_where_it_was_with_the_first_sole(set_once: BenchShop) -> None:
    """The toe piece cannot be elsewhere, so one sole holds the heel at one place."""
    another_sole_and_back_again(set_once)
    told = heel_is_told(set_once, adjusted_to(set_once, 300))
    assert told.endswith("mm toward TIP from where it stands")


def test_of_two_pieces_that_travel_nobody_knows_which_was_slid(shop: BenchShop) -> None:
    """One sole, two places: both pieces may stand some millimetres further to the tip than they did."""
    toe, heel = lark().pieces
    both = replace(lark(), pieces=(replace(toe, travel_back_um=10_000, travel_forward_um=10_000), heel))
    shop.enter("pattern recorded", pattern_to_body(both))
    adjusted_to(shop, 310)
    shop.issue()
    with shop.desk(JORY) as desk:
        done(desk, "WO-2612-0001", measured={})
    shop.look("K-1", by=SANNE)
    assert heel_is_told(shop, adjusted_to(shop, 300)).endswith("from where it stands")
    shop.enter("boot changed", {"tag": "B-317", "changes": {"bsl_um": [300_000, 317_000]}})
    another_sole_and_back_again(shop)
    assert heel_is_told(shop, adjusted_to(shop, 300)).startswith("heel: must stand ")


def test_where_the_counter_set_it_for_another_sole_the_one_piece_that_travels_is_known(
    set_once: BenchShop,
) -> None:
    """The toe does not travel, so the sole says where the heel stands; no work order knows of it."""
    another_sole(set_once)
    shop = set_once
    assert [(s.boot, s.way.rung) for s in shop.plan().sets] == [("B-305", Rung.AS_IS)]
    shop.enter("boot changed", {"tag": "B-305", "changes": {"bsl_um": [305_000, 345_000]}})  # out of the way
    told = heel_is_told(set_once, adjusted_to(set_once, 300))
    assert told.endswith("mm toward TIP from where it stands")


@pytest.mark.parametrize("hands", [no_boot_named, a_repair])
def test_where_a_piece_stands_is_not_known_after_other_hands_were_at_it(
    set_once: BenchShop, hands: Callable[[BenchShop], None]
) -> None:
    hands(set_once)
    assert heel_is_told(set_once, adjusted_to(set_once, 300)).startswith("heel: must stand ")
