"""Answers typed beside a row of a marked copy: *ok*, *leave out*, the value itself, or ``key=value``."""

from __future__ import annotations

from fleet.facts.policy import Policy
from imports.answers import LEAVE_OUT
from imports.cells import Cell
from imports.findings import Severity
from imports.headers import FIELDS
from imports.row_checks import check_row
from imports.row_reader import RowReader
from imports.rows import Row


def answered(row: Row, reader: RowReader, policy: Policy) -> Row:
    """The row as its answer makes it: set aside, as it stands, or read again with the value given."""
    if row.confirmed:
        return row
    if row.answer == LEAVE_OUT:
        row.left_out = True
        return row
    given = _given(row, reader)
    if not given:
        row.ask(
            "answer_unclear",
            f"the answer {row.answer!r} names no value",
            'write "ok", "leave out", the value itself, or key=value',
        )
        return row
    cells = dict(row.cells)
    for key, text in given.items():
        cells[key] = (reader.column_of(key), Cell(text))
    again = reader.read(row.number, cells)
    check_row(again, policy)
    for key, text in given.items():
        was = row.cells[key][1].text if key in row.cells else ""
        again.note("answered", f"{key} is {text!r} by the answer given, instead of {was!r}", key=key)
    return again


def _given(row: Row, reader: RowReader) -> dict[str, str]:
    """Key -> text: from ``key=value``, else the one cell that is in question."""
    given = {}
    for part in row.answer.split(";"):
        key, sign, text = part.partition("=")
        if sign:
            if key.strip() not in FIELDS or not reader.column_of(key.strip()):
                return {}
            given[key.strip()] = text.strip()
    if given:
        return given
    keys = {f.key for f in row.findings if f.severity is not Severity.NOTE and f.key}
    keys = {key for key in keys if reader.column_of(key)}
    return {keys.pop(): row.answer} if len(keys) == 1 else {}
