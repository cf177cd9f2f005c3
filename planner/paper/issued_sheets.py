"""The issued work orders as one PDF, drawn before the ledger is written and published after.

Adjustments (pairs on which no screw is touched) are tick lists, ten to a page, in place of a page each. A
list says of every piece what the work order of that pair would say.

The sheet of a branch says what is done when a work order cannot go on as its own sheet says. One page.
"""

import sqlite3
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from itertools import accumulate, chain
from pathlib import Path
from typing import Any, Final, Protocol

from fleet.base.entries import Head
from fleet.base.errors import BadInput, Refused
from fleet.base.files import unfinished_beside
from fleet.base.units import counted
from fleet.ledger.desk import Desk
from fleet.tables.snapshot import Fleet, read_fleet
from planner.bench.orders.book import WorkOrder, find_order, read_orders
from planner.bench.orders.branches import Branch
from planner.bench.orders.issue import Issued, NotThese, issue, still_holds, wait_for
from planner.paper import cautions
from planner.paper.shapes import (
    GARNET,
    INK,
    LABEL,
    READ,
    RULE,
    SMALL,
    SOFT,
    TITLE,
    WHITE,
    Anchor,
    Face,
    Page,
    fitted,
    paragraph,
    width_mm,
    wrapped,
)
from planner.paper.sheet_frame import (
    FramedSheet,
    Paper,
    anchors_of,
    answer_box,
    framed,
    paper_named,
    pdf_of,
    qr_code,
    sheet_code,
    signature_row,
    standing_cautions,
    tag_drop,
    tag_head,
    tag_words,
)
from planner.paper.work_order import order_anchors, work_order_pages
from planner.paper.work_order_facts import WorkOrderSheet, issued_order_sheet
from planner.paper.work_order_steps import OrderStep, mid_sole_words
from planner.plan.fault_isolation import Fault, all_but_faulty, one_by_one
from planner.plan.plan_file import plan_hash
from planner.plan.plan_words import NOT_KNOWN
from planner.plan.values import Plan, Rung

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
        anchors = order_anchors(part[0], name=f"{names[0]} to {names[-1]}")
        cautions, proposal = [standing_cautions()], part[0].proposal
        sheet = framed(paper, anchors, cautions, number, len(parts), proposal=proposal)
        _head(sheet, len(part), len(orders))
        top = sheet.top + _HEAD
        height = (sheet.bottom - 1.0 - top) / TO_A_PAGE
        for index, order in enumerate(part):
            _row(sheet, order, top + index * height, height)
        yield sheet.page(sheet.width, sheet.height)


def _head(sheet: FramedSheet, here: int, pairs: int) -> None:
    y, title = sheet.top, "Adjustments: no screw is touched"
    sheet.words(sheet.left, y + 8.2, title, size=TITLE + 4, face=Face.BOLD)
    said = counted(pairs, "pair") if here == pairs else f"{here} of {counted(pairs, 'pair')}"
    room = sheet.room - width_mm(title, Face.BOLD, TITLE + 4) - 3
    fitted(
        sheet,
        sheet.right,
        y + 8.2,
        said,
        size=TITLE,
        room=room,
        least=READ,
        face=Face.BOLD,
        anchor=Anchor.END,
    )
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
        sheet.left + _NAMES,
        base,
        "each piece: how far, or where it must stand",
        size=LABEL,
        fill=SOFT,
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
    if middle := mid_sole_words(order.boot):
        lines.append((f"mid-sole: {middle}", Face.SANS))
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
    each = [
        f"set to {end}" if begin == NOT_KNOWN else f"from {begin} to {end}"
        for begin, end in zip(step.begins or (), step.expects, strict=True)
    ]
    said = each[0] if each[0] == each[1] else f"A {each[0]}; B {each[1]}"
    return f"{said}, at the {step.measured_at}"


SHEETS = "work_orders_issued.pdf"


@dataclass(frozen=True, slots=True)
class Unpublished:
    """A file written beside its place; `publish` renames it. None where there was nothing to print."""

    beside: Path | None
    target: Path

    def publish(self) -> tuple[Path, ...]:
        """Put the file in its place."""
        if self.beside is None:
            return ()
        return (self.beside.replace(self.target),)

    def discard(self) -> None:
        """Take the file away again: nothing was issued."""
        if self.beside is not None:
            self.beside.unlink(missing_ok=True)


def issued_pdf(desk: Desk, issued: Issued, *, paper: str) -> tuple[bytes, tuple[Fault, ...]]:
    """Return all issued sheets under the ledger's new head, and the ones that cannot be drawn.

    Empty where there is no sheet.
    """
    return _pdf(desk.connection, issued.orders, paper=paper, now=desk.now)


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedAgain:
    """Sheets of open orders. ``past``: orders that the ledger has moved past, which are not printed."""

    data: bytes
    orders: tuple[WorkOrder, ...]
    past: tuple[WorkOrder, ...]
    faults: tuple[Fault, ...]


def print_again(
    connection: sqlite3.Connection,
    *,
    names: Sequence[str] = (),
    calendar: Mapping[str, Any] | None = None,
    day: str = "",
    since: int = 0,
    paper: str,
    now: datetime,
) -> PrintedAgain:
    """Return the sheets of the open orders named, or of all issued after entry ``since``.

    ``calendar``: a bench.json, whose order they get; with ``day`` only what is on it that day.
    """
    found, unknown = one_by_one(names, partial(find_order, connection), what="work order", name=str)
    chosen = [o for o in (found if names else read_orders(connection)) if o.issued_entry > since]
    if calendar is not None:
        begins: dict[str, str] = {}
        for visit in calendar["visits"]:
            if visit["start"].startswith(day):
                begins[visit["order"]] = min(visit["start"], begins.get(visit["order"], visit["start"]))
        chosen = [order for order in chosen if order.number in begins or not day]
        chosen.sort(key=lambda order: (begins.get(order.number, "~"), order.number))
    past = [order for order in chosen if not still_holds(connection, order)]
    orders = [order for order in chosen if order not in past]
    data, faults = _pdf(connection, orders, paper=paper, now=now)
    drawn = {fault.name for fault in faults}
    return PrintedAgain(
        data=data,
        orders=tuple(order for order in orders if order.tag not in drawn),
        past=tuple(past),
        faults=(*unknown, *faults),
    )


def tablet_page(
    connection: sqlite3.Connection, printed: PrintedAgain, *, now: datetime
) -> tuple[bytes, tuple[Fault, ...]]:
    """Return the same orders as one page for the tablet, and those that cannot be drawn on it."""
    from planner.paper.tablet_page.page import issued_page

    html, faults = issued_page(
        read_fleet(connection), printed.orders, past=printed.past, undrawn=printed.faults, printed_at=now
    )
    return html.encode(), faults


def _pdf(
    connection: sqlite3.Connection, orders: Sequence[WorkOrder], *, paper: str, now: datetime
) -> tuple[bytes, tuple[Fault, ...]]:
    if not orders:
        return b"", ()
    fleet, size = read_fleet(connection), paper_named(paper)

    def sheets(orders: Sequence[WorkOrder]) -> bytes:
        return orders_pdf([issued_order_sheet(fleet, order, printed_at=now) for order in orders], size)

    data, faults = all_but_faulty(orders, sheets, what="work order", name=lambda order: order.tag)
    return data or b"", faults


def sheets_file(folder: Path, data: bytes) -> Unpublished:
    """Write the sheets beside their place, so that a full disk is noticed before the ledger is written."""
    where = folder if folder.is_dir() else folder.parent
    if not data:
        return Unpublished(None, where / SHEETS)
    beside = unfinished_beside(where / SHEETS)
    try:
        beside.write_bytes(data)
    except OSError as fault:
        with suppress(OSError):  # a disk that may only be read refuses this too
            beside.unlink()
        raise BadInput(f"cannot write into {where}: {fault.strerror}", cure="free some space") from fault
    return Unpublished(beside, where / SHEETS)


_TRIES: Final = 3
"""Times that the sheets are drawn for a ledger that meanwhile moves on, before everybody waits for them."""


class AtDesk(Protocol):
    """A desk at the ledger or at a copy of it, at a time of its own or that one."""

    def __call__(self, *, now: datetime | None = None, copy: bool = False) -> AbstractContextManager[Desk]:
        """Everything entered inside is one action."""
        ...


@dataclass(frozen=True, slots=True)
class _Drawn:
    """Sheets of orders issued at a desk: from which head and when, to which head; what cannot be drawn."""

    before: Head
    now: datetime
    after: Head
    data: bytes
    faults: tuple[Fault, ...]


def issue_drawn(
    plan: Plan, folder: Path, at_desk: AtDesk, *, paper: str
) -> tuple[Issued, Unpublished, tuple[Fault, ...], tuple[Fault, ...]]:
    """Issue every order whose set still holds and whose sheet can be drawn; nobody works without a sheet.

    They are drawn first, from a copy, so that no counter waits: entered at the same head and time, the same
    orders end in the same hashes, and the sheets are theirs. Where others keep entering meanwhile, the
    counters wait for the last try. Returns what was issued, its sheets, the orders held back, and those that
    stand but cannot be drawn now. A pair that gets its binding off one held back waits with it.
    """
    held: tuple[Fault, ...] = ()
    tries = 0
    while True:
        tries += 1
        waits = wait_for(plan, [fault.name for fault in held])
        tags = {*waits, *(fault.name for fault in held)}
        files = Unpublished(None, folder)
        try:
            drawn = None
            if tries <= _TRIES:
                with at_desk(copy=True) as desk:
                    drawn = _drawn(desk, plan, tags, paper=paper)[1]
                files = sheets_file(folder, drawn.data)
            with at_desk(now=drawn.now if drawn else None) as desk:
                if drawn is None:
                    issued, drawn = _drawn(desk, plan, tags, paper=paper)
                    files = sheets_file(folder, drawn.data)
                elif desk.tx.head != drawn.before:
                    raise NotThese
                else:
                    issued = issue(
                        desk, plan, plan_hash=plan_hash(plan), held_back=tags, judged_at=drawn.before
                    )
                    if desk.tx.head != drawn.after:
                        raise NotThese
        except NotThese as fault:
            files.discard()
            if fault.faults:
                held, tries = held + fault.faults, tries - 1
            continue
        except BaseException:
            files.discard()
            raise
        waiting = (
            Fault(
                what="work order",
                name=pair,
                error=Refused(f"its binding comes off {giver}, whose work order is not issued"),
            )
            for pair, giver in sorted(waits.items())
        )
        return issued, files, (*held, *waiting), drawn.faults


def _drawn(desk: Desk, plan: Plan, held_back: Collection[str], *, paper: str) -> tuple[Issued, _Drawn]:
    """Issue at that desk and draw. Raises NotThese with the orders of which there would be no sheet."""
    before = desk.tx.head
    issued = issue(desk, plan, plan_hash=plan_hash(plan), held_back=held_back)
    data, faults = issued_pdf(desk, issued, paper=paper)
    stands = {order.tag for order in issued.stand}
    if fresh := tuple(fault for fault in faults if fault.name not in stands):
        raise NotThese(fresh)
    return issued, _Drawn(before, desk.now, desk.tx.head, data, faults)


_BRANCH_BOX = 34.0
_SIGN_ROW = 16.0


def branch_pdf(fleet: Fleet, branch: Branch, *, printed_at: datetime, paper: str = "A4") -> bytes:
    """Return the page as a PDF. Raises BadInput for an unknown paper."""
    name = f"{branch.order} branch {branch.name}"
    origins = "; ".join(dict.fromkeys(step.origin for step in branch.steps))
    notes = [f"{standing_cautions()} {cautions.SPACING}", f"The steps are: {origins}."]
    sheet = framed(paper_named(paper), anchors_of(fleet, name, printed_at=printed_at), notes)
    y = _branch_head(sheet, branch, sheet.top)
    for number, step in enumerate(branch.steps, start=1):
        top, x, room = y, sheet.left + 9.0, sheet.room - _BRANCH_BOX - 13.0
        sheet.words(sheet.left + 3.5, y + 6.0, str(number), size=15, face=Face.BOLD, anchor=Anchor.MIDDLE)
        y = paragraph(sheet, x, y + 5.4, step.lead, size=12.0, room=room, step=5.4, face=Face.BOLD) - 0.6
        y = paragraph(sheet, x, y, step.words, size=READ, room=room, step=4.8) - 4.8
        answer_box(
            sheet,
            sheet.right - _BRANCH_BOX,
            top + 1.4,
            _BRANCH_BOX,
            max(y - top, 8.0),
            loud="STOP" in step.lead,
        )
        for command in step.type.splitlines():
            for index, line in enumerate(wrapped(command, Face.MONO, 8.5, sheet.room - 22.0)):
                y += 4.2
                if not index:
                    sheet.words(x, y + 0.6, "type", size=LABEL, fill=SOFT)
                sheet.words(x + 9.0, y + 0.6, line, size=8.5, face=Face.MONO)
        y += 4.0
        sheet.line(sheet.left, y, sheet.right, y, stroke=SOFT, width=0.2)
        y += 0.6
    signature_row(sheet, _SIGN_ROW, (("did the work: name, date, time", 0.5), ("head technician, date", 0.5)))
    return pdf_of([sheet.page(sheet.width, sheet.height)], title=f"{branch.order}: {branch.name}")


def _branch_head(sheet: FramedSheet, branch: Branch, y: float) -> float:
    right = ((6.3, "BRANCH", TITLE, Face.BOLD, INK), (11.8, branch.order, 12.0, Face.MONO_BOLD, INK))
    tag_head(sheet, f"{branch.order}/{branch.tag}", branch.tag, room=sheet.room - 100, right=right)
    title = ", ".join(filter(None, (branch.happened.upper(), branch.about)))
    fitted(
        sheet, sheet.left, y + 28.5, title, size=22, room=sheet.room, least=12, face=Face.BOLD, fill=GARNET
    )
    for index, text in enumerate(
        (
            "The work order stops here; go on by these steps. Write the value or the time into each box.",
            "Words in CAPITALS in a line to type are yours to put: NAME, WHAT, GLUE, X, Y and so on.",
        )
    ):
        sheet.words(sheet.left, y + 34.5 + 4.6 * index, text, size=9.5)
    sheet.line(sheet.left, y + 42.0, sheet.right, y + 42.0, stroke=INK, width=0.5)
    return y + 42.6
