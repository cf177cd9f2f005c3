"""An unforeseen fault of the program: a sentence for the bench, and its traceback kept in a file."""

from __future__ import annotations

import tempfile
import traceback

from fleet.base.errors import MountbookError
from planner.plan.fault_isolation import reason_of


def own_fault(fault: Exception) -> MountbookError:
    """Return an unforeseen fault as a sentence for the bench, with the traceback kept in a file."""
    return MountbookError(
        reason_of(fault),
        cure=f"look whether your action is in the ledger before you repeat it; and {kept(fault)}",
    )


def kept(fault: Exception) -> str:
    """Keep the traceback in a file for whoever repairs the program; return where, or why it could not be
    kept.
    """
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", errors="backslashreplace", prefix="mountbook_fault_", suffix=".txt",
            delete=False,
        ) as file:  # fmt: skip
            traceback.print_exception(fault, file=file)
    except OSError as full:
        return f"its trace could not be kept ({full.strerror or full}): free some space and do it again"
    return f"send {file.name} to whoever looks after mountbook"
