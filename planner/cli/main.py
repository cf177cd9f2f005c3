"""The front door: one typer app, its rooms, and the one place where an error becomes a sentence."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from fleet.connection import SQLITE_FAULTS, ledger_fault
from fleet.errors import MountbookError, Refused
from planner.cli import (
    bench,
    bench_notes,
    case,
    counter,
    demo,
    holds,
    learning,
    ledger_care,
    life,
    loosening,
    orders,
    patterns,
    planning,
    policy,
    recalls,
    recheck,
    sampling,
    scan_loop,
    season,
    session,
    sheets,
    spreadsheets,
    staff,
    where,
)

app = typer.Typer(
    name="mountbook",
    help="Fleet ledger, remount planner and bench paper for ski rental shops.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


@app.callback()
def _front(
    ledger: Annotated[
        Path | None,
        typer.Option(
            "--ledger", metavar="FILE", help="The ledger; else MOUNTBOOK_LEDGER, else mountbook.db here."
        ),
    ] = None,
) -> None:
    session.choose_ledger(ledger)


spreadsheets.register(app)
where.register(app)
planning.register(app)
orders.register(app)
counter.register(app)
scan_loop.register(app)
recheck.register(app)
sheets.register(app)
holds.register(app)
recalls.register(app)
case.register(app)
season.register(app)
bench.register(app)
bench_notes.register(app)
loosening.register(app)
sampling.register(app)
staff.register(app)
policy.register(app)
learning.register(app)
life.register(app)
patterns.register(app)
ledger_care.register(app)
demo.register(app)


def main() -> None:
    """Run the command; a MountbookError is one sentence and a cure, exit code 1, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that cannot show ü shows an escape instead
            stream.reconfigure(errors="backslashreplace")
    try:
        app()
    except MountbookError as fault:
        sys.exit(_report(fault))
    except SQLITE_FAULTS as fault:
        sys.exit(_report(ledger_fault(fault, session.ledger_path())))
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)


def _report(fault: MountbookError) -> int:
    instead = list(fault.instead) if isinstance(fault, Refused) else []
    if "--json" in sys.argv:
        session.emit_json({"refused": fault.sentence, "cure": fault.cure, "instead": instead})
    else:
        session.note(f"mountbook: {fault.sentence}")
        if fault.cure:
            session.note(f"  {fault.cure}")
        if instead:
            session.note(f"  instead: {', '.join(instead)}")
    return 1


if __name__ == "__main__":
    main()
