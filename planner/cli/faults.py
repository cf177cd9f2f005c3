"""Reports of faults that cost one thing: said on stderr, traceback kept in a file, exit code 1."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import typer

from fleet.base.errors import MountbookError
from planner.cli import session
from planner.plan.fault_isolation import Fault, all_or_raise, kept


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


def written_each(
    out: Path,
    names: Sequence[str],
    draw: Callable[[Sequence[str]], bytes],
    *,
    what: str,
    key: str,
    words: Callable[[Sequence[str]], str],
    json: bool,
    refused: Sequence[Fault] = (),
) -> None:
    """Draw a sheet for each name and answer as `written` does; one that cannot be drawn costs no other.

    ``key``: under which the names drawn stand in the JSON object; ``words``: the answer for them.
    """
    data, failed = all_or_raise(names, draw, what=what, name=str)
    drawn = [name for name in names if name not in {fault.name for fault in failed}]
    written(out, data, {key: drawn}, words(drawn), (*refused, *failed), json=json)


def end_with(faults: Sequence[Fault], left_out: str = "") -> None:
    """Exit with code 1 if anything was ``left_out``, which is said first. The rest was done."""
    say_faults(faults if left_out else (), left_out)
    if faults:
        raise typer.Exit(1)
