"""The issued work orders as one PDF, made before the ledger is written and published after."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from fleet.desk import Desk
from fleet.errors import BadInput
from fleet.snapshot import read_fleet
from planner.orders.issue import Issued

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


def issued_pdf(desk: Desk, issued: Issued, *, paper: str) -> bytes:
    """All issued sheets, with the head the ledger has now that they are entered; empty for no orders."""
    if not issued.orders:
        return b""
    from planner.paper.work_order import work_order_pdf
    from planner.paper.work_order_facts import work_order_sheet

    fleet = read_fleet(desk.connection)
    return work_order_pdf(
        [
            work_order_sheet(
                fleet,
                order.planned,
                number=order.number,
                revision=order.revision,
                proposal=False,
                plan_hash=str(order.body["plan_hash"]),
                printed_at=desk.now,
                needed_by=order.body["needed_by"],
            )
            for order in issued.orders
        ],
        paper,
    )


def sheets_file(folder: Path, data: bytes) -> Unpublished:
    """Write the sheets beside their place, so that a full disk is noticed before the ledger is written."""
    where = folder if folder.is_dir() else folder.parent
    if not data:
        return Unpublished(None, where / SHEETS)
    try:
        handle, name = tempfile.mkstemp(dir=where, prefix=".work_orders.")
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(name).chmod(0o644)
    except OSError as fault:
        raise BadInput(f"cannot write into {where}: {fault.strerror}", cure="free some space") from fault
    return Unpublished(Path(name), where / SHEETS)
