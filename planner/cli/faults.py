"""Reports of faults that cost one thing: said on stderr, traceback kept in a file, exit code 1."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer

from fleet.base.errors import MountbookError
from planner.cli import session
from planner.plan.fault_isolation import Fault
from planner.plan.kept_trace import kept


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
    end_with(failed, "NOT PRINTED")


def end_with(faults: Sequence[Fault], left_out: str = "") -> None:
    """Exit with code 1 if anything was ``left_out``, which is said first. The rest was done."""
    say_faults(faults if left_out else (), left_out)
    if faults:
        raise typer.Exit(1)
