"""A copy of the values with the problem cells coloured, the reason beside them, and room for an answer."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from imports.cells import Cell, Content, Sheet, column_letter
from imports.findings import Finding, Severity
from imports.new_workbook import new_workbook
from imports.proposal import Proposal
from imports.quantities import UNCOMPUTED_TEXT
from imports.questions import QUESTION_SHEET, write_question_sheet
from imports.rows import SheetReading
from imports.sheet_prepared import ANSWER, REASON, TABLE

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

_COLOURS: Final = {Severity.BAD: "#E8A0A0", Severity.QUESTION: "#FFD27F", Severity.NOTE: "#E7EEF7"}
_Look = Callable[..., Any]
"""Makes the cell format of a number format and a colour, once each."""
_HOW: Final = 'Answer here: "ok", "leave out", the right value, or key=value. Then import this file.'


def write_marked_copy(proposal: Proposal, path: Path) -> None:
    """Write the copy to ``path`` (the caller renames it into place). Texts stay texts; nothing can run."""
    with new_workbook() as (book, out):

        @cache
        def look(style: str, colour: str, wrap: bool = False) -> Any:
            behind = {"bg_color": colour} if colour else {}
            return book.add_format({"num_format": style or "General", "text_wrap": wrap, **behind})

        used: set[str] = set()
        for reading in proposal.reading.sheets:
            if not reading.left_out and reading.sheet.rows:
                _copy_sheet(book, reading, proposal, look, used)
        if used and proposal.questions:
            write_question_sheet(book, _free_name(QUESTION_SHEET, used), proposal.questions)
        if not used:
            sheet = book.add_worksheet("Findings")
            for row, finding in enumerate(proposal.findings):
                sheet.write_string(row, 0, finding.message)
                sheet.write_string(row, 1, finding.fix)
    path.write_bytes(out.getvalue())


def _copy_sheet(
    book: Workbook, reading: SheetReading, proposal: Proposal, look: _Look, used: set[str]
) -> None:
    source = reading.sheet
    name = _free_name(source.name, used)
    sheet = book.add_worksheet(name)
    by_row = _findings_by_row(proposal, source)
    last = max((max(cells) for cells in source.rows.values()), default=1)
    for number, cells in source.rows.items():
        marks = {f.column: f.severity for f in sorted(by_row.get(number, ()), key=lambda f: f.severity.rank)}
        for column, cell in cells.items():
            severity = marks.get(column_letter(column))
            colour = _COLOURS[severity] if severity else ""
            _write(sheet, number - 1, column - 1, cell, look, colour)
    asked_of = _asked_by_row_and_table(proposal, source)
    for table in reading.tables:
        beside = sorted({t.left for t in reading.tables}).index(table.left)
        place = max(last, *(max(t.headers) for t in reading.tables)) + 3 * beside
        sheet.write_string(table.header_first - 1, place, REASON)
        sheet.write_string(table.header_first - 1, place + 1, ANSWER)
        sheet.write_comment(table.header_first - 1, place + 1, _HOW)
        sheet.write_string(table.header_first - 1, place + 2, TABLE)
        sheet.set_column(place, place, 60)
        sheet.set_column(place + 1, place + 1, 24)
        for number, _ in table.raw:
            asked = asked_of.get((number, table.left), [])
            if asked:
                text = "; ".join(f"[{f.code}] {f.message}: {f.fix}" for f in asked)
                worst = max((f.severity for f in asked), key=lambda s: s.rank)
                sheet.write_string(number - 1, place, text[:32000], look("", _COLOURS[worst], True))
                sheet.write_blank(number - 1, place + 1, None, look("@", _COLOURS[worst]))
                sheet.write_number(number - 1, place + 2, table.left)
    if reading.tables:
        sheet.freeze_panes(reading.tables[0].header_row, 1)


def _asked_by_row_and_table(proposal: Proposal, sheet: Sheet) -> dict[tuple[int, int], list[Finding]]:
    """Open doubts by row and first column of the table, since two tables may share a row."""
    found: dict[tuple[int, int], list[Finding]] = defaultdict(list)
    for row in proposal.rows:
        if row.file == sheet.file and row.sheet == sheet.name:
            doubts = [f for f in row.findings if f.severity is not Severity.NOTE]
            found[row.number, row.place.left] += doubts
    return found


def _findings_by_row(proposal: Proposal, sheet: Sheet) -> dict[int, list[Finding]]:
    found: dict[int, list[Finding]] = defaultdict(list)
    rows = {id(f) for row in proposal.rows if row.file == sheet.file for f in row.findings}
    for finding in proposal.findings:
        mine = id(finding) in rows or finding.severity is Severity.NOTE
        if mine and finding.sheet == sheet.name and finding.row is not None:
            found[finding.row].append(finding)
    return found


def _free_name(name: str, used: set[str]) -> str:
    """A sheet name that spreadsheets allow: 31 characters, none of ``[]:*?/\\``, no two alike."""
    plain = "".join("_" if c in "[]:*?/\\" else c for c in name).strip("'")[:31] or "Sheet"
    free, number = plain, 2
    while free.casefold() in used:
        free, number = f"{plain[:27]} ({number})", number + 1
    used.add(free.casefold())
    return free


def _write(sheet: Worksheet, row: int, column: int, cell: Cell, look: _Look, colour: str) -> None:
    if row >= 1_048_576 or column >= 16_300:
        return
    if (
        cell.content is Content.NUMBER
        and isinstance(cell.value, Decimal)
        and not (cell.formula and not cell.value)
    ):
        sheet.write_number(row, column, float(cell.value), look(cell.style, colour))
    elif cell.content is Content.DATE and isinstance(cell.value, date) and cell.value.year >= 1901:
        moment = cell.value if isinstance(cell.value, datetime) else datetime(*cell.value.timetuple()[:3])  # noqa: DTZ001
        sheet.write_datetime(row, column, moment, look(cell.style or "yyyy-mm-dd", colour))
    elif cell.content is Content.TRUTH:
        sheet.write_boolean(row, column, bool(cell.value), look("", colour))
    elif cell.content is Content.UNCOMPUTED or (cell.formula and cell.content is Content.NUMBER):
        sheet.write_string(row, column, UNCOMPUTED_TEXT, look("", colour))
    else:
        sheet.write_string(row, column, cell.text[:32000], look("@", colour))
