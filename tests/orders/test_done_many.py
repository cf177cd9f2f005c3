"""Many orders ended at once, typed or scanned: each is an action of its own, and none waits for another."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from tests.counter.command import Command
from tests.counter.shop import JORY
from tests.orders.bench_shop import BenchShop

ONE, TWO, THREE = (f"WO-2612-000{number} A" for number in (1, 2, 3))


@pytest.fixture
def three(shop: BenchShop, command: Command) -> Command:
    """Two orders that plug and drill, the first visit of both over, and one that only sets K-1
    for another sole: its pieces slide.
    """
    shop.drilled_pair("K-2")
    shop.drilled_pair("K-3")
    shop.boot("B-318", 318, "alpine A")
    shop.boot("B-307", 307, "alpine A")
    shop.want("W-2", quantity=2)
    plan = shop.plan()
    ways = {each.pair: each.way.rung.value for each in plan.sets}
    assert sorted(ways.values()) == ["adjust", "part reused", "part reused"], ways
    shop.issue(plan)
    for number in (1, 2, 3):
        shop.first_visit(f"WO-2612-000{number}")
    return command


def orders(command: Command) -> dict[str, str]:
    rows = command("order", "list", "--json").json["orders"]
    return {f"{row['order']} {row['revision']}": row["way"] for row in rows}


def test_orders_that_need_no_value_are_done_and_the_others_are_listed(three: Command) -> None:
    ways = orders(three)
    said = three("order", "done", ONE, TWO, THREE, "--by", JORY)
    assert said.returncode == 1
    assert said.stdout.count("REFUSED") == 2
    assert "16 screws go into wood, and nobody said which glue was used; say it as it stands" in said.stdout
    assert said.stdout.splitlines()[-1] == "2 of 3 refused, the others are entered"
    assert orders(three) == {name: way for name, way in ways.items() if way != "adjust"}


def test_a_glue_is_that_of_the_orders_which_drive_screws_into_wood(three: Command) -> None:
    answer = three("order", "done", ONE, TWO, THREE, "--glue", "wood_glue", "--by", JORY, "--json")
    assert answer.returncode == 0
    assert sorted(row["glue"] for row in answer.json["done"]) == [[], ["wood_glue"], ["wood_glue"]]
    assert orders(three) == {}


def test_the_codes_of_both_skis_are_one_order_and_a_void_sheet_is_listed(
    three: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tags = {row["order"]: row["pair"] for row in three("order", "list", "--json").json["orders"]}
    [adjust] = [name for name, way in orders(three).items() if way == "adjust"]
    number = adjust.split()[0]
    scans = f"{number}-A/{tags[number]}/A\n{number}-A/{tags[number]}/B\nWO-2612-0099\n\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(scans))
    said = three("order", "done", "--file", "-", "--by", JORY)
    assert said.returncode == 1
    assert said.stdout.splitlines()[-2:] == [
        "REFUSED  there is no work order WO-2612-0099; see `mountbook order list`",
        "1 of 2 refused, the others are entered",
    ]
    assert adjust not in orders(three)


def test_what_belongs_to_one_order_is_not_said_for_many(three: Command) -> None:
    for more in (("--hole", "A1=1,2"), ("--binding", "K-1/A"), ("--extra", "A=1,2"), ("--measured-again",)):
        answer = three("order", "done", ONE, TWO, *more, "--by", JORY, "--json")
        assert (answer.returncode, answer.json["refused"]) == (
            1,
            "what is said of holes or bindings belongs to one order",
        )
    assert len(orders(three)) == 3


def test_one_order_answers_as_ever(three: Command) -> None:
    [adjust] = [name for name, way in orders(three).items() if way == "adjust"]
    answer = three("order", "done", adjust, "--by", JORY, "--json")
    assert (answer.returncode, "done" in answer.json, answer.json["revision"]) == (0, False, "A")


def test_the_first_visit_of_several_orders(shop: BenchShop, command: Command) -> None:
    shop.drilled_pair("K-2")
    shop.boot("B-318", 318, "alpine A")
    shop.want("W-2")
    shop.issue()
    said = command("order", "plugged", ONE, TWO, THREE, "--by", JORY)
    assert said.returncode == 1
    assert said.stdout.count("NOT BEFORE") == 2
    assert said.stdout.splitlines()[-1] == "1 of 3 refused, the others are entered"
