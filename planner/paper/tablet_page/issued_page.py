"""The issued work orders as one page for the tablet: what may be worked on, with number and revision."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from fleet.base.program import program
from fleet.base.units import counted
from fleet.tables.snapshot import Fleet
from planner.bench.orders.book import WorkOrder
from planner.paper.moments import moment_text, spoken_day
from planner.paper.tablet_page.document import document
from planner.paper.tablet_page.order_article import missing_article, order_articles
from planner.paper.tablet_page.page import hours_text, set_row
from planner.paper.work_order import HOLDS_UNTIL
from planner.paper.work_order_facts import issued_order_sheet
from planner.plan.fault_isolation import Fault


def issued_page(
    fleet: Fleet,
    orders: Sequence[WorkOrder],
    *,
    past: Sequence[WorkOrder] = (),
    undrawn: Sequence[Fault] = (),
    printed_at: datetime,
) -> tuple[str, tuple[Fault, ...]]:
    """Return the page of these open orders, and the orders that could not be drawn: the page names them.

    ``past``: orders that the ledger has moved past. They are named, and nothing of them is shown.
    ``undrawn``: open orders that could not be drawn already; the page names them, too.
    """
    articles, faults = order_articles(
        orders,
        lambda order: issued_order_sheet(fleet, order, printed_at=printed_at),
        name=lambda order: order.tag,
    )
    articles += map(missing_article, undrawn)
    html = document(
        "issued.html",
        shop=fleet.shop,
        names=_names(orders),
        figures=(
            ("open work orders", str(len(orders))),
            ("holes to drill", str(sum(order.planned.way.drilled for order in orders))),
            ("bench time", hours_text(sum(order.minutes for order in orders))),
            ("ledger", str(fleet.head)),
            ("written", f"{moment_text(printed_at, fleet.zone)}, {program()}"),
            ("each holds until", HOLDS_UNTIL),
        ),
        parts=(
            ("sets", f"List ({len(orders)})"),
            *([("orders", "Orders")] if articles else []),
            *([("past", f"Not valid any more ({len(past)})")] if past else []),
        ),
        rows=[_row(fleet, order) for order in orders],
        articles=articles,
        past=past,
        head=str(fleet.head),
        on_paper=f"Issued: {_names(orders)}",
        order_heads=[(order.tag, f"{order.name} · {order.tag}") for order in orders],
    )
    return html, faults


def _names(orders: Sequence[WorkOrder]) -> str:
    """Return ``WO-2611-0001 A``, or how many there are with the first and the last."""
    if not orders:
        return "no work order"
    names = [order.name for order in orders]
    if len(names) == 1:
        return names[0]
    return f"{counted(len(names), 'work order')}, {names[0]} to {names[-1]}"


def _row(fleet: Fleet, order: WorkOrder) -> dict[str, object]:
    row, due = set_row(fleet, order.planned), order.body["needed_by"]
    return row | {
        "order": order.name,
        "due": spoken_day(due) if due else "no day",
        "words": f"{row['words']} {order.name.casefold()}",
    }
