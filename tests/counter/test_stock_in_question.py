"""A binding in stock on which a note asks something is counted, but no plan and no order takes it."""

from __future__ import annotations

import pytest

from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from planner.bench.parts import bindings_in_stock
from planner.planning.assign.classes import count_bindings
from planner.planning.judge.limits import where_bindings_are
from tests.counter.command import Command
from tests.counter.shop import JORY

FIRST = "Lark 4 105 2026 no. 1 A"


def supply(command: Command) -> tuple[int, int, int]:
    """The pairs of bindings in stock by the solver, by the judge, and by the parts list."""
    with Ledger.open(command.ledger) as ledger:
        fleet = read_fleet(ledger.connection)
    solver = sum(count_bindings(fleet.bindings.values()).stock.values())
    judge = sum(where_bindings_are(fleet.bindings.values())[1].values())
    return solver, judge, sum(bindings_in_stock(fleet).values())


@pytest.fixture
def stocked(command: Command) -> Command:
    said = ("--quantity", "2", "--brake", "105", "--season", "2026", "--why", "delivery", "--by", JORY)
    assert command("stock", "in", "Lark 4", *said).returncode == 0
    return command


def test_a_question_lowers_the_supply_until_it_is_answered(stocked: Command) -> None:
    assert supply(stocked) == (2, 2, 2)
    stocked("note", FIRST, "stored upstairs")
    assert supply(stocked) == (2, 2, 2)
    stocked("note", FIRST, "heel cracked")
    assert supply(stocked) == (1, 1, 1)
    stocked("note", FIRST, "--not-so", "--by", JORY)
    assert supply(stocked) == (2, 2, 2)


SORTS = "pairs x pattern, brake, season, serial"


def test_the_stock_list_counts_it_and_says_so(stocked: Command) -> None:
    assert stocked("stock", "list").stdout == f"{SORTS}\n   2 x Lark 4 105 2026\n"
    stocked("note", FIRST, "heel cracked")
    assert stocked("stock", "list").stdout == (
        f"{SORTS}\n   2 x Lark 4 105 2026\n"
        f"in no plan: {FIRST}: 'heel cracked' - hold it? mountbook note '{FIRST}' --took-it --by NAME,"
        f" or mountbook note '{FIRST}' --not-so --by NAME\n"
    )
