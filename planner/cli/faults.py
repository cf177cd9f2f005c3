"""Reports of faults that cost one thing: said on stderr, traceback kept in a file, exit code 1."""

from __future__ import annotations

import tempfile
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from fleet.base.errors import MountbookError
from planner.cli import session

if TYPE_CHECKING:
    from planner.plan.fault_isolation import Fault


def say_faults(faults: Sequence[Fault], left_out: str) -> None:
    """Print each fault with its name and cause: ``NOT PRINTED: label K-031: ...``."""
    for fault in faults:
        session.note(f"{left_out}: {fault}")
        if not isinstance(fault.error, MountbookError):
            session.note(f"  {kept(fault.error)}")


def written(
    out: Path, data: bytes, answer: dict[str, object], text: str, failed: Sequence[Fault], *, json: bool
) -> None:
    """Write the sheets, answer, say what could not be printed, and exit with code 1 if anything could not."""
    from planner.exchange.export.whole_file import write_whole

    write_whole(out, data)
    not_printed = [fault.to_json() for fault in failed]
    session.answer({"file": str(out), **answer, "not_printed": not_printed}, f"{out}: {text}", json=json)
    say_faults(failed, "NOT PRINTED")
    end_with(failed)


def end_with(faults: Sequence[Fault]) -> None:
    """Exit with code 1 if anything was left out. The rest was done."""
    if faults:
        raise typer.Exit(1)


def own_fault(fault: Exception) -> MountbookError:
    """Return an unforeseen fault as a sentence for the bench, with the traceback kept in a file."""
    from planner.plan.fault_isolation import reason_of

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
