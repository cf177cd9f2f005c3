"""A planned set in an order's entry: whole micrometres as the plan has them; older entries read as ever."""

from __future__ import annotations

import ast
import json
from pathlib import Path
from typing import Any

import pytest

from fleet.base.errors import BadInput
from fleet.base.units import in_mm, in_um
from fleet.facts.holes import Side
from planner.bench.orders.book import read_orders
from planner.plan.codec import planned_set_from_body, planned_set_to_body
from planner.plan.plan_file import plan_from_json, plan_to_json
from planner.plan.values import How, Jig
from tests.orders.bench_shop import BenchShop

ROOT = Path(__file__).parents[2]


def entered_in_november() -> dict[str, Any]:
    """A body as entries of November 2026 have it, on skis that differ by a micrometre."""
    holes = [
        {"piece": "toe", "number": 1, "x_um": 122_500, "y_um": 0, "diameter_um": None, "depth_um": 9000}
        | {"do": "reuse", "hole_id": "K-151/A1", "nearest_um": 38_330, "nearest_id": "K-151/A2"},
        {"piece": "heel", "number": 1, "x_um": -116_001, "y_um": 13_000, "diameter_um": 3600}
        | {"depth_um": 9000, "do": "drill", "hole_id": None, "nearest_um": None, "nearest_id": None},
    ]
    pieces = [
        {"piece": "toe", "reference_um": 143_500, "slide_um": 0, "stands_um": None, "how": "by hand"},
        {"piece": "heel", "reference_um": -128_500, "slide_um": 5, "stands_um": -1, "how": "jig"},
    ]
    on_a = {"from_tail_um": 750_001, "pieces": pieces, "holes": holes, "plug": ["K-151/A5"]}
    on_b = {"from_tail_um": None, "pieces": [], "holes": [], "plug": []}
    return {
        "wish": "W-09",
        "boot": "B-183",
        "pair": "K-151",
        "way": "part reused",
        "pattern": "Lerk 3+2",
        "brake_um": None,
        "bsl_um": 272_000,
        "offset_um": -7_501,
        "minutes": 36,
        "strip_minutes": 5,
        "binding_from": "K-152",
        "drilled": 4,
        "plugged": 4,
        "clearance_um": 4001,
        "jig": {"sole_um": 272_000, "centre_um": 7501},
        "skis": {"A": on_a, "B": on_b},
    }


def test_a_set_of_an_older_entry_reads_and_is_written_again_to_the_letter() -> None:
    body = entered_in_november()
    planned = planned_set_from_body(body)
    assert (planned.minutes, planned.strip_minutes, planned.way.minutes) == (36, 5, 31)
    hole = planned.way.skis[Side.A].holes[1]
    assert (hole.x_um, hole.y_um, planned.way.offset_um) == (-116_001, 13_000, -7_501)
    assert planned.way.skis[Side.A].pieces[1].how is How.JIG
    assert planned.way.jig == Jig(sole_um=272_000, centre_um=7501)
    assert json.dumps(planned_set_to_body(planned)) == json.dumps(body)


def test_what_the_oldest_entries_do_not_say_is_not_known() -> None:
    body = entered_in_november()
    del body["jig"]
    for piece in body["skis"]["A"]["pieces"]:
        del piece["stands_um"], piece["how"]
    planned = planned_set_from_body(body)
    assert planned.way.jig is None
    assert {(p.stands_um, p.how) for p in planned.way.skis[Side.A].pieces} == {(None, How.BY_HAND)}


@pytest.mark.parametrize("key", ["hole_id", "nearest_um", "nearest_id", "x_um", "do"])
def test_a_hole_says_everything_or_is_no_hole(key: str) -> None:
    body = entered_in_november()
    del body["skis"]["A"]["holes"][0][key]
    with pytest.raises(ValueError, match=key):
        planned_set_from_body(body)


@pytest.mark.parametrize(
    ("key", "value"), [("x_um", 122.5), ("x_um", "122500"), ("x_um", True), ("do", "fill"), ("number", None)]
)
def test_what_is_no_whole_number_of_micrometres_is_refused(key: str, value: object) -> None:
    body = entered_in_november()
    body["skis"]["A"]["holes"][0][key] = value
    with pytest.raises(ValueError, match=key):
        planned_set_from_body(body)


def test_an_issued_order_says_what_the_plan_says_in_whole_micrometres(shop: BenchShop) -> None:
    plan = shop.plan()
    shop.issue(plan)
    orders = read_orders(shop.ledger.connection)
    assert orders
    planned = {each.pair: each for each in plan.sets}
    for order in orders:
        assert order.planned == planned[order.tag]
        assert '_mm":' not in json.dumps(order.body["set"])


def test_a_plan_file_says_millimetres_at_the_door_and_a_fault_names_its_own_key(shop: BenchShop) -> None:
    data = plan_to_json(shop.plan())
    assert '_um":' not in json.dumps(data)
    hole = data["sets"][0]["skis"]["A"]["holes"][0]
    hole["x_mm"] = 12.3456
    with pytest.raises(BadInput, match="finer than a micrometre"):
        plan_from_json(data)
    del hole["x_mm"]
    with pytest.raises(BadInput, match="x_mm is missing"):
        plan_from_json(data)


def test_the_door_converts_lengths_at_every_depth_and_nothing_else() -> None:
    said = {"x_um": 12_345, "no_um": None, "n": 7, "rows": [{"offset_um": -1, "length_mm": 1780, "a": 1}]}
    door = {
        "x_mm": 12.345,
        "no_mm": None,
        "n": 7,
        "rows": [{"offset_mm": -0.001, "length_mm": 1780, "a": 1}],
    }
    assert in_mm(said) == door
    assert in_mm({"legal_um": ((0, 500), (1500, 2000))}) == {"legal_mm": [[0.0, 0.5], [1.5, 2.0]]}
    assert in_um({"x_mm": 12.345, "rows": [{"no_mm": None, "n": 7}]}) == {
        "x_um": 12_345,
        "rows": [{"no_um": None, "n": 7}],
    }


@pytest.mark.parametrize("file", ["planner/plan/codec.py", "planner/plan/values.py", *sorted(
    str(path.relative_to(ROOT)) for path in (ROOT / "planner/bench/orders").glob("*.py")
)])  # fmt: skip
def test_no_unit_is_changed_between_a_plan_and_its_order(file: str) -> None:
    """What a person typed (`typed.py`) comes in millimetres; the rest knows micrometres only."""
    names = {
        alias.name
        for node in ast.walk(ast.parse((ROOT / file).read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module == "fleet.base.units"
        for alias in node.names
    }
    changing = names & {"in_mm", "in_um", "mm_to_um", "um_to_mm", "UM_PER_MM"}
    assert changing <= ({"mm_to_um"} if file.endswith("typed.py") else set())
