"""Parts and tools of orders against stock: counts by hand, shortage, first hit, reserve."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from fleet.base.errors import BadInput
from fleet.facts.holes import Side
from fleet.facts.pairs import Binding
from planner.bench.parts import (
    Need,
    Part,
    ScrewNames,
    Sort,
    against_stock,
    bindings_in_stock,
    needs,
    read_screws,
    read_stock,
    shopping_list,
    stock_name,
    unknown_stock,
)
from planner.bench.weeks.jobs import Order
from planner.paper.workbook_out import every_part, shopping
from planner.plan.values import PlannedSet
from tests.paper.invented_shop import lying_marks, part_reused, unknown_core


def order_of(planned: PlannedSet, number: str = "WO-1") -> Order:
    return Order(number=number, planned=planned, due=None, priority=1, binding_on=True)


def count(found: tuple[Need, ...], sort: Sort) -> int:
    return sum(need.quantity for need in found if need.part.sort is sort)


def test_every_screw_and_plug_of_both_skis_is_counted() -> None:
    fleet, planned = part_reused()
    found = needs(fleet, [order_of(planned)])
    way = planned.way
    assert count(found, Sort.SCREW) == sum(len(way.skis[side].holes) for side in Side)
    assert count(found, Sort.PLUG) == way.plugged
    glue = {need.part.name: need.quantity for need in found if need.part.sort is Sort.GLUE}
    assert glue["wood glue"] == count(found, Sort.SCREW)


def test_bits_and_stops_come_by_construction_and_metal_is_tapped() -> None:
    """Drilled with the sizes of the order; a tap only for metal (common practice, no source)."""
    fleet, planned = lying_marks()
    found = needs(fleet, [order_of(planned)])
    assert {need.part.name for need in found if need.part.sort is Sort.TAP} != set()
    assert all("(metal)" in need.part.name for need in found if need.tool)
    drilled = sum(h.do == "drill" for side in Side for h in planned.way.skis[side].holes)
    assert sum(need.uses for need in found if need.part.sort is Sort.BIT) == drilled


def test_an_unknown_core_asks_for_no_size() -> None:
    fleet, planned = unknown_core()
    bits = [n.part.name for n in needs(fleet, [order_of(planned)]) if n.part.sort is Sort.BIT]
    assert bits == ["read the ski (construction unknown)"]


def test_the_shops_own_list_names_the_screws(tmp_path: Path) -> None:
    file = tmp_path / "screws.csv"
    file.write_text(
        "pattern,piece,number,part\nT5/H4 wide,toe,,5.5 x 14\nT5/H4 wide,toe,1,5.5 x 18\n", "utf-8"
    )
    names = read_screws(file)
    assert names.name("T5/H4 wide", "toe", 1) == "5.5 x 18"
    assert names.name("T5/H4 wide", "toe", 2) == "5.5 x 14"
    assert names.name("T5/H4 wide", "heel", 2) == "screw of T5/H4 wide, heel (length not told)"
    assert ScrewNames().name("A", "toe", 1) == "screw of A, toe (length not told)"


SCREW = Part(sort=Sort.SCREW, name="5.5 x 14")
NEED = Need(part=SCREW, quantity=24, by_order=(("WO-1", 8), ("WO-2", 8), ("WO-3", 8)))


@pytest.mark.parametrize(
    ("stock", "short", "first", "buy"),
    [
        (30, False, None, 0),
        (24, False, None, 3),  # 10 % of 24 is 2.4: three to spare
        (16, True, "WO-3", 11),
        (15, True, "WO-2", 12),
        (0, True, "WO-1", 27),
    ],
)
def test_what_runs_short_and_which_order_is_hit_first(
    stock: int, short: bool, first: str | None, buy: int
) -> None:
    [line] = against_stock([NEED], {"screw 5.5 x 14": stock}, reserve_percent=Decimal(10))
    assert (line.short, line.first_hit, line.buy) == (short, first, buy)


def test_a_part_that_the_stock_list_does_not_name_is_bought_whole_and_said_so() -> None:
    [line] = against_stock([NEED], {}, reserve_percent=Decimal(0))
    assert (line.in_stock, line.buy) == (None, 24)
    assert unknown_stock([NEED], {"glve": 3}) == ("glve",)
    assert stock_name(SCREW) == "screw 5.5 x 14"


def test_bindings_are_held_against_what_the_ledger_has_loose_and_none_is_bought_to_spare() -> None:
    loose = [Binding(binding_id=f"X-{n}", model="Tarn", pattern="T5", brake_um=95_000) for n in range(5)]
    on_ski = Binding(
        binding_id="Y", model="Tarn", pattern="T5", brake_um=105_000, on_pair="K-1", on_ski=Side.A
    )
    fleet = replace(part_reused()[0], bindings={b.binding_id: b for b in (*loose, on_ski)})
    stock = bindings_in_stock(fleet)
    assert stock == {"binding T5, brake 95 mm": 2, "binding T5, brake 105 mm": 0}
    wanted = [
        Need(
            part=Part(sort=Sort.BINDING, name=f"T5, brake {brake} mm", unit="pairs"),
            quantity=2,
            by_order=(("WO-1", 1), ("WO-2", 1)),
        )
        for brake in (95, 105)
    ]
    enough, none = against_stock(wanted, stock, reserve_percent=Decimal(10))
    assert (enough.in_stock, enough.buy, enough.first_hit) == (2, 0, None)
    assert (none.in_stock, none.buy, none.first_hit) == (0, 2, "WO-1")


def test_the_tables_hold_every_line_and_the_shopping_list_only_what_is_to_buy() -> None:
    lines = against_stock([NEED], {"Screw 5.5x14": 40}, reserve_percent=Decimal(10))
    every, buy = every_part(lines), shopping(lines)
    assert (len(every.rows), len(buy.rows)) == (1, 0)
    assert shopping_list(lines) == ()


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("teil,menge\n", "has no column part, quantity"),
        ("part,quantity\nplug,many\n", "row 2: quantity is 'many'"),
        ("part,quantity\nplug,-3\n", "row 2: quantity is '-3'"),
        ("part,quantity\nplug\n", "row 2: quantity is ''"),
        ("part,quantity\n,5\n", "row 2 names no part"),
    ],
)
def test_a_stock_list_that_cannot_be_read_says_where(tmp_path: Path, text: str, sentence: str) -> None:
    file = tmp_path / "stock.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=sentence):
        read_stock(file)


def test_the_same_part_twice_in_the_stock_list_adds_up(tmp_path: Path) -> None:
    file = tmp_path / "stock.csv"
    file.write_text("part,quantity\nplug,3\nplug,4\n", encoding="utf-8")
    assert read_stock(file) == {"plug": 7}
