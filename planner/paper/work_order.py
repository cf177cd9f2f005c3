"""The work order: one page a pair, to be read at arm's length; a page for each ski where the skis differ.

Its order is the order of the bench: which pair, what happens, the act that cannot be undone, where on the
ski (`planner.paper.work_order_holes`), the steps, the names. Where the boxes would be too small for a pen,
the steps have a page of their own.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Self

from fleet.base.errors import BadInput
from fleet.base.units import length_text, mm_text, toward
from fleet.facts.holes import Side
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
    SMALL,
    SOFT,
    TITLE,
    WHITE,
    Anchor,
    Face,
    Page,
    fitted,
    shortened,
    size_that_fits,
    width_mm,
    wrapped,
)
from planner.paper.sheet_frame import (
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
from planner.paper.ski_facts import SkiFact
from planner.paper.work_order_facts import WorkOrderSheet
from planner.paper.work_order_holes import LEAST_ROW, WIDE_ROW, draw_where, where_fits
from planner.paper.work_order_steps import OrderStep
from planner.plan.values import Rung

_LEAD = 9
_DETAIL = 7.8
_DETAIL_LEADING = 3.0
_STOP_LEADING = 4.1
_ANSWERS = 2 * 19.0 + 1.5
_SIGN_ROW = {Paper.A4: 14.0, Paper.LETTER: 13.2}
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
    steps_top = ends - sum(step.height for step in steps)
    where_ends = steps_top - _STEPS_HEAD
    one = where_fits(order, ski, where_ends - y)
    draw_where(sheet, order, ski, y, where_ends if one else sheet.bottom - 7.0)
    if one:
        leaves = [sheet]
    else:
        goes_on = "Steps, and who signs: next page"
        sheet.words(sheet.right, sheet.bottom - 2.0, goes_on, size=READ, face=Face.BOLD, anchor=Anchor.END)
        leaves = [sheet, sheet := _leaf(order, paper)]
        steps = [replace(step, height=max(step.height, WIDE_ROW)) for step in steps]
        steps_top = _head(sheet, order, ski, sheet.top) + _STEPS_HEAD
    _steps(sheet, ski, steps_top, steps)
    _signatures(sheet, order, sheet.bottom - _SIGN_ROW[paper], _SIGN_ROW[paper])
    return leaves


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
            height=max(LEAST_ROW, needs),
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
