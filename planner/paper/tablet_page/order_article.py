"""One order on the tablet page: large tag, the irreversible act alone, drawing, holes, steps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from markupsafe import Markup

from fleet.base.units import length_text, mm_text, toward
from fleet.facts.holes import Side
from fleet.facts.pairs import planned_brake_text
from planner.paper.shapes import Drawing, Page
from planner.paper.ski_facts import SkiFact
from planner.paper.ski_picture import SkiPicture
from planner.paper.svg_writer import svg_of
from planner.paper.tablet_page.templates import filled
from planner.paper.work_order_facts import WorkOrderSheet
from planner.paper.work_order_steps import DrillFact
from planner.plan.fault_isolation import Fault, all_but_faulty

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
    brake = planned_brake_text(order.brake_um)
    centre = _by_ski(order, [toward(ski.centre_from_mark_um) for ski in order.skis])
    facts = [
        ("Boot", f"{order.boot.tag}, sole {order.boot.sole_words}"),
        ("Comes off", order.takes_off or "nothing"),
        ("Goes on", f"{order.mounts}, {brake}"),
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
