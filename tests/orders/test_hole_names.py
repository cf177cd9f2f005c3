"""One name for one hole: on every sheet, typed alike, the same on both skis, and never given twice."""

from __future__ import annotations

import re

import pymupdf
import pytest

from fleet.base.errors import MountbookError
from fleet.facts.holes import Side, hole_label
from fleet.ledger.people import set_policy
from fleet.rules.holds import clear
from planner.bench.orders.bench_record import Drilled
from planner.bench.orders.book import find_order, hole_names
from planner.bench.orders.close import done, stop
from planner.bench.orders.typed import parse_screw
from planner.paper.case_paper import hole_map_pdf
from planner.paper.work_order import work_order_pdf
from planner.paper.work_order_facts import work_order_sheet
from planner.plan.values import Rung
from tests.counter.shop import IDA, JORY, WIM
from tests.orders.bench_shop import BenchShop
from tests.paper.sample_sheets import LEDGERS, sample, sheets

ORDER = "WO-2612-0001"


@pytest.mark.parametrize("ledger", LEDGERS)
def test_a_sheet_names_no_two_holes_of_a_ski_alike_and_a_new_one_as_none_was_named_yet(
    ledger: str,
) -> None:
    fleet, _ = sample(ledger)
    looked = 0
    for sheet in sheets(ledger):
        pair = fleet.pairs[sheet.pair.tag]
        ever = {hole_label(h.hole_id) for ski in pair.skis.values() for h in ski.holes}
        for ski in sheet.skis:
            names = [each.label for each in (*ski.screws, *ski.old_holes)]
            assert len(set(names)) == len(names), (sheet.pair.tag, names)
            new = {screw.label for screw in ski.drilled}
            assert not new & ever
            looked += len(new)
    assert looked > 100


@pytest.mark.parametrize("ledger", LEDGERS)
def test_what_is_drilled_alike_has_one_number_on_both_skis(ledger: str) -> None:
    fleet, plan = sample(ledger)
    for planned in plan.sets:
        if planned.way.rung is Rung.AS_IS:
            continue
        names = hole_names(fleet.pairs[planned.pair], planned.way)
        drilled = {
            (side, hole.piece, hole.number)
            for side in Side
            for hole in planned.way.skis[side].holes
            if hole.do == "drill"
        }
        for side, piece, number in drilled:
            twin = (Side.B if side is Side.A else Side.A, piece, number)
            if twin in drilled:
                assert hole_label(names[side, piece, number]) == hole_label(names[twin])


def test_the_name_printed_before_the_drill_is_the_name_in_the_ledger_after_it(shop: BenchShop) -> None:
    """Read off the paper: the plan's hole at each place carries the number that the ledger gives it."""
    [order] = shop.issue().orders
    planned = order.planned
    sheet = work_order_sheet(
        shop.fleet(), planned, number=ORDER, revision="A", proposal=False, plan_hash="",
        printed_at=shop.now, holes=order.holes,
    )  # fmt: skip
    printed = {(s.x_um, s.y_um): s.label for ski in sheet.skis for s in ski.screws}
    text = " ".join(page.get_text() for page in pymupdf.open(stream=work_order_pdf([sheet])))
    turn = re.search(r"In turn, diagonally: ([\d ,]+);", text)
    assert turn
    assert sorted(re.findall(r"\d+", turn[1])) == sorted(set(printed.values()))
    shop.first_visit()
    with shop.desk(JORY) as desk:
        done(desk, ORDER, measured={}, glue="none")
    pair = shop.fleet().pairs["K-1"]
    after = {(h.x_um, h.y_um): hole_label(h.hole_id) for h in pair.skis[Side.A].holes}
    assert {place: after[place] for place in printed} == printed
    page = pymupdf.open(stream=hole_map_pdf(shop.fleet(), ["K-1"], printed_at=shop.now))[0].get_text().split()
    assert all(page.count(label) >= 2 for label in printed.values()), "once on each ski's map"


def test_a_hole_is_typed_as_it_is_printed(shop: BenchShop) -> None:
    [order] = shop.issue().orders
    for screw, label in order.labels.items():
        for text in (f"{screw[0]}{label}", f"{screw[0]} {label}", f" {screw[0].lower()}{label} "):
            assert parse_screw(text, order.labels) == screw
    with pytest.raises(MountbookError, match="no hole 77 on ski A"):
        parse_screw("A77", order.labels)


def test_after_a_stop_the_next_order_names_no_new_hole_like_one_that_was_drilled(shop: BenchShop) -> None:
    [order] = shop.issue().orders
    first = next(screw for screw, name in (order.holes or {}).items() if hole_label(name) == "10")
    with shop.desk(JORY) as desk:
        drilled = {Side.A: Drilled.HOLES, Side.B: Drilled.NOTHING}
        closed = stop(desk, ORDER, why="drill broke", drilled=drilled, made=[first])
    assert closed.drilled == ("K-1/A10",)
    with shop.desk(IDA) as desk:
        clear(desk, "K-1", why="the hole is clean, it can be worked on")
    with shop.desk(WIM) as desk:
        set_policy(desk, "mounts_max", "3", origin="invented decision")
    [again] = shop.issue().orders
    new = [
        hole_label(name)
        for (side, piece, number), name in (again.holes or {}).items()
        for hole in again.planned.way.skis[side].holes
        if (hole.piece, hole.number, hole.do) == (piece, number, "drill")
    ]
    assert new
    assert min(map(int, new)) > 10, "neither on ski A, where hole 10 is, nor on ski B, where it is not"


def test_an_order_of_before_is_typed_by_the_turns_that_its_sheet_shows(shop: BenchShop) -> None:
    """A body without names: ``A 3`` is the third screw to be tightened, as that sheet was printed."""
    shop.issue()
    order = find_order(shop.ledger.connection, ORDER)
    order.body.pop("holes")
    assert order.holes is None
    assert sorted(set(order.labels.values()), key=int) == [str(n) for n in range(1, 9)]
