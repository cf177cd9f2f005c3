"""The earlier sets, from the plan on disk and the book of orders."""

from __future__ import annotations

import sqlite3

from planner.bench.orders.book import read_orders
from planner.plan.values import Plan
from planner.planning.replan.earlier import EarlierSet, OrderRevision, OrderStage, earlier_sets


def earlier_from(connection: sqlite3.Connection, plan: Plan) -> tuple[EarlierSet, ...]:
    """Return the plan's sets with the state of their orders, and open orders that the plan does not know."""
    newest = {order.number: order for order in read_orders(connection, everything=True)}
    found = earlier_sets(
        plan,
        (OrderRevision(number=o.number, tag=o.tag, boot=o.boot, state=o.state) for o in newest.values()),
    )
    promised = {e.order for e in found}
    others = [o for o in newest.values() if o.state == "open" and o.number not in promised]
    replaced = {o.tag for o in others} | {o.boot for o in others}
    kept = [e for e in found if e.order or not {e.planned.pair, e.planned.boot} & replaced]
    kept += [EarlierSet(planned=o.planned, standing=OrderStage.ISSUED, order=o.number) for o in others]
    return tuple(kept)
