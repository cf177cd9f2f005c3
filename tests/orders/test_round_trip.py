"""What the bench did is what the planner sees: planning again after the work finds nothing left to do."""

from __future__ import annotations

import pytest

from fleet.audit.full import audit_file
from fleet.checks.findings import AuditSeverity
from fleet.facts.holes import Side
from fleet.rules.holds import clear
from planner.bench.orders.bench_record import Drilled
from planner.bench.orders.close import done, stop
from planner.plan.values import Rung
from tests.counter.shop import IDA, JORY, SANNE
from tests.orders.bench_shop import BenchShop


@pytest.mark.parametrize("bsl_mm", [285, 295, 305, 310, 317, 320, 335])
def test_after_the_work_the_same_set_is_as_it_is(shop: BenchShop, bsl_mm: int) -> None:
    """Whatever the way was (adjust, reuse, drill), the ledger afterwards holds exactly that mount."""
    shop.enter("boot changed", {"tag": "B-317", "changes": {"bsl_um": [317_000, bsl_mm * 1000]}})
    plan = shop.plan()
    [first] = plan.sets
    if first.way.rung is not Rung.AS_IS:
        [order] = shop.issue(plan).orders
        shop.first_visit(order.name)
        with shop.desk(JORY) as desk:
            glue = None if first.way.rung is Rung.ADJUST else "wood_glue"
            done(desk, order.name, measured={}, glue=glue)
        shop.look("K-1", by=SANNE)
    [again] = shop.plan().sets
    assert (again.pair, again.boot, again.way.rung) == (first.pair, first.boot, Rung.AS_IS)
    assert again.way.offset_um == first.way.offset_um
    assert again.way.drilled == again.minutes == 0


def test_the_audit_rebuilds_what_the_bench_wrote(shop: BenchShop) -> None:
    """One order done, one stopped with a hole made and the stop ended: the state follows from the chain."""
    shop.drilled_pair("K-2")
    shop.boot("B-320", 320, "alpine A")
    shop.want("W-1", quantity=2)
    first, second = shop.issue().orders
    shop.first_visit(first.name)
    with shop.desk(JORY) as desk:
        done(desk, first.name, measured={}, glue="wood_glue")
    ski = second.planned.way.skis[Side.A]
    made = [(Side.A, hole.piece, hole.number) for hole in ski.holes if hole.do == "drill"][:1]
    with shop.desk(JORY) as desk:
        stop(desk, second.name, why="wet core", made=made, drilled={Side.B: Drilled.NOT_KNOWN})
    with shop.desk(IDA) as desk:
        clear(desk, second.tag, why="dried")
    shop.ledger.connection.close()
    report = audit_file(shop.ledger.path, now=shop.now)
    assert [finding for finding in report.findings if finding.severity is not AuditSeverity.NOTE] == []
