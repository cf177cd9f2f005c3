"""The issued work orders as one PDF, drawn before the ledger is written and published after."""

import sqlite3
from collections.abc import Collection, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any, Final, Protocol

from fleet.base.entries import Head
from fleet.base.errors import BadInput, Refused
from fleet.base.files import unfinished_beside
from fleet.ledger.desk import Desk
from fleet.tables.snapshot import read_fleet
from planner.bench.orders.book import WorkOrder, find_order, read_orders
from planner.bench.orders.issue import Issued, NotThese, issue, still_holds, wait_for
from planner.plan.fault_isolation import Fault, all_but_faulty, one_by_one
from planner.plan.plan_file import plan_hash
from planner.plan.values import Plan

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
    from planner.paper.adjust_list import orders_pdf
    from planner.paper.sheet_frame import paper_named
    from planner.paper.work_order_facts import issued_order_sheet

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
        beside.unlink(missing_ok=True)
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
        files: Unpublished | None = None
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
            if files is not None:
                files.discard()
            if fault.faults:
                held, tries = held + fault.faults, tries - 1
            continue
        except BaseException:
            if files is not None:
                files.discard()
            raise
        assert files is not None
        waiting = (_waiting(*each) for each in sorted(waits.items()))
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


def _waiting(pair: str, giver: str) -> Fault:
    why = Refused(f"its binding comes off {giver}, whose work order is not issued")
    return Fault(what="work order", name=pair, error=why)
