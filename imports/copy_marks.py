"""The columns that a marked copy adds: taken off before the sheet is read, so that they are never its data.

Each answer is tied to its row and to the first column of its table; two tables may share a row.
"""

from __future__ import annotations

from typing import Final

from imports.cells import Sheet

REASON: Final = "mountbook reason"
ANSWER: Final = "mountbook answer"
TABLE: Final = "mountbook table"


ANY_TABLE: Final = 0
"""In place of a first column: a copy that says none, where one table has the row."""
_PARTS: Final = (REASON, ANSWER, TABLE)


def take_marks(sheet: Sheet) -> None:
    """Take the added columns off the sheet, and keep reason and answer by row and first column."""
    columns: dict[int, tuple[int, str]] = {}
    for number, cells in sorted(sheet.rows.items()):
        for column, cell in cells.items():
            if cell.text in _PARTS:
                columns.setdefault(column, (number, cell.text))
    if not columns:
        return
    for number, cells in list(sheet.rows.items()):
        said = dict.fromkeys(_PARTS, "")
        for column, (first, part) in sorted(columns.items()):
            if number >= first and column in cells:
                said[part] = cells.pop(column).text
            if column + 1 not in columns or part == TABLE:
                table = int(said[TABLE]) if said[TABLE].isdecimal() else ANY_TABLE
                if said[REASON] or said[ANSWER]:
                    sheet.marks[number, table] = (said[REASON], said[ANSWER])
                said = dict.fromkeys(_PARTS, "")
        if not cells:
            del sheet.rows[number]


def marks_of(sheet: Sheet, row: int, left: int) -> tuple[str, str]:
    """Reason and answer beside a row of the table that begins in that column."""
    return sheet.marks.get((row, left)) or sheet.marks.get((row, ANY_TABLE)) or ("", "")
