"""What the bench did is what the planner sees: planning again after the work finds nothing left to do."""

from __future__ import annotations

import pytest

from planner.orders.close import done
from planner.plan_values import Rung
from tests.counter.shop import JORY, SANNE
from tests.orders.bench_shop import BenchShop


@pytest.mark.parametrize("bsl_mm", [285, 295, 305, 310, 317, 320, 335])
def test_after_the_work_the_same_set_is_as_it_is(shop: BenchShop, bsl_mm: int) -> None:
    """Whatever the way was (adjust, reuse, drill), the ledger afterwards holds exactly that mount."""
    shop.enter("boot changed", {"tag": "B-317", "changes": {"bsl_um": [317_000, bsl_mm * 1000]}})
    plan = shop.plan()
    [first] = plan.sets
    if first.way.rung is not Rung.AS_IS:
        [order] = shop.issue(plan).orders
        with shop.desk(JORY) as desk:
            done(desk, order.name, measured={})
        shop.look("K-1", by=SANNE)
    [again] = shop.plan().sets
    assert (again.pair, again.boot, again.way.rung) == (first.pair, first.boot, Rung.AS_IS)
    assert again.way.offset_um == first.way.offset_um
    assert again.way.drilled == again.minutes == 0
