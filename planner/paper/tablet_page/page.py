"""The whole page: banner, figures, filters, lists, orders. One string, the same plan the same bytes.

Of a plan, as a proposal; or of the issued work orders: what may be worked on, with number and revision.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from fleet.base.program import program
from fleet.base.units import counted
from fleet.facts.pairs import planned_brake_text
from fleet.tables.snapshot import Fleet
from planner.bench.orders.book import WorkOrder
from planner.paper.sheet_frame import moment_text, spoken_day, stale_text
from planner.paper.tablet_page.order_article import missing_article, order_articles
from planner.paper.tablet_page.templates import document
from planner.paper.work_order import HOLDS_UNTIL
from planner.paper.work_order_facts import issued_order_sheet, work_order_sheet
from planner.plan.fault_isolation import Fault
from planner.plan.plan_file import plan_hash
from planner.plan.proof_words import left_open, result_of, what_is_proved
from planner.plan.values import Plan, PlannedSet, Rung


def plan_page(
    fleet: Fleet,
    plan: Plan,
    *,
    printed_at: datetime,
    progress: Callable[[str], None] | None = None,
) -> tuple[str, tuple[Fault, ...]]:
    """The page of a proposal, and whose order could not be drawn: the page says so in its place.

    Raises Refused where the fleet does not know what the plan names.
    """
    said = plan_hash(plan)
    if progress is not None:
        progress(f"drawing {len(plan.touched)} orders for the page")
    articles, faults = order_articles(
        plan.touched,
        lambda planned: work_order_sheet(
            fleet, planned, number=None, revision=None, proposal=True, plan_hash=said,
            printed_at=printed_at, needed_by=plan.ready_by,
        ),
        name=lambda planned: planned.pair,
    )  # fmt: skip
    page = document(
        "plan.html",
        shop=fleet.shop,
        figures=_figures(fleet, plan, said, printed_at),
        parts=(
            ("sets", f"Sets ({len(plan.sets)})"),
            *([("orders", "Orders")] if articles else []),
            ("unserved", f"Not served ({sum(wish.missing for wish in plan.unserved)})"),
            ("unplanned", f"Pairs not used ({len(plan.unplanned_pairs)})"),
        ),
        rows=[set_row(fleet, planned) for planned in plan.sets],
        articles=articles,
        plan=plan,
        head=f"{plan.ledger_entry}:{plan.ledger_head[:8]}",
        on_paper=_NOT_ISSUED,
        order_heads=[(planned.pair, f"{planned.pair} · {_NOT_ISSUED}") for planned in plan.touched],
    )
    return page, faults


_NOT_ISSUED = "PROPOSAL, not issued: nothing may be drilled from this"


def _figures(fleet: Fleet, plan: Plan, said: str, printed_at: datetime) -> list[tuple[str, str]]:
    t = plan.totals
    return [
        ("sets served", f"{t.served} of {t.wanted}"),
        ("result", result_of(plan)),
        *(("proved", line) for line in what_is_proved(plan)),
        *(("not proved", line) for line in left_open(plan)),
        ("holes to drill", str(t.drilled)),
        ("bench time", hours_text(t.minutes)),
        ("ready by", spoken_day(plan.ready_by) if plan.ready_by else "no date given"),
        ("ledger", f"{plan.ledger_entry}:{plan.ledger_head[:8]}"),
        ("plan", said[:8]),
        ("written", f"{moment_text(printed_at, fleet.zone)}, {program()}"),
        ("stale after", stale_text(printed_at, fleet.zone, fleet.policy.count("sheet_stale_days"))),
    ]


def hours_text(minutes: int) -> str:
    """Return ``2 h 05 min``."""
    return f"{minutes // 60} h {minutes % 60:02d} min"


def set_row(fleet: Fleet, planned: PlannedSet) -> dict[str, object]:
    """Return what the list shows of one set, and what its filters compare."""
    pair, way = fleet.pair(planned.pair), planned.way
    brake = "" if planned.brake_um is None else f", {planned_brake_text(planned.brake_um, unit='')}"
    words = (pair.tag, pair.rack, pair.model, planned.boot, planned.wish, way.pattern)
    return {
        "pair": pair,
        "kind": pair.kind.value,
        "boot": fleet.boot(planned.boot),
        "way": way,
        "wish": planned.wish,
        "touched": way.rung is not Rung.AS_IS,
        "goes_on": f"{fleet.pattern(way.pattern).binding_model}{brake}",
        "words": " ".join(words).casefold(),
    }


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
