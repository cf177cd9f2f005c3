"""The whole loop on the sample fleet: planned, issued, done, looked at, and then nothing is left to do."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.base.entries import utc_text
from fleet.base.errors import MountbookError
from fleet.checks.findings import AuditSeverity
from fleet.facts.standing import Place
from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from fleet.ledger.transaction import Transaction
from fleet.rules.clearance import read_case
from fleet.rules.looks import LookKind, parse_found, pieces_of, record_look
from fleet.tables.snapshot import read_fleet
from planner.bench.orders.book import read_orders
from planner.bench.orders.close import done, plugged, screws_to_glue
from planner.bench.orders.issue import earlier_from, issue
from planner.demo import moments
from planner.demo.shared import HEAD_TECHNICIAN, SAMPLE, SECOND, TECHNICIAN
from planner.demo.story import take_inventory
from planner.plan.plan_file import plan_hash
from planner.plan.values import Plan, Rung
from planner.planning.assign.plan import plan_fleet
from planner.planning.replan.again import plan_again


def best_plan(ledger: Ledger) -> Plan:
    return plan_fleet(
        read_fleet(ledger.connection),
        made_at=utc_text(moments.PLAN),
        ready_by=moments.READY_BY,
        minutes_limit=None,
    )


def _desk(tx: Transaction, by: str, now: datetime) -> Desk:
    return Desk(tx=tx, by=by, now=now, zone=moments.ZONE)


def _pass(desk: Desk, tag: str) -> None:
    found = parse_found("not-moved", (), pieces=pieces_of(read_case(desk.connection, tag)), tag=tag)
    record_look(desk, tag, found, kind=LookKind.SEASON_PREP)


@pytest.mark.long
def test_after_all_work_is_done_the_best_plan_is_the_one_that_was_made(tmp_path: Path) -> None:
    """No order is invented anew, no finished mount is unfit for its own boot, and the audit agrees."""
    file = tmp_path / "mountbook.db"
    take_inventory(tmp_path, file, lambda _: None, SAMPLE)
    with Ledger.open(file) as ledger:
        first = best_plan(ledger)
        now = moments.ISSUE
        with ledger.transaction(by=HEAD_TECHNICIAN, now=now) as tx:
            issue(_desk(tx, HEAD_TECHNICIAN, now), first, plan_hash=plan_hash(first))
        todo = [order.name for order in read_orders(ledger.connection)]
        assert len(todo) == sum(s.way.rung is not Rung.AS_IS for s in first.sets)
        for name in todo:
            now += timedelta(minutes=1)
            with suppress(MountbookError), ledger.transaction(by=TECHNICIAN, now=now) as tx:
                plugged(_desk(tx, TECHNICIAN, now), name)  # refused where nothing is to be plugged
        now += timedelta(days=3)  # what fills the old holes has cured
        while todo:
            waiting = []
            for name in todo:
                now += timedelta(minutes=1)
                try:
                    with ledger.transaction(by=TECHNICIAN, now=now) as tx:
                        glue = "wood_glue" if screws_to_glue(tx.connection, name) else None
                        done(_desk(tx, TECHNICIAN, now), name, measured={}, glue=glue)
                except MountbookError:
                    waiting.append(name)  # its binding is still on another pair
            assert len(waiting) < len(todo), waiting
            todo = waiting
        now += timedelta(days=3)
        with ledger.transaction(by=SECOND, now=now) as tx:
            for pair in read_fleet(ledger.connection).pairs.values():
                if pair.place is Place.SECOND_CHECK:
                    _pass(_desk(tx, SECOND, now), pair.tag)
        second = best_plan(ledger)
        again = plan_again(
            read_fleet(ledger.connection),
            earlier_from(ledger.connection, first),
            made_at="",
            ready_by=None,
            minutes_limit=None,
        )
    assert second.totals.served_by_priority == first.totals.served_by_priority
    assert {(s.boot, s.pair) for s in again.plan.sets} == {(s.boot, s.pair) for s in first.sets}
    assert again.changed == ()
    assert {s.way.rung for s in second.sets} == {Rung.AS_IS}
    assert second.totals.drilled == second.totals.minutes == 0
    findings = audit_file(file, now=now).findings
    assert [found for found in findings if found.severity is not AuditSeverity.NOTE] == []
