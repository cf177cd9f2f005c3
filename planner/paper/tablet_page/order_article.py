"""One order on the tablet page: large tag, the irreversible act alone, drawing, holes, steps."""

from __future__ import annotations

from collections.abc import Iterator

from fleet.base.units import half_mm_text, mm_text, toward, toward_tenth
from fleet.facts.holes import Side
from planner.paper.shapes import Drawing, Page
from planner.paper.ski_facts import SkiFact
from planner.paper.ski_picture import SkiPicture, nearest_text
from planner.paper.svg_writer import svg_of
from planner.paper.tablet_page.html import Row, element, table, text
from planner.paper.work_order_facts import WorkOrderSheet
from planner.paper.work_order_steps import DrillFact
from planner.plan.fault_isolation import Fault

_PICTURE_MM = (96.0, 190.0)


def article_id(tag: str) -> str:
    """The anchor of a pair's order: letters and digits only."""
    return "order-" + "".join(c if c.isascii() and c.isalnum() else f"_{ord(c):x}_" for c in tag)


def order_article(order: WorkOrderSheet) -> str:
    """The order as an article; its heading is the pair's tag."""
    pair, name = order.pair, article_id(order.pair.tag)
    head = element(
        "header",
        element(
            "h3",
            element("span", text(pair.tag), class_="tag"),
            element("span", text(f"{order.rung.value} · {order.minutes} min"), class_="way"),
            id_=f"{name}-head",
        ),
        element("p", "PROPOSAL, not issued: nothing may be drilled from this order", class_="mark"),
        element(
            "p",
            text(f"{pair.model} · {pair.length_mm // 10} cm · rack {pair.rack} · wish {order.wish}"),
            class_="what",
        ),
    )
    skis = "".join(
        element("h4", text(_heading(ski)))
        + element("div", _figure(order, ski), element("div", _holes(ski), _plugs(ski)), class_="bench")
        for ski in order.skis
    )
    steps = element(
        "ol",
        *(
            element(
                "li",
                element("strong", text(step.lead)),
                " ",
                text(step.detail),
                element("span", text(step.expected(tuple(Side))), class_="expects"),
                class_="stop" if step.stop else None,
            )
            for step in order.steps
        ),
        class_="steps",
    )
    return element(
        "article",
        head,
        _boxes(order),
        skis,
        element("h4", "Steps"),
        steps,
        element(
            "p",
            element("button", "Print this order", type="button", class_="print", data_print=name),
            " ",
            element("a", "Back to the list", href="#sets"),
            class_="tools",
        ),
        id_=name,
        aria_labelledby=f"{name}-head",
        data_tag=pair.tag,
    )


def missing_article(fault: Fault) -> str:
    """Return the article that replaces an order that could not be drawn: its pair, and the reason."""
    name = article_id(fault.name)
    head = element("h3", element("span", text(fault.name), class_="tag"), id_=f"{name}-head")
    why = element("p", text(f"This order could not be drawn: {fault.reason}"), class_="mark")
    return element("article", head, why, id_=name, aria_labelledby=f"{name}-head", data_tag=fault.name)


def _boxes(order: WorkOrderSheet) -> str:
    brake = "no brake" if order.brake_um is None else f"brake {mm_text(order.brake_um)} mm"
    facts = [
        ("Boot", f"{order.boot.tag}, sole {order.boot.sole_words}"),
        ("Comes off", order.takes_off or "nothing"),
        ("Goes on", f"{order.mounts}, {brake}"),
        ("Boot centre", f"{_from_mark(order)}; {_from_tail(order)}"),
    ]
    if order.jig is not None:
        facts.append(("Jig", order.jig))
    said = "".join(
        element("div", element("dt", text(name)), element("dd", text(value))) for name, value in facts
    )
    drilled = sum(len(ski.drilled) for ski in order.skis)
    loud = (
        element("div", element("dt", "DRILL"), element("dd", text(_drill(order.drill))), class_="loud")
        if drilled
        else element("div", element("dt", "DRILL"), element("dd", "no new hole"), class_="calm")
    )
    return element("dl", loud, said, class_="facts")


def _drill(drill: DrillFact) -> str:
    if drill.diameter_um is None or drill.depth_um is None:
        return "read the ski"
    tap = ", tap" if drill.tap else ""
    return f"Ø {mm_text(drill.diameter_um)} × {mm_text(drill.depth_um)} mm{tap}"


def _from_mark(order: WorkOrderSheet) -> str:
    where = [toward_tenth(ski.centre_from_mark_um) for ski in order.skis]
    if len(set(where)) == 1:
        return where[0]
    return ", ".join(f"{_sides(ski)} {said}" for ski, said in zip(order.skis, where, strict=True))


def _from_tail(order: WorkOrderSheet) -> str:
    where = [
        "unknown, measure"
        if ski.centre_from_tail_um is None
        else f"{half_mm_text(ski.centre_from_tail_um)} mm"
        for ski in order.skis
    ]
    if len(set(where)) == 1:
        return f"from the tail {where[0]}"
    return "from the tail " + ", ".join(
        f"{_sides(ski)} {said}" for ski, said in zip(order.skis, where, strict=True)
    )


def _sides(ski: SkiFact) -> str:
    return "both skis" if len(ski.sides) > 1 else f"ski {ski.sides[0].value}"


def _heading(ski: SkiFact) -> str:
    return "Both skis" if len(ski.sides) > 1 else f"Ski {ski.sides[0].value}"


def _figure(order: WorkOrderSheet, ski: SkiFact) -> str:
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
    svg = svg_of(Page(width, height, tuple(drawing.shapes)), label=label)
    caption = element(
        "figcaption", text(f"{_sides(ski)}, tip at the top. Not to scale: never measure from this page.")
    )
    return element("figure", svg, caption)


def _holes(ski: SkiFact) -> str:
    def rows() -> Iterator[Row]:
        for screw in ski.screws:
            size = "read the ski" if screw.diameter_um is None else mm_text(screw.diameter_um)
            near = (
                ""
                if screw.nearest_um is None
                else f"{nearest_text(screw.nearest_um)} to {screw.nearest_label}"
            )
            yield (
                [
                    text(screw.label),
                    element("strong", text(screw.do)),
                    text(screw.piece.upper()),
                    text(_along(screw.x_um)),
                    text(_across(screw.y_um)),
                    text(size),
                    text(near),
                ],
                {"class_": screw.do},
            )

    heads = ("hole", "do", "piece", "from the mark", "from the centre line", "Ø, mm", "nearest hole, mm")
    return table(f"Screws, {_sides(ski)}, in the order of tightening", heads, rows())


def _plugs(ski: SkiFact) -> str:
    if not ski.plugs:
        return ""
    rows: Iterator[Row] = (
        ([text(hole.label), text(hole.state.value), text(_along(hole.x_um)), text(_across(hole.y_um))], {})
        for hole in ski.plugs
    )
    return table(f"To plug, {_sides(ski)}", ("hole", "is", "from the mark", "from the centre line"), rows)


def _along(x_um: int) -> str:
    return toward(x_um)


def _across(y_um: int) -> str:
    value = half_mm_text(abs(y_um))
    return "on it" if value == "0.0" else f"{value} mm {'right' if y_um > 0 else 'left'}"
