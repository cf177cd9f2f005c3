"""The work order: one page a pair, to be read at arm's length; a page for each ski where the skis differ.

Its order is the order of the bench: which pair, what happens, the act that cannot be undone, where on the
ski, the steps, the names. Each cross line on the ski leads to the rows of its holes. Where their boxes would
be too small for a pen, the steps have a page of their own.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import groupby
from typing import Self

from fleet.base.errors import BadInput
from fleet.base.units import across_text, half_mm_down, length_text, mm_text, to_half_mm, toward
from fleet.facts.holes import Hole, HoleState, Side
from fleet.facts.pairs import brake_text, planned_brake_text
from planner.paper import cautions
from planner.paper.shapes import (
    BIG,
    GARNET,
    INK,
    LABEL,
    LOUD,
    PINE,
    READ,
    RULE,
    SMALL,
    SOFT,
    TITLE,
    WHITE,
    Anchor,
    Drawing,
    Face,
    Page,
    fitted,
    shortened,
    size_that_fits,
    stacked,
    width_mm,
    wrapped,
)
from planner.paper.sheet_frame import (
    MARGIN,
    Anchors,
    FramedSheet,
    Paper,
    answer_box,
    box_label,
    note_lines,
    paper_named,
    pdf_of,
    sheet_code,
    standing_cautions,
    tag_head,
)
from planner.paper.ski_facts import ScrewFact, SkiFact
from planner.paper.ski_picture import SkiPicture, old_hole_sign, screw_sign
from planner.paper.work_order_facts import WorkOrderSheet
from planner.paper.work_order_steps import OrderStep
from planner.plan.values import Rung

_ROW = 8.5
"""The least row whose box a pen fits into: 8 mm of it are the box."""
_WIDE_ROW = 11.0
_LEAST_SCALE = 0.3
"""In a picture with less of a millimetre to one of the ski, words lie on each other."""
_LEAD = 9
_DETAIL = 7.8
_DETAIL_LEADING = 3.0
_STOP_LEADING = 4.1
_ANSWERS = 2 * 19.0 + 1.5
_SIGN_ROW = {Paper.A4: 14.0, Paper.LETTER: 13.2}
_PICTURE_WIDTH = 57.0
_FOUND_W = 15.0
_TABLE_HEAD = 6.5
_LEGEND = 7.0
_STEPS_HEAD = 7.5


def work_order_pdf(sheets: Sequence[WorkOrderSheet], paper: str = "A4") -> bytes:
    """Return all sheets as one PDF, in the order given. Raises BadInput for no sheets or an unknown paper."""
    if not sheets:
        raise BadInput("there is no work order to print", cure="issue orders first, or plan again")
    pages = (page for sheet in sheets for page in work_order_pages(sheet, paper_named(paper)))
    title = "Work orders" if len(sheets) > 1 else f"Work order {sheets[0].number or sheets[0].pair.tag}"
    return pdf_of(pages, title=title)


def work_order_pages(order: WorkOrderSheet, paper: Paper) -> Iterator[Page]:
    """Yield the page of this order, or its pages."""
    pages = zip(order.skis, order.page_steps, strict=True)
    leaves = [leaf for ski, steps in pages for leaf in _leaves(order, ski, steps, paper)]
    for number, leaf in enumerate(leaves, start=1):
        leaf.finish(order_anchors(order), _notes(order), number, len(leaves))
        yield leaf.page(leaf.width, leaf.height)


def _leaves(
    order: WorkOrderSheet, ski: SkiFact, told: Sequence[OrderStep], paper: Paper
) -> list[FramedSheet]:
    """Draw what is done on these skis: on one page, or holes and steps on a page each."""
    sheet = _leaf(order, paper)
    y = _head(sheet, order, ski, sheet.top)
    y = note_lines(
        sheet, [*filter(None, [order.stands, order.notes])], y, small=[*filter(None, [order.kinds])]
    )
    y = _act(sheet, order, ski, y + 2.5) + 3.0
    steps = [_StepRow.of(sheet, step, ski.sides) for step in told]
    ends = sheet.bottom - _SIGN_ROW[paper] - 3
    rows = sum(len(lines) for _, lines in _stations(ski))
    steps_top = ends - sum(step.height for step in steps)
    where_ends = steps_top - _STEPS_HEAD
    height = where_ends - y - _LEGEND
    one = height >= _TABLE_HEAD + _ROW * rows and _readable(order, ski, height)
    _where(sheet, order, ski, y, where_ends if one else sheet.bottom - 7.0)
    if one:
        leaves = [sheet]
    else:
        goes_on = "Steps, and who signs: next page"
        sheet.words(sheet.right, sheet.bottom - 2.0, goes_on, size=READ, face=Face.BOLD, anchor=Anchor.END)
        leaves = [sheet, sheet := _leaf(order, paper)]
        steps = [replace(step, height=max(step.height, _WIDE_ROW)) for step in steps]
        steps_top = _head(sheet, order, ski, sheet.top) + _STEPS_HEAD
    _steps(sheet, ski, steps_top, steps)
    _signatures(sheet, order, sheet.bottom - _SIGN_ROW[paper], _SIGN_ROW[paper])
    return leaves


def _picture(sheet: Drawing, order: WorkOrderSheet, ski: SkiFact, y: float, height: float) -> SkiPicture:
    return SkiPicture(
        sheet, ski, waist_um=order.pair.waist_um, left=MARGIN, top=y, width=_PICTURE_WIDTH, height=height
    )


def _readable(order: WorkOrderSheet, ski: SkiFact, height: float) -> bool:
    return _picture(Drawing(), order, ski, 0.0, height).scale >= _LEAST_SCALE


def _leaf(order: WorkOrderSheet, paper: Paper) -> FramedSheet:
    """A sheet whose foot is kept free."""
    sheet = FramedSheet(paper, proposal=order.proposal)
    sheet.keep_foot(_notes(order))
    return sheet


def order_anchors(order: WorkOrderSheet, *, name: str = "") -> Anchors:
    """Return the foot of an order's page; ``name`` where the page is of several orders."""
    holds = "" if order.number is None else HOLDS_UNTIL
    return replace(order.anchors, name=name or order.anchors.name, holds=holds)


HOLDS_UNTIL = "something new is entered about the pair or its binding: then it is refused"
_STANDINGS = (("common practice", "c"), ("our default", "d"), ("from memory", "m"), ("not set", "n"))
_MARKS = {
    "c": "common practice, no source",
    "d": "our default, no source",
    "m": "from memory",
    "n": "not set",
    "s": "the shop's own",
}
"""The marks in brackets behind the rules of the shop, and what each says."""


def _notes(order: WorkOrderSheet) -> list[str]:
    used = []
    for setting in order.policy:
        standing = next((mark for start, mark in _STANDINGS if setting.origin.startswith(start)), "s")
        name = setting.name.removesuffix("_mm").removesuffix("_hours").replace("_", " ")
        unit = setting.unit if setting.unit not in ("text", "adhesive") else ""
        used.append(
            f"{name} {setting.value or 'not set'}{' ' + unit if unit and setting.value else ''} ({standing})"
        )
    marks = "; ".join(f"{mark}: {says}" for mark, says in _MARKS.items() if f"({mark})" in " ".join(used))
    policy = f"Policy used: {' · '.join(used)}. {marks}."
    return [f"{standing_cautions()} {cautions.SPACING}", policy]


def _head(sheet: FramedSheet, order: WorkOrderSheet, ski: SkiFact, y: float) -> float:
    pair = order.pair
    code = sheet_code(order.number, order.revision, pair.tag, "".join(ski.sides))
    x = sheet.left + 20.5
    facts = " · ".join(
        part
        for part in (
            f"{mm_text(pair.length_mm * 100)} cm",
            f"waist {mm_text(pair.waist_um)} mm" if pair.waist_um is not None else "waist not known",
            f"rack {pair.rack}" if pair.rack else "",
        )
        if part
    )
    needed = f"needed by {order.needed_by}" if order.needed_by else f"wish {order.planned.wish}"
    needed += f" · about {order.planned.way.minutes} min"
    room = sheet.room - 20.5 - max(width_mm(needed, Face.SANS, 9.5) + 4, 62)
    model_room = room - width_mm(f"  {facts}", Face.SANS, READ)
    model = shortened(pair.model, Face.BOLD, READ, max(model_room, 25))
    shift = width_mm(model + "  ", Face.BOLD, READ)
    sheet.words(x, y + 16.6, model, size=READ, face=Face.BOLD)
    facts = shortened(facts, Face.SANS, READ, room - shift)
    sheet.words(x + shift, y + 16.6, facts, size=READ)
    title = "WORK ORDER" if len(order.skis) == 1 else f"WORK ORDER, SKI {ski.sides[0]}"
    number = f"{order.number}  rev {order.revision}" if order.number else "no number: not issued"
    right = (
        (6.3, title, TITLE, Face.BOLD, INK),
        (11.8, number, 12.0, Face.MONO_BOLD, INK),
        (16.6, needed, 9.5, Face.SANS, SOFT),
    )
    return tag_head(sheet, code, pair.tag, room=sheet.room - 20.5 - 72, right=right)


def _act(sheet: FramedSheet, order: WorkOrderSheet, ski: SkiFact, y: float) -> float:
    h = 24.0
    loud = 67.0
    split = sheet.right - loud
    _binding_words(sheet, order, sheet.left, y, 66.0)
    _boot_words(sheet, order, ski, sheet.left + 70, y, split - sheet.left - 72)
    _loud_box(sheet, order, ski, split, y, loud, h)
    return y + h


def _binding_words(sheet: FramedSheet, order: WorkOrderSheet, x: float, y: float, w: float) -> None:
    if order.takes_off:
        box_label(sheet, x, y + 2.4, "take off")
        old = shortened(order.takes_off, Face.SANS, READ, w)
        sheet.words(x, y + 7.4, old, size=READ, fill=SOFT)
        if order.takes_off_brake_um is not None:
            text = brake_text(order.takes_off_brake_um, unit="")
            sheet.words(x + width_mm(old + "  ", Face.SANS, READ), y + 7.4, text, size=LABEL, fill=SOFT)
        top = y + 9.0
    else:
        top = y + 2.0
    box_label(sheet, x, top + 2.2, "mount" if order.rung.rank > 1 else "binding stays on")
    fitted(
        sheet,
        x,
        top + 7.9,
        order.pattern.binding_model,
        size=BIG,
        room=w,
        least=READ,
        face=Face.BOLD,
        cut=True,
    )
    brake = planned_brake_text(order.planned.brake_um)
    if order.planned.binding_from == "stock":
        brake = f"from stock · {brake}"
    elif order.planned.binding_from != "own":
        brake = f"TAKE IT OFF {order.planned.binding_from} · {brake}"
    pattern = f"pattern {order.pattern.name}" + (f" · {order.room}" if order.room else "")
    for line, text in enumerate((brake, pattern)):
        fitted(sheet, x, top + 11.9 + 3.8 * line, text, size=9.5, room=w, least=8, cut=True)


def _boot_words(
    sheet: FramedSheet, order: WorkOrderSheet, ski: SkiFact, x: float, y: float, w: float
) -> None:
    box_label(sheet, x, y + 2.4, f"boot {order.boot.tag}, sole", room=w)
    number, _, counts = order.boot.sole_words.partition(" mm")
    counts = counts.removeprefix(", ")
    sheet.words(x, y + 11.2, number, size=LOUD - 3, face=Face.BOLD)
    shift = width_mm(number, Face.BOLD, LOUD - 3) + 1.5
    sheet.words(x + shift, y + 11.2, "mm", size=READ, face=Face.BOLD)
    if counts:
        shift += width_mm("mm  ", Face.BOLD, READ)
        sheet.words(x + shift, y + 11.2, counts, size=LABEL, face=Face.BOLD)
    box_label(sheet, x, y + 15.4, "boot centre, from the mark")
    centre = toward(ski.centre_from_mark_um)
    fitted(sheet, x, y + 20.0, centre, size=12.0, room=w, least=9, face=Face.BOLD)
    if ski.centre_from_tail_um is not None:
        text = f"{length_text(ski.centre_from_tail_um)} mm from the tail"
    else:
        step = ", see step 1" if order.rung.rank > Rung.ADJUST.rank else ""
        text = f"from the tail: not known{step}"
    sheet.words(x, y + 23.7, text, size=9 if ski.centre_from_tail_um is not None else 8, fill=INK)


def _loud_box(
    sheet: FramedSheet, order: WorkOrderSheet, ski: SkiFact, x: float, y: float, w: float, h: float
) -> None:
    if not order.drills:
        _quiet_box(sheet, order, x, y, w, h)
        return
    sheet.box(x, y, w, h, fill=GARNET, radius=2)
    inside = "core not known" if order.drill.tap is None else order.drill.construction
    tap = "" if order.drill.tap is None else " · TAP the thread" if order.drill.tap else " · no tap"
    known = order.drill.diameter_um is not None and order.drill.depth_um is not None
    title = f"DRILL · {inside}{tap}"
    sheet.words(x + 4, y + (5.0 if known else 4.0), title, size=9, face=Face.BOLD, fill=WHITE)
    if order.drill.diameter_um is not None and order.drill.depth_um is not None:
        size = f"Ø {half_or_exact(order.drill.diameter_um)} × {half_or_exact(order.drill.depth_um)}"
        points = size_that_fits(size + " mm", Face.BOLD, LOUD + 3, w - 10, least=18)
        sheet.words(x + 4, y + 16.0, size, size=points, face=Face.BOLD, fill=WHITE)
        shift = width_mm(size, Face.BOLD, points) + 2
        sheet.words(x + 4 + shift, y + 16.0, "mm", size=BIG, face=Face.BOLD, fill=WHITE)
    else:
        sheet.words(x + 4, y + 8.8, "READ THE SKI", size=12, face=Face.BOLD, fill=WHITE)
        for index, label in enumerate(("Ø mm", "depth mm", "thick mm")):
            left = x + 4 + index * 20.2
            sheet.box(left, y + 9.9, 18.6, 8.0, fill=WHITE, radius=0.6)
            sheet.words(left + 17.8, y + 17.1, label, size=SMALL, fill=SOFT, anchor=Anchor.END)
    who = "each ski" if len(ski.sides) == 2 else f"ski {ski.sides[0]}"
    counts = [(len(ski.drilled), "new"), (len(ski.reused), "reused"), (len(ski.plugs), "to plug")]
    text = f"{who}: " + ", ".join(f"{count} {what}" for count, what in counts if count)
    fitted(sheet, x + 4, y + h - 1.9, text, size=READ, room=w - 7, least=8, face=Face.BOLD, fill=WHITE)


def _quiet_box(sheet: FramedSheet, order: WorkOrderSheet, x: float, y: float, w: float, h: float) -> None:
    """Draw the box that replaces the loud box when nothing is drilled."""
    sheet.box(x, y, w, h, fill=WHITE, stroke=PINE, width=1.0, radius=2)
    words, note = {
        Rung.AS_IS: ("AS IT IS", "nothing is moved: look, and sign"),
        Rung.ADJUST: ("SLIDE ONLY", f"no screw moves: {set_words(order.pattern.travelling)}"),
    }.get(order.rung, ("NO DRILL", "every screw goes into an old hole"))
    sheet.words(x + 4, y + 13.0, words, size=LOUD, face=Face.BOLD, fill=PINE)
    fitted(sheet, x + 4, y + 20.0, note, size=READ, room=w - 8, least=8, face=Face.BOLD)


def set_words(pieces: Sequence[str]) -> str:
    """Return the work in words where no screw is touched: ``toe and heel are set``."""
    if not pieces:
        return "see its maker's sheet"
    return f"{' and '.join(pieces)} {'is' if len(pieces) == 1 else 'are'} set"


def half_or_exact(value_um: int) -> str:
    """Return a drill size as the trade writes it: always one decimal, two where it has them."""
    text = mm_text(value_um)
    return text if "." in text else f"{text}.0"


_Run = tuple[str, Face, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class _StepRow:
    """A step as it is printed for these skis: its lines, the lead first, and the height that they need."""

    step: OrderStep
    expected: str
    expects_size: float
    lines: tuple[tuple[_Run, ...], ...]
    height: float

    @classmethod
    def of(cls, sheet: FramedSheet, step: OrderStep, sides: tuple[Side, ...]) -> Self:
        """Break it into lines. A sentence that stops the work is as large as the lead."""
        room = sheet.room - _ANSWERS - 7.5 - 2.5
        expected = step.expected(sides)
        expects_size = size_that_fits(expected, Face.MONO_BOLD, READ, 42, least=7)
        beside = room - width_mm(expected, Face.MONO_BOLD, expects_size) - 3.5
        lead_size = size_that_fits(step.lead, Face.BOLD, READ, beside, least=_LEAD)
        leads = wrapped(step.lead, Face.BOLD, lead_size, beside)
        lines: list[list[_Run]] = [[(part, Face.BOLD, lead_size)] for part in leads]
        used = room
        for loud, sentences in groupby(re.split(r"(?<=[.]) (?=[A-Z])", step.detail), key=_stops):
            text, face = " ".join(sentences), Face.BOLD if loud else Face.SANS
            size = READ if loud else size_that_fits(text, face, _DETAIL, room, least=_DETAIL - 0.4)
            width = width_mm(text, face, size)
            if lines and used + 2.0 + width <= room:
                lines[-1].append((text, face, size))
                used += 2.0 + width
                continue
            for part in wrapped(text, face, size, room):
                lines.append([(part, face, size)])
                used = width_mm(part, face, size)
        needs = 3.7 + sum(map(_leading, lines[1:])) + (1.5 if step.stop else 1.0)
        return cls(
            step=step,
            expected=expected,
            expects_size=expects_size,
            lines=tuple(map(tuple, lines)),
            height=max(_ROW, needs),
        )


def _stops(sentence: str) -> bool:
    return "STOP" in sentence or "HOLD" in sentence


def _leading(line: Sequence[_Run]) -> float:
    return _STOP_LEADING if any(size >= _LEAD for *_, size in line) else _DETAIL_LEADING


def _steps(sheet: FramedSheet, ski: SkiFact, y: float, rows: Sequence[_StepRow]) -> None:
    box_w = 19.0 if len(ski.sides) == 2 else 39.0
    boxes = sheet.right - _ANSWERS
    sheet.line(sheet.left, y - 0.8, sheet.right, y - 0.8, stroke=INK, width=0.5)
    sheet.words(sheet.left, y - 2.2, "Steps: read, do, write the value", size=9.5, face=Face.BOLD)
    for index, side in enumerate(ski.sides):
        sheet.words(
            boxes + index * 20.5 + box_w / 2,
            y - 2.2,
            f"ski {side}",
            size=9.5,
            face=Face.BOLD,
            anchor=Anchor.MIDDLE,
        )
    sheet.words(boxes - 2.5, y - 2.2, "should be", size=LABEL, fill=SOFT, anchor=Anchor.END)
    for number, row in enumerate(rows, start=1):
        step, h = row.step, row.height
        if step.stop:
            sheet.box(
                sheet.left - 1.5, y + 0.2, boxes - sheet.left, h - 0.5, stroke=GARNET, width=0.6, radius=0.8
            )
        figure = 13.0 if number < 10 else 10.5
        sheet.words(sheet.left + 3.0, y + 4.9, str(number), size=figure, face=Face.BOLD, anchor=Anchor.MIDDLE)
        x = sheet.left + 7.5
        sheet.words(
            boxes - 2.5, y + 3.7, row.expected, size=row.expects_size, face=Face.MONO_BOLD, anchor=Anchor.END
        )
        base = y + 3.7 - _leading(row.lines[0])
        for line in row.lines:
            base += _leading(line)
            left = x
            for text, face, points in line:
                sheet.words(left, base, text, size=points, face=face)
                left += width_mm(text, face, points) + 2.0
        for index in range(len(ski.sides)):
            answer_box(sheet, boxes + index * 20.5, y + 0.2, box_w, h - 0.5, loud=step.stop)
        y += h


def _signatures(sheet: FramedSheet, order: WorkOrderSheet, y: float, h: float) -> None:
    cells = [("bench work by", "name, date, time", 26)]
    if order.glue:
        cells.append(("glue used:", "its name, or none", 15))
    if order.drills:
        cells.append(("seen BEFORE the first hole by", "another person: name, time", 27))
    cells += [
        ("checked AFTER the work by", "another person: name, time", 26),
        ("release test, if it has one", "qualified: who, device, result", 24),
    ]
    x = sheet.left
    for title, who, share in cells:
        w = sheet.room * share / sum(each for *_, each in cells)
        loud = "BEFORE" in title
        sheet.box(x, y, w, h, fill=WHITE, stroke=GARNET if loud else INK, width=0.8 if loud else 0.35)
        fitted(
            sheet, x + 1.8, y + 3.6, title, size=LABEL + 0.5, room=w - 2.4, least=SMALL, face=Face.BOLD,
            fill=GARNET if loud else INK,
        )  # fmt: skip
        sheet.words(x + 1.8, y + h - 1.6, who, size=SMALL, fill=SOFT)
        x += w


def _where(sheet: FramedSheet, order: WorkOrderSheet, ski: SkiFact, top: float, bottom: float) -> None:
    rows = sum(len(lines) for _, lines in _stations(ski))
    row = min(_WIDE_ROW, (bottom - _LEGEND - top - _TABLE_HEAD) / max(rows, 1))
    wanted = 110.0 if _readable(order, ski, 110.0) else 150.0
    height = min(bottom - _LEGEND - top, max(_TABLE_HEAD + row * rows, wanted))
    legend = top + height + 5.0
    picture = _picture(sheet, order, ski, top, height)
    table_x = sheet.left + _PICTURE_WIDTH + 7.0
    stations, head, stays = _stations(ski), _TABLE_HEAD, order.rung.rank <= Rung.ADJUST.rank
    columns = _table_head(sheet, ski, table_x, top, head)
    edge = picture.axis + picture.edge
    places = [picture.at(x_um, 0)[1] for x_um, _ in stations]
    heights = [row * len(lines) for _, lines in stations]
    tops = beside(places, heights, top + head, top + height)
    last = 0.0
    for (x_um, lines), ski_y, h, y in zip(stations, places, heights, tops, strict=True):
        sheet.poly(
            [(edge, ski_y), (edge + 2.6, ski_y), (table_x - 3.2, y + h / 2), (table_x - 1.2, y + h / 2)],
            stroke=INK, width=0.25, closed=False,
        )  # fmt: skip
        sheet.disc(edge, ski_y, 0.55, fill=INK)
        if y > last + 0.3 and last:
            sheet.line(table_x, y, sheet.right, y, stroke=SOFT, width=0.3)
        _station_rows(sheet, ski, x_um, lines, table_x, y, row, columns, stays=stays)
        last = y + h
    picture.draw()
    _legend(sheet, ski, legend, stays=stays)


def beside(places: Sequence[float], heights: Sequence[float], top: float, bottom: float) -> list[float]:
    """Return the tops of blocks, each as near beside its place as order and room allow (no overlap)."""
    tops: list[float] = []
    y = top
    for place, height in zip(places, heights, strict=True):
        y = max(y, place - height / 2)
        tops.append(y)
        y += height
    limit = bottom
    for index in range(len(tops) - 1, -1, -1):
        tops[index] = min(tops[index], limit - heights[index])
        limit = tops[index]
    return tops


_Line = ScrewFact | tuple[Hole, ...]


def _stations(ski: SkiFact) -> list[tuple[int, list[_Line]]]:
    """Return the work at each place along the ski (to 0.5 mm), tip first, left before right.

    A screw has a line of its own; the holes plugged at one place share one.
    """
    todo: list[ScrewFact | Hole] = [*ski.screws, *ski.plugs]
    todo.sort(key=lambda hole: (-to_half_mm(hole.x_um), hole.y_um))
    stations: list[tuple[int, list[_Line]]] = []
    for x_um, group in groupby(todo, key=lambda hole: to_half_mm(hole.x_um)):
        holes = list(group)
        lines: list[_Line] = [hole for hole in holes if isinstance(hole, ScrewFact)]
        plugs = tuple(hole for hole in holes if isinstance(hole, Hole))
        stations.append((x_um, [*lines, plugs] if plugs else lines))
    return stations


def _table_head(sheet: FramedSheet, ski: SkiFact, x: float, y: float, h: float) -> tuple[float, ...]:
    """Column heads; the x of: screw, do, across, nearest, first box; then the width of a box."""
    box_w = _FOUND_W if len(ski.sides) == 2 else 2 * _FOUND_W
    boxes = sheet.right - 2 * _FOUND_W
    columns = (x + 37.0, x + 41.2, x + 57.5, boxes - 1.5)
    for text, at in (("along the ski, from the mark, mm", x), ("across", columns[2])):
        sheet.words(at, y + 4.2, text, size=LABEL, fill=SOFT)
    told = ["nearest hole"] * bool(ski.drilled) + ["old hole is"] * bool(ski.reused or ski.plugs)
    for index, text in enumerate(told):
        base = y + (2.0 if len(told) > 1 else 4.2) + 3.0 * index
        sheet.words(columns[3], base, text, size=LABEL, fill=SOFT, anchor=Anchor.END)
    for index, side in enumerate(ski.sides):
        middle = boxes + index * _FOUND_W + box_w / 2
        stacked(
            sheet,
            middle,
            y,
            (
                (2.0, f"ski {side}", LABEL, Face.BOLD, INK),
                (5.0, "as drilled" if ski.drilled else "as found", SMALL, Face.SANS, SOFT),
            ),
            anchor=Anchor.MIDDLE,
        )
    sheet.line(x, y + h - 0.4, sheet.right, y + h - 0.4, stroke=INK, width=0.5)
    return (*columns, boxes, box_w)


def _station_rows(
    sheet: FramedSheet,
    ski: SkiFact,
    x_um: int,
    lines: list[_Line],
    x: float,
    y: float,
    row: float,
    columns: tuple[float, ...],
    *,
    stays: bool,
) -> None:
    do_x, boxes, box_w = columns[1], columns[4], columns[5]
    h = row * len(lines)
    _station_place(sheet, ski, x_um, x, y + h / 2, min(14.5, row * 2.2))
    for index, line in enumerate(lines):
        top = y + row * index
        if isinstance(line, ScrewFact):
            _screw_line(sheet, line, top + row / 2, columns, row, stays=stays)
        else:
            _plug_line(sheet, line, top + row / 2, columns, row)
        for box in range(len(ski.sides)):
            answer_box(sheet, boxes + box * _FOUND_W + 0.5, top + 0.2, box_w - 1.0, row - 0.5)
        if index:
            sheet.line(do_x - 0.5, top, boxes - 1, top, stroke=RULE, width=0.2)
    sheet.line(x, y + h, sheet.right, y + h, stroke=SOFT, width=0.3)


def _station_place(sheet: FramedSheet, ski: SkiFact, x_um: int, x: float, middle: float, size: float) -> None:
    """Draw the distance and direction from the mark, and from the tail where that is known."""
    sheet.words(x, middle + size * 0.13, length_text(abs(x_um)), size=size, face=Face.MONO_BOLD)
    shift = width_mm("000.0", Face.MONO_BOLD, size) + 1.3
    way = "on the mark" if x_um == 0 else f"toward {'TIP' if x_um > 0 else 'TAIL'}"
    tail = ski.mark_from_tail_um
    sheet.words(x + shift, middle + (1.0 if tail is None else -0.1), way, size=LABEL, face=Face.BOLD)
    if tail is not None:
        text = f"{length_text(tail + x_um)} from tail"
        sheet.words(x + shift, middle + 2.5, text, size=SMALL, fill=SOFT)


def _screw_line(
    sheet: FramedSheet, screw: ScrewFact, y: float, columns: tuple[float, ...], row: float, *, stays: bool
) -> None:
    screw_x, do_x, across_x, nearest_x, *_ = columns
    size, base = min(READ, row * 1.75), y + 1.35
    screw_sign(sheet, screw_x, y, screw.do, screw.label, scale=min(1.0, row / 6.2))
    drill = screw.do == "drill"
    sheet.words(
        do_x, base, "stays" if stays else screw.do, size=size, face=Face.BOLD, fill=GARNET if drill else PINE
    )
    sheet.words(across_x, base, across_text(to_half_mm(screw.y_um) if drill else screw.y_um), size=size)
    if drill and screw.nearest_um is not None:
        text = f"{half_mm_down(screw.nearest_um)} to {screw.nearest_label}"
        sheet.words(nearest_x, base, text, size=min(9.0, size), anchor=Anchor.END)
    elif screw.old is not None:
        state = "own screw" if screw.old.state is HoleState.INSERT else screw.old.state.value
        sheet.words(nearest_x, base, state, size=min(9.0, size), fill=SOFT, anchor=Anchor.END)


def _plug_line(
    sheet: FramedSheet, holes: tuple[Hole, ...], y: float, columns: tuple[float, ...], row: float
) -> None:
    screw_x, do_x, across_x, nearest_x, *_ = columns
    size, base = min(READ, row * 1.75), y + 1.35
    old_hole_sign(sheet, screw_x, y, holes[0].state, plug=True, r=min(1.55, row / 4))
    names = f"plug {' '.join(hole.label for hole in holes)}"
    fitted(sheet, do_x, base, names, size=size, room=across_x - do_x - 2, least=SMALL, face=Face.BOLD)
    ys = [hole.y_um for hole in holes]
    where = (
        f"{length_text(abs(ys[0]))} each side"
        if len(ys) == 2 and ys[0] == -ys[1]
        else ", ".join(across_text(y_um) for y_um in ys)
    )
    states = ", ".join(dict.fromkeys(hole.state.value for hole in holes))
    room = nearest_x - across_x - width_mm(states, Face.SANS, 8) - 1
    apart = 0.0
    if width_mm(where, Face.SANS, 7) > room:  # a line each
        room, apart = nearest_x - across_x, row / 5
    fitted(sheet, across_x, base - apart, where, size=size, room=room, least=SMALL)
    sheet.words(nearest_x, base + apart, states, size=8, fill=SOFT, anchor=Anchor.END)


def _legend(sheet: FramedSheet, ski: SkiFact, y: float, *, stays: bool) -> None:
    """Only the signs that this picture uses, in one line under it."""
    x, plugs = sheet.left + 1.5, {hole.state for hole in ski.plugs}
    stay = {hole.state for hole in ski.old_holes if hole not in ski.plugs}
    screw, hole = partial(screw_sign, sheet, y=y, label=""), partial(old_hole_sign, sheet, y=y)
    signs: list[tuple[bool, Callable[[float], None], str, float]] = [
        (bool(ski.drilled), partial(screw, do="drill"), "drill", 4.2),
        (bool(ski.reused), partial(screw, do="reuse"), "stays" if stays else "reuse", 4.2),
        (bool(plugs), partial(hole, state=HoleState.OPEN, plug=True), "plug today", 3.6),
        (
            HoleState.STRIPPED in plugs,
            partial(hole, state=HoleState.STRIPPED, plug=True),
            "plug today, stripped",
            4.2,
        ),
        *((state in stay, partial(hole, state=state), state.value, 3.4) for state in HoleState),
        (bool(ski.not_inspected), partial(_hatch_sign, sheet, y), "edge hatched: not inspected", 4.4),
    ]
    for shown, sign, text, advance in signs:
        if shown:
            sign(x + 0.8)
            sheet.words(x + advance, y + 0.9, text, size=LABEL, fill=INK)
            x += advance + width_mm(text, Face.SANS, LABEL) + 4.5


def _hatch_sign(sheet: FramedSheet, y: float, x: float) -> None:
    for left in (x - 1.6, x - 0.5, x + 0.6):
        sheet.line(left, y + 1.2, left + 1.6, y - 1.2, stroke=SOFT, width=0.22)
