"""`counter`: the scan loop on the counter's screen."""

from __future__ import annotations

import shutil
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.base.errors import BadInput, MountbookError
from fleet.base.shown_text import one_line
from planner.cli import session
from planner.cli.session import By

if TYPE_CHECKING:
    from fleet.rules.scanning import Counter, Reply


def counter(
    mode: Annotated[str, typer.Option("--mode", metavar="MODE", help="Begin with out or back.")] = "back",
    by: By = None,
) -> None:
    """Scan pairs out and back, one line an action. Type help at its prompt for the words it takes.

    Example: mountbook counter --mode out --by "Nell Abres"
    """
    from fleet.rules.scanning import Counter, Mode

    if mode not in list(Mode):
        raise BadInput(f"{mode!r} is not a mode", cure="out or back")
    shown = sys.stdin.isatty() and sys.stdout.isatty()
    with session.open_ledger(care=False) as ledger:
        name = session.who_enters(ledger, by)
        loop = Counter(ledger, by=name, mode=Mode(mode))
        if shown:
            session.say("mountbook counter: scan or type a tag; help, undo, quit")
        faulty = False
        while True:
            if shown:
                sys.stdout.write(loop.prompt)
                sys.stdout.flush()
            line = sys.stdin.readline()
            reply, at_fault = _handled(loop, line or "quit")
            faulty = faulty or at_fault
            if reply.text and line:
                _show(reply.text, refused=reply.refused, shown=shown)
            if reply.quit:
                break
    if faulty:
        raise typer.Exit(1)


def _handled(loop: Counter, line: str) -> tuple[Reply, bool]:
    """Return the reply, and True if it reports a fault. A fault costs this scan, not the next one."""
    from fleet.rules.scanning import Reply
    from fleet.tables.sqlite_faults import SQLITE_FAULTS, ledger_fault
    from planner.plan.fault_isolation import own_fault

    try:
        return loop.handle(line, now=session.now()), False
    except SQLITE_FAULTS as fault:
        told: MountbookError = ledger_fault(fault, session.ledger_path())
    except Exception as fault:
        told = own_fault(fault)
    loop.drop()
    return Reply(text=f"REFUSED  {told.sentence}  ({told.cure})", refused=True), True


def _show(text: str, *, refused: bool, shown: bool) -> None:
    """Print the reply. A refusal rings the bell and stands in reverse, to be seen from the ski rack."""
    from fleet.rules.scanning import HELP

    said = HELP.splitlines() if text == HELP else [one_line(text)]
    if not shown:
        sys.stdout.writelines(f"{line}\n" for line in said)
    else:
        width = shutil.get_terminal_size().columns - 2
        lines = [row for line in said for row in session.folded(line, width)]
        if refused:
            lines = [f"\x1b[7m {line:<{width}} \x1b[0m" for line in lines]
        sys.stdout.write(("\a" if refused else "") + "\n".join(lines) + "\n")
    sys.stdout.flush()
