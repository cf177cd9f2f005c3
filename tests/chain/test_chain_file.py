"""The file of a chain, read: money as it is typed, and what is no amount of money."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fleet.base.errors import BadInput
from planner.plan.chain import ChainPlan, chain_plan_text, read_chain, read_moves

LINES = """
[[shop]]
name = "North"
ledger = "north.db"
budget = {budget}

[[shop]]
name = "South"
ledger = "south.db"

[[van]]
from = "North"
to = "South"
day = 2026-11-30
pairs = 6
minutes = 5
price = {price}
"""


def written(folder: Path, *, budget: str = "250", price: str = "4.50") -> Path:
    file = folder / "chain.toml"
    file.write_text(LINES.format(budget=budget, price=price), encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("typed", "cents"), [("0", 0), ("250", 25_000), ("99.5", 9_950), ("0.07", 7), ("19.99", 1_999)]
)
def test_money_is_read_to_the_hundredth(tmp_path: Path, typed: str, cents: int) -> None:
    chain = read_chain(written(tmp_path, budget=typed, price=typed))
    assert [shop.budget_cents for shop in chain.shops] == [cents, None]
    assert [run.price_cents for run in chain.runs] == [cents]


@pytest.mark.parametrize("typed", ["-1", "0.005", "true", '"12"', "nan", "inf", "1000000.01"])
def test_what_is_no_amount_of_money_is_refused(tmp_path: Path, typed: str) -> None:
    with pytest.raises(BadInput, match=r"shop 1: budget is .* no amount of money"):
        read_chain(written(tmp_path, budget=typed))
    with pytest.raises(BadInput, match=r"van 1: price is .* no amount of money"):
        read_chain(written(tmp_path, price=typed))


def test_chain_json_has_the_money_and_is_read_back_with_or_without_it(tmp_path: Path) -> None:
    chain = read_chain(written(tmp_path))
    text = chain_plan_text(chain, ChainPlan(made_at="", moves=(), plans={}, levels=()))
    (tmp_path / "chain.json").write_text(text, encoding="utf-8")
    said = json.loads(text)
    assert [shop["budget"] for shop in said["shops"]] == [250.0, None]
    assert [run["price"] for run in said["runs"]] == [4.5]
    assert read_moves(tmp_path) == (chain, ())
    for row in (*said["shops"], *said["runs"]):
        row.pop("budget", None)
        row.pop("price", None)
    (tmp_path / "chain.json").write_text(json.dumps(said), encoding="utf-8")
    older, _ = read_moves(tmp_path)  # of a program that knew no money
    assert [shop.budget_cents for shop in older.shops] == [None, None]
    assert [run.price_cents for run in older.runs] == [0]
