"""Work comes after its order: a stated time before the issue would let the glue cure before it was used."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fleet.base.errors import MountbookError
from fleet.facts.equipment import Place
from fleet.facts.holes import Side
from planner.bench.orders.bench_record import Drilled
from planner.bench.orders.close import done, stop
from tests.counter.shop import IDA, JORY
from tests.orders.bench_shop import BenchShop


def test_an_order_is_not_done_before_it_was_issued(shop: BenchShop) -> None:
    """An hour before, and at the very moment of the issue: refused. A second after it: entered."""
    shop.tick(minutes=120)
    shop.issue()
    issued = shop.now
    before = shop.dump()
    for at in (issued - timedelta(hours=1), issued):
        with (
            pytest.raises(MountbookError, match=r"work order WO-2612-0001 A of K-1 was issued .* not before"),
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
