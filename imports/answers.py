"""Answers typed into a marked copy: *ok*, *leave out*, the value itself, or ``key=value``."""

from __future__ import annotations

from typing import Final

from fleet.facts.policy import Policy
from imports.cells import Cell
from imports.findings import Severity
from imports.records import Row, RowReader
from imports.row_checks import check_row

LEAVE_OUT_WORDS: Final = frozenset(
    {"leave out", "leave it out", "skip", "weglassen", "auslassen", "omettre", "laisser"}
)


def answered(row: Row, reader: RowReader, policy: Policy) -> Row:
    """The row as its answer makes it: set aside, as it stands, or read again with the value given."""
    if row.confirmed:
        return row
    if row.answer.casefold() in LEAVE_OUT_WORDS:
        row.left_out = True
        return row
    given = _given(row)
    if not given:
        row.ask(
            "answer_unclear",
            f"the answer {row.answer!r} names no value",
            'write "ok", "leave out", the value itself, or key=value',
            key="answer",
        )
        return row
    cells = dict(row.cells)
    for key, text in given.items():
        cells[key] = (cells[key][0], Cell(text))
    again = reader.read(row.number, cells)
    check_row(again, policy)
    for key, text in given.items():
        was = row.cells[key][1].text
        again.note("answered", f"{key} is {text!r} by the answer given, instead of {was!r}", key="answer")
    return again


def _given(row: Row) -> dict[str, str]:
    """Key -> text: from ``key=value``, else the one cell that is in question."""
    given = {}
    for part in row.answer.split(";"):
        key, sign, text = part.partition("=")
        if sign and key.strip() in row.cells:
            given[key.strip()] = text.strip()
    if given:
        return given
    letters = {f.column for f in row.findings if f.severity is not Severity.NOTE and f.column}
    from imports.cells import column_letter

    keys = [k for k, (number, _) in row.cells.items() if column_letter(number) in letters and k != "answer"]
    return {keys[0]: row.answer} if len(keys) == 1 else {}
