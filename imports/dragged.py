"""Numbers that rise by one from row to row: somebody dragged a cell down, and no boot has such a sole."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Final

from imports.headers import Table
from imports.rows import Row

_KEYS: Final = ("bsl_mm", "length_cm", "waist_mm", "brake_mm", "mark_from_tail_mm")
_LEAST: Final = 5
"""So many rows rise by one before it is no chance (our default)."""


def ask_about_series(rows: Sequence[Row]) -> None:
    """Ask about each value of a series in the rows of one table."""
    for key in _KEYS if rows and rows[0].table in (Table.SKI, Table.BOOT) else ():
        for run in _runs(rows, key):
            first, last = run[0].values[key], run[-1].values[key]
            for row in run:
                row.ask(
                    "dragged_series",
                    f"{row.values[key]:f} is one of {len(run)} in a row that rise by one, from {first:f} to"
                    f" {last:f}: was the first dragged down?",
                    "enter what stands on each, or say that they are right",
                    key=key,
                )


def _runs(rows: Sequence[Row], key: str) -> Iterator[list[Row]]:
    run: list[Row] = []
    for row in rows:
        value = row.values.get(key)
        if run and isinstance(value, Decimal) and value == run[-1].values[key] + 1:
            run.append(row)
            continue
        if len(run) >= _LEAST:
            yield run
        run = [row] if isinstance(value, Decimal) else []
    if len(run) >= _LEAST:
        yield run
