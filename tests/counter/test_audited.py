"""Every kind of entry the counter makes, rebuilt from the chain by the audit: the state is the same."""

from __future__ import annotations

from datetime import timedelta

from fleet.audit.full import audit_file
from fleet.checks.findings import AuditSeverity
from fleet.events import KINDS
from fleet.facts.holes import Side
from fleet.facts.recalls import Recall
from fleet.ledger.desk import Desk
from fleet.rules import holds
from fleet.rules.counter import keep_longer, move, undo
from fleet.rules.day_end import close_evening
from fleet.rules.gate_desk import record_release_test
from fleet.rules.recall_desk import close_recall, open_recall
from fleet.rules.sampling.record import close_sample, draw_sample, not_operating, record_result
from fleet.rules.sampling.rule import DeviationClass
from fleet.rules.stock import enter_count
from planner.bench.season import join, lose_partner
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, Shop
from tests.counter.test_impossible import order_body


def _everything(shop: Shop) -> None:
    def at(by: str) -> _At:
        return _At(shop, by)

    shop.out("P-1", "P-2", "P-3")
    at(NELL).do(lambda desk: keep_longer(desk, "P-2", until=shop.today + timedelta(days=2)))
    shop.back("P-1", said="clicks")
    at(NELL).do(lambda desk: undo(desk, "P-1"))
    shop.back("P-1", said="clicks")
    shop.look("P-1", found={"A toe": "more"})
    at(JORY).do(lambda desk: holds.begin_repair(desk, "P-1"))
    at(JORY).do(lambda desk: holds.end_repair(desk, "P-1", did="reset", glued_with=("epoxy",)))
    shop.look("P-1", by=SANNE)
    at(NELL).do(lambda desk: holds.hold(desk, "P-4", why="brake bent"))
    at(IDA).do(lambda desk: holds.clear(desk, "P-4", why="bent back"))
    at(NELL).do(lambda desk: holds.quarantine(desk, "P-4", why="complaint"))
    at(WIM).do(lambda desk: holds.clear(desk, "P-4", why="settled"))
    at(NELL).do(lambda desk: move(desk, "P-3", to="missing", reason="no answer"))
    at(IDA).do(close_evening)
    at(NELL).do(lambda desk: move(desk, "P-3", to="shop", reason="found"))
    recall = Recall(
        recall="R-1",
        pattern="Lark 4",
        piece="",
        serial_from="1",
        serial_to="9",
        season="",
        source="notice",
    )
    at(IDA).do(lambda desk: open_recall(desk, recall))
    at(IDA).do(lambda desk: close_recall(desk, "R-1", how="none in range"))
    at(IDA).do(
        lambda desk: record_release_test(desk, "T-1", side=Side.A, piece="toe", device="d", result="r")
    )
    shop.back("P-2")
    sample = at(IDA).do(lambda desk: draw_sample(desk, seed="s"))
    for unit in sample.units:  # type: ignore[attr-defined]
        at(IDA).do(lambda desk, unit=unit: record_result(desk, unit, DeviationClass.NONE, device="d"))
    at(IDA).do(close_sample)
    at(IDA).do(lambda desk: not_operating(desk, shop.today, why="storm"))
    at(NELL).do(lambda desk: enter_count(desk, ["P-1", "Z-9"]))
    shop.enter("order issued", order_body("P-1", giver="P-2"))
    shop.enter("order cancelled", {"number": "WO-2612-0001", "revision": "A", "why": "not in the new plan"})
    at(IDA).do(lambda desk: lose_partner(desk, "P-3", lost=Side.A, why="broken"))
    at(NELL).do(lambda desk: holds.hold(desk, "P-2", why="edge bent"))
    at(IDA).do(lambda desk: lose_partner(desk, "P-2", lost=Side.B, why="stolen"))
    shop.enter("pair changed", {"tag": "P-2", "changes": {"length_mm": [1720, 1750]}})
    at(IDA).do(lambda desk: join(desk, "P-9", "P-2/A", "P-3/B"))
    shop.enter("case made", {"tag": "P-1", "sha256": "0" * 64, "head": "1:0"})


class _At:
    """One action by one person."""

    def __init__(self, shop: Shop, by: str) -> None:
        self._shop, self._by = shop, by

    def do(self, action: object) -> object:
        with self._shop.desk(self._by) as desk:
            return _call(action, desk)


def _call(action: object, desk: Desk) -> object:
    assert callable(action)
    return action(desk)


def test_the_audit_rebuilds_what_the_counter_wrote(shop: Shop) -> None:
    _everything(shop)
    made = {row[0] for row in shop.ledger.connection.execute("SELECT DISTINCT what FROM entries")}
    rooms = ("movement", "looks", "stops", "carried_over", "orders")
    kinds = {what for what, kind in KINDS.items() if kind.__module__.removeprefix("fleet.events.") in rooms}
    # The bench's entries need a plan; tests/orders rebuilds what they wrote, test_hours a confirmed hour.
    bench = {"order plugged", "order done", "order stopped", "stop ended", "ski fault found"}
    vans = {"load sent", "load taken in"}  # of two shops: tests/chain/test_chain_road.py audits both
    assert kinds - made == bench | vans | {"hour confirmed"}
    shop.ledger.connection.close()
    report = audit_file(shop.ledger.path, now=shop.now)
    assert [finding for finding in report.findings if finding.severity is not AuditSeverity.NOTE] == []
