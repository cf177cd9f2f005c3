"""The measured lengths of the printer's test sheet, entered as two policies in one action."""

from __future__ import annotations

from fleet.ledger.desk import Desk
from fleet.ledger.people import set_policy
from fleet.tables.snapshot import read_policy
from planner.paper.printer import PrinterScale, printer_scale

_ORIGIN = "measured with a steel rule on the printer's test sheet"


def enter_printer(desk: Desk, *, along: str, across: str) -> PrinterScale:
    """Store both lengths (mm as typed) and return the correction. Raises BadInput for a scaled print.

    The check comes before the entries, so that a refused pair of figures leaves nothing behind.
    """
    policy = read_policy(desk.connection)
    scale = printer_scale(policy.with_values(printer_along_mm=along, printer_across_mm=across))
    set_policy(desk, "printer_along_mm", along, origin=_ORIGIN)
    set_policy(desk, "printer_across_mm", across, origin=_ORIGIN)
    return scale
