"""A number that was printed for a hole is never another hole's, whether that hole was drilled or not."""

from __future__ import annotations

from random import Random

import pytest

from fleet.facts.holes import Side
from fleet.ledger.people import set_policy
from fleet.rules.holds import clear
from planner.bench.orders.bench_record import Drilled, Measured
from planner.bench.orders.book import WorkOrder
from planner.bench.orders.close import stop
from tests.counter.shop import IDA, JORY, WIM
from tests.orders.bench_shop import BenchShop


def printed(order: WorkOrder) -> dict[str, tuple[str, str]]:
    """Each new hole's id, and what it was printed for: the order, the screw."""
    drilled = {
        (side, hole.piece, hole.number)
        for side in Side
        for hole in order.planned.way.skis[side].holes
        if hole.do == "drill"
    }
    return {
        name: (order.name, " ".join(map(str, screw)))
        for screw, name in (order.holes or {}).items()
        if screw in drilled
    }


@pytest.mark.parametrize("seed", range(12))
def test_no_number_on_any_sheet_is_given_to_another_hole_later(shop: BenchShop, seed: int) -> None:
    """Orders are issued, issued again for another day, or broken off with some holes, and one slips."""
    chance = Random(seed)
    with shop.desk(WIM) as desk:
        set_policy(desk, "mounts_max", "9", origin="invented decision")
    meant: dict[str, tuple[str, str]] = {}

    def given(names: dict[str, tuple[str, str]]) -> None:
        for name, hole in names.items():
            assert meant.setdefault(name, hole) == hole, name

    looked = 0
    for turn in range(4):
        orders = shop.issue_for(f"2027-01-{10 + turn}").orders
        if not orders:
            break
        [order] = orders
        given(names := printed(order))
        looked += len(names)
        if chance.random() < 0.4:
            continue  # the sheet is collected, and none of it was drilled
        screws = [screw for screw, name in (order.holes or {}).items() if name in names]
        made = chance.sample(screws, chance.randrange(0, min(3, len(screws)) + 1))
        slip = {chance.choice(list(Side)): [Measured(x_um=-20_000 + 14_000 * turn, y_um=3_000)]}
        said = {
            side: Drilled.HOLES if any(screw[0] is side for screw in made) else Drilled.NOTHING
            for side in Side
        }
        with shop.desk(JORY) as desk:
            closed = stop(desk, order.name, why="called away", drilled=said, made=made, extra=slip)
        given(
            {
                name: names.get(name, (order.name, "slipped"))
                if any((order.holes or {})[screw] == name for screw in made)
                else (order.name, "slipped")
                for name in closed.drilled
            }
        )
        with shop.desk(IDA) as desk:
            clear(desk, order.tag, why="looked at it: it can be worked on")
    assert looked
