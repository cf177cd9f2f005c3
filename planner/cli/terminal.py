"""Tables, at a terminal as wide as it is, and a bar while something takes long.

Programs read JSON; a pipe or a file gets the same table, whole and plain. rich is imported inside the
functions: the door, a help page and a pipe open without it.
"""

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

from fleet.base.shown_text import one_line
from planner.cli import session

_GAP: Final = 2
_LEAST_WORDS: Final = 16


@dataclass(frozen=True, slots=True)
class TerminalColumn:
    """One column. ``spare`` columns are left out, the last first, where the terminal is too narrow.

    ``words`` are folded between words; anything else, a number above all, stands whole on its line or not.
    """

    title: str
    words: bool = False
    right: bool = False
    spare: bool = False


column: Final = TerminalColumn
"""Its short name where tables are written."""


def attached() -> bool:
    """Return True if somebody reads the answer at a terminal."""
    return sys.stdout.isatty()


def table(columns: Sequence[TerminalColumn], rows: Sequence[Sequence[object]]) -> None:
    """Print the rows under their titles on stdout; nothing where there are none.

    At a terminal they come as lines of text where even the columns that must stay are too wide.
    """
    if not rows:
        return
    cells = [[one_line(str(cell)) for cell in row] for row in rows]
    if not attached():
        _plain(columns, cells)
        return
    from rich import box
    from rich.cells import cell_len
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(file=sys.stdout, highlight=False, markup=False, emoji=False)
    widths = [
        max([cell_len(column.title), *(cell_len(row[at]) for row in cells)])
        for at, column in enumerate(columns)
    ]
    least = [min(w, _LEAST_WORDS) if c.words else w for c, w in zip(columns, widths, strict=True)]
    kept = list(range(len(columns)))
    while sum(least[at] + _GAP for at in kept) > console.width:
        spare = [at for at in kept if columns[at].spare]
        if not spare:
            for row in cells:
                session.say_folded("  ".join(filter(None, row)))
            return
        kept.remove(spare[-1])
    drawn = Table(box=box.SIMPLE_HEAD, padding=(0, _GAP, 0, 0), pad_edge=False, show_edge=False)
    for at in kept:
        drawn.add_column(
            Text(columns[at].title),
            justify="right" if columns[at].right else "left",
            no_wrap=not columns[at].words,
            min_width=least[at],
            overflow="fold",
        )
    for row in cells:
        drawn.add_row(*(Text(row[at]) for at in kept))
    console.print(drawn)
    if missing := [column.title for at, column in enumerate(columns) if at not in kept]:
        session.say_folded(f"too narrow for: {', '.join(missing)}")


def answer(
    data: dict[str, Any],
    columns: Sequence[TerminalColumn],
    rows: Sequence[Sequence[object]],
    *,
    json: bool,
    empty: str = "",
    after: Sequence[str] = (),
) -> None:
    """One JSON object for a program; for a person the table and the lines ``after`` it, or the words for an
    ``empty`` one.
    """
    session.answer(data, [partial(table, columns, rows), *after] if rows else empty, json=json)


def _plain(columns: Sequence[TerminalColumn], cells: Sequence[Sequence[str]]) -> None:
    every = [[column.title for column in columns], *cells]
    widths = [max(map(len, column)) for column in zip(*every, strict=True)]
    for row in every:
        padded = [
            cell.rjust(width) if column.right else cell.ljust(width)
            for cell, width, column in zip(row, widths, columns, strict=True)
        ]
        session.say((" " * _GAP).join(padded).rstrip())


@contextmanager
def progress(what: str) -> Iterator[Callable[[str], None] | None]:
    """Show a bar on stderr with the present task and its start; yield None where there is no terminal.

    How long a search takes is not known before, so the bar moves but claims no share. What was said stays
    above it, as in a log.
    """
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(file=sys.stderr, highlight=False, markup=False, emoji=False)
    shown = (BarColumn(bar_width=20), TimeElapsedColumn(), TextColumn("{task.description}", markup=False))
    with Progress(*shown, console=console, transient=True, redirect_stdout=False) as bar:
        task = bar.add_task(one_line(what), total=None)

        def say(step: str) -> None:
            session.note(step)
            bar.update(task, description=one_line(step))

        yield say
