"""Adjustments as tick lists, ten to a page: pairs on which no screw is touched, and their pieces' places.

A tick list in place of a page each. It says of every piece what the work order of that pair would say.
"""

from collections.abc import Iterator, Sequence
from itertools import accumulate, chain
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.units import counted
from planner.paper.pdf_writer import pdf_of
from planner.paper.shapes import INK, LABEL, READ, RULE, SMALL, SOFT, TITLE, WHITE, Anchor, Face, Page
from planner.paper.sheet_frame import (
    FramedSheet,
    Paper,
    framed,
    paper_named,
    qr_code,
    sheet_code,
    standing_cautions,
    tag_drop,
    tag_words,
)
from planner.paper.typeface import fitted, wrapped
from planner.paper.work_order import order_anchors, work_order_pages
from planner.paper.work_order_facts import WorkOrderSheet
from planner.paper.work_order_steps import OrderStep
from planner.plan.plan_words import NOT_KNOWN
from planner.plan.values import Rung

TO_A_PAGE: Final = 10
_HEAD: Final = 32.0
_NAMES: Final = 62.0
_BOXES: Final = (("done", 11.0), ("by", 15.0), ("checked by", 17.0))


def orders_pdf(sheets: Sequence[WorkOrderSheet], paper: str | Paper = "A4") -> bytes:
    """Return a PDF: adjustments as tick lists, then every other order on its page. Raises BadInput for no
    sheets.
    """
    if not sheets:
        raise BadInput("there is no work order to print", cure="issue orders first, or plan again")
    size = paper if isinstance(paper, Paper) else paper_named(paper)
    lists = [sheet for sheet in sheets if sheet.rung is Rung.ADJUST]
    own = [sheet for sheet in sheets if sheet.rung is not Rung.ADJUST]
    pages = (page for sheet in own for page in work_order_pages(sheet, size))
    return pdf_of(chain(adjust_pages(lists, size), pages), title="Work orders")


def adjust_pages(orders: Sequence[WorkOrderSheet], paper: Paper) -> Iterator[Page]:
    """The tick lists of these orders, in their order."""
    parts = [orders[start : start + TO_A_PAGE] for start in range(0, len(orders), TO_A_PAGE)]
    for number, part in enumerate(parts, start=1):
        names = [order.number or order.pair.tag for order in part]
        anchors = order_anchors(part[0], name=f"adjustments {names[0]} to {names[-1]}")
        cautions, proposal = [standing_cautions()], part[0].proposal
        sheet = framed(paper, anchors, cautions, number, len(parts), proposal=proposal)
        _head(sheet, part)
        top = sheet.top + _HEAD
        height = (sheet.bottom - 1.0 - top) / TO_A_PAGE
        for index, order in enumerate(part):
            _row(sheet, order, top + index * height, height)
        yield sheet.page(sheet.width, sheet.height)


def _head(sheet: FramedSheet, part: Sequence[WorkOrderSheet]) -> None:
    y = sheet.top
    sheet.words(sheet.left, y + 8.2, "Adjustments: no screw is touched", size=TITLE + 4, face=Face.BOLD)
    pairs = counted(len(part), "pair")
    sheet.words(sheet.right, y + 8.2, pairs, size=TITLE, face=Face.BOLD, anchor=Anchor.END)
    sheet.line(sheet.left, y + 11.0, sheet.right, y + 11.0, stroke=INK, width=0.9)
    for at, text in (
        (
            16.0,
            "Each pair, both skis: every screw looked at and tried by hand. One that moves: HOLD, both skis.",
        ),
        (
            20.5,
            "Set each piece, boot in; measure where it stands; measure the boot's centre. Off: set again.",
        ),
    ):
        fitted(sheet, sheet.left, y + at, text, size=READ, room=sheet.room, least=8, face=Face.BOLD)
    base = y + _HEAD - 2.0
    sheet.words(sheet.left, base, "pair, rack, boot", size=LABEL, fill=SOFT)
    sheet.words(
        sheet.left + _NAMES, base, "each piece: how far, and from where to where", size=LABEL, fill=SOFT
    )
    for (title, w), x in zip(_BOXES, _box_places(sheet), strict=True):
        sheet.words(x + w / 2, base, title, size=LABEL, face=Face.BOLD, anchor=Anchor.MIDDLE)
    sheet.line(sheet.left, y + _HEAD, sheet.right, y + _HEAD, stroke=INK, width=0.5)


def _box_places(sheet: FramedSheet) -> list[float]:
    widths = [w for _, w in _BOXES]
    return list(accumulate(widths[:-1], initial=sheet.right - sum(widths)))


def _row(sheet: FramedSheet, order: WorkOrderSheet, y: float, h: float) -> None:
    code = min(15.0, h - 5.0)
    text = sheet_code(order.number, order.revision, order.pair.tag, "AB")
    sheet.add(qr_code(text, sheet.left, y + 2.0, code))
    x, room = sheet.left + code + 3.5, _NAMES - code - 6.0
    low = tag_drop(order.pair.tag, room)
    tag_words(sheet, x, y + 6.0 + low, order.pair.tag, size=15, room=room)
    number = f"{order.number} {order.revision}" if order.number else "proposal"
    rack = f"rack {order.pair.rack}" if order.pair.rack else order.pair.model
    boot = f"boot {order.boot.tag}, sole {order.boot.sole_words}"
    boot_lines = ((text, Face.BOLD) for text in wrapped(boot, Face.BOLD, SMALL, room))
    for line, (text, face) in enumerate(((number, Face.MONO), (rack, Face.SANS), *boot_lines)):
        at = y + 10.0 + low + 3.2 * line
        fitted(sheet, x, at, text, size=8.5, room=room, least=SMALL, face=face, cut=True)
    _pieces(sheet, order, y, h)
    for (_, w), left in zip(_BOXES, _box_places(sheet), strict=True):
        sheet.box(left + 0.8, y + 1.4, w - 1.6, h - 2.8, fill=WHITE, stroke=INK, width=0.35, radius=0.6)
    sheet.line(sheet.left, y + h, sheet.right, y + h, stroke=RULE, width=0.3)


def _pieces(sheet: FramedSheet, order: WorkOrderSheet, y: float, h: float) -> None:
    """Draw one line a piece with its move, one with from and to, the place of the boot's centre, and last
    what was noted.
    """
    x = sheet.left + _NAMES
    room = _box_places(sheet)[0] - x - 2.0
    lines = [
        line
        for step in order.steps
        if step.begins is not None
        for line in ((step.lead, Face.BOLD), (_from_to(step), Face.SANS))
    ]
    if not lines:
        lines.append(("nothing slides on the ski: set as its maker's sheet says", Face.BOLD))
    lines.append((order.steps[-1].lead, Face.BOLD))
    for said in (order.stands, order.notes):
        lines += [(line, Face.BOLD) for line in wrapped(said, Face.BOLD, SMALL, room)]
    row = min(4.0, (h - 2.0) / len(lines))
    for index, (text, face) in enumerate(lines):
        at, size = y + 1.2 + row * (index + 0.75), min(9.0, row * 2.3)
        fitted(sheet, x, at, text, size=size, room=room, least=SMALL, face=face)


def _from_to(step: OrderStep) -> str:
    """Return ``from 142.0 TIP to 134.5 TIP``, for both skis where they differ; the rule is read as the order
    says.
    """
    if step.begins is None:
        return ""
    each = [
        f"set to {end}" if begin == NOT_KNOWN else f"from {begin} to {end}"
        for begin, end in zip(step.begins, step.expects, strict=True)
    ]
    said = each[0] if each[0] == each[1] else f"A {each[0]}; B {each[1]}"
    return f"{said}, at the {step.measured_at}"
