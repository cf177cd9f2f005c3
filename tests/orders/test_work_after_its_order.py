"""Work comes after its order: a stated time before the issue would let the glue cure before it was used."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fleet.base.errors import MountbookError
from fleet.facts.holes import Side
from fleet.facts.standing import Place
from planner.bench.orders.bench_record import Drilled
from planner.bench.orders.close import done, stop
from tests.counter.shop import IDA, JORY
from tests.orders.bench_shop import BenchShop


def test_an_order_is_not_done_before_it_was_issued(shop: BenchShop) -> None:
    """An hour before, and at the very moment of the issue: refused. A second after it: entered."""
    shop.enter("pair changed", {"tag": "K-1", "changes": {"length_mm": [1700, 2000]}})
    shop.boot("B-305", 305, "alpine A")
    shop.drilled_pair("K-2", on=False)
    shop.stock("ST-1")
    shop.tick(minutes=120)
    [order] = shop.issue().orders
    assert order.planned.way.plugged == 0, "one visit is enough"
    issued = shop.now
    assert order.tag == "K-2"
    before = shop.dump()
    for at in (issued - timedelta(hours=1), issued):
        with (
            pytest.raises(MountbookError, match=r"work order WO-2612-0001 A of K-2 was issued .* not before"),
            shop.desk(JORY, at=at) as desk,
        ):
            done(desk, "WO-2612-0001", measured={}, glue="wood_glue")
    assert shop.dump() == before
    with shop.desk(JORY, at=issued + timedelta(seconds=1)) as desk:
        assert done(desk, "WO-2612-0001", measured={}, glue="wood_glue").place is Place.SECOND_CHECK


def test_an_order_is_not_stopped_before_it_was_issued(shop: BenchShop) -> None:
    shop.issue()
    with pytest.raises(MountbookError, match="was issued"), shop.desk(IDA, at=shop.now) as desk:
        stop(desk, "WO-2612-0001", why="core is wet", drilled=dict.fromkeys(Side, Drilled.NOTHING))
