"""The whole page: banner, figures, filters, lists, orders. One string, the same plan the same bytes.

Of a plan, as a proposal; or of the issued work orders: what may be worked on, with number and revision. Each
order has a large tag, the irreversible act alone, its drawing, holes and steps.
"""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import TypeVar

from markupsafe import Markup

from fleet.base.program import program
from fleet.base.units import counted, length_text, mm_text, toward
from fleet.facts.holes import Side
from fleet.facts.pairs import planned_brake_text
from fleet.tables.snapshot import Fleet
from planner.bench.orders.book import WorkOrder
from planner.paper.shapes import Drawing, Page
from planner.paper.sheet_frame import moment_text, spoken_day, stale_text
from planner.paper.ski_facts import SkiFact
from planner.paper.ski_picture import SkiPicture
from planner.paper.svg_writer import svg_of
from planner.paper.tablet_page.templates import document, filled
from planner.paper.work_order import HOLDS_UNTIL
from planner.paper.work_order_facts import WorkOrderSheet, issued_order_sheet, work_order_sheet
from planner.paper.work_order_steps import DrillFact
from planner.plan.fault_isolation import Fault, all_but_faulty
from planner.plan.plan_file import plan_hash
from planner.plan.plan_words import left_open, result_of, what_is_proved
from planner.plan.values import Plan, PlannedSet, Rung

_T = TypeVar("_T")
_PICTURE_MM = (96.0, 190.0)


def order_articles(
    things: Sequence[_T], sheet: Callable[[_T], WorkOrderSheet], *, name: Callable[[_T], str]
) -> tuple[list[Markup], tuple[Fault, ...]]:
    """Return the articles of these, and whose could not be drawn: the article says so in its place."""
    articles, faults = [], tuple[Fault, ...]()
    for thing in things:
        drawn, failed = all_but_faulty(
            [thing], lambda one: order_article(sheet(one[0])), what="order on the page", name=name
        )
        articles.append(drawn or missing_article(failed[0]))
        faults += failed
    return articles, faults


def order_article(order: WorkOrderSheet) -> Markup:
    """The order as an article; its heading is the pair's tag."""
    brake = planned_brake_text(order.planned.brake_um)
    centre = _by_ski(order, [toward(ski.centre_from_mark_um) for ski in order.skis])
    facts = [
        ("Boot", f"{order.boot.tag}, sole {order.boot.sole_words}"),
        ("Comes off", order.takes_off or "nothing"),
        ("Goes on", f"{order.pattern.binding_model}, {brake}"),
        ("Boot centre", f"{centre}; {_from_tail(order)}"),
    ]
    if order.jig is not None:
        facts.append(("Jig", order.jig))
    return filled(
        "order.html",
        order=order,
        drill=_drill(order.drill) if any(ski.drilled for ski in order.skis) else "",
        facts=facts,
        skis=[(ski, _sides(ski), _picture(order, ski)) for ski in order.skis],
        both=tuple(Side),
    )


def missing_article(fault: Fault) -> Markup:
    """Return the article that replaces an order that could not be drawn: its pair, and the reason."""
    return filled("missing.html", fault=fault)


def _drill(drill: DrillFact) -> str:
    if drill.diameter_um is None or drill.depth_um is None:
        return "read the ski"
    tap = ", tap" if drill.tap else ""
    return f"Ø {mm_text(drill.diameter_um)} × {mm_text(drill.depth_um)} mm{tap}"


def _from_tail(order: WorkOrderSheet) -> str:
    tails = [ski.centre_from_tail_um for ski in order.skis]
    where = ["unknown, measure" if um is None else f"{length_text(um)} mm" for um in tails]
    return f"from the tail {_by_ski(order, where)}"


def _by_ski(order: WorkOrderSheet, where: Sequence[str]) -> str:
    """The words once where both skis agree, else for each ski."""
    if len(set(where)) == 1:
        return where[0]
    return ", ".join(f"{_sides(ski)} {said}" for ski, said in zip(order.skis, where, strict=True))


def _sides(ski: SkiFact) -> str:
    return "both skis" if len(ski.sides) > 1 else f"ski {ski.sides[0].value}"


def _picture(order: WorkOrderSheet, ski: SkiFact) -> Markup:
    width, height = _PICTURE_MM
    drawing = Drawing()
    SkiPicture(
        drawing, ski, waist_um=order.pair.waist_um, left=1.0, top=1.0, width=width - 2, height=height - 2
    ).draw()
    label = (
        f"{order.pair.tag}, {_sides(ski)}, seen from above, tip at the top: "
        f"{len(ski.drilled)} holes to drill, {len(ski.reused)} to reuse, {len(ski.plugs)} to plug. "
        "The table beside it has the numbers."
    )
    return Markup(svg_of(Page(width, height, tuple(drawing.shapes)), label=label))


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
