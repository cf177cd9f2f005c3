"""The writer of plan.xlsx: a workbook that a manager can filter, sum and print.

Text is always written as text, so that no name can run as a formula; the few totals are our own formulas,
stored with their results, so that a phone's preview shows them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from math import ceil
from typing import TYPE_CHECKING, Any, Final

from fleet.tables.snapshot import Fleet
from imports.new_workbook import PAPERS, looks, new_workbook
from planner.paper.workbook_tables import WorkbookTable, plan_tables
from planner.plan.values import Plan

if TYPE_CHECKING:
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

_BANNER: Final = "PROPOSAL, not issued: nothing may be drilled from this list."
_HEADER_ROW: Final = 2
_BOLD: Final = 1.2
_PLAIN_WIDTH: Final = 8.43
"""Widths in characters: of a bold letter of the banner, and of a column that nobody set."""
_LINE: Final = 15.0
"""Height of one line, points."""


@dataclass(frozen=True, slots=True)
class _Words:
    """The texts above, over and under every sheet of a workbook."""

    title: str
    banner: str
    header: str
    footer: str


def plan_workbook(
    fleet: Fleet,
    plan: Plan,
    *,
    printed_at: datetime | None = None,
    paper: str = "A4",
    more: Sequence[WorkbookTable] = (),
) -> bytes:
    """Return the workbook's bytes. The same plan, fleet and time give the same bytes. ``more`` sheets
    follow.
    """
    words = _Words(
        "Plan, a proposal",
        _BANNER,
        "PROPOSAL, not issued",
        f"ledger {plan.ledger_entry}:{plan.ledger_head[:8]}",
    )
    made = datetime.fromisoformat(plan.made_at.replace("Z", "+00:00"))
    tables = (*plan_tables(fleet, plan, printed_at=printed_at), *more)
    return _workbook(tables, words, author=fleet.shop, made=made, paper=paper)


def tables_workbook(
    tables: Sequence[WorkbookTable],
    *,
    fleet: Fleet,
    title: str,
    banner: str,
    made: datetime,
    paper: str = "A4",
) -> bytes:
    """Return a workbook of other tables in the same form; ``banner`` says what they are good for."""
    words = _Words(title, banner, title, f"ledger {fleet.head}")
    return _workbook(tables, words, author=fleet.shop, made=made, paper=paper)


def _workbook(
    tables: Sequence[WorkbookTable], words: _Words, *, author: str, made: datetime, paper: str
) -> bytes:
    from planner.paper.bench_tables import HOURS, add_hours_chart

    with new_workbook() as (book, out):
        # The library compares and prints naive times; the hour itself is UTC.
        book.set_properties(
            {"title": words.title, "author": author, "created": made.astimezone(UTC).replace(tzinfo=None)}
        )
        formats = looks(book, **_LOOKS)
        for table in tables:
            sheet = _write_table(book, table, formats, paper, words)
            if table.name == HOURS:
                add_hours_chart(book, sheet, header_row=_HEADER_ROW, days=len(table.rows))
    return out.getvalue()


_PLAIN: Final[dict[str, Any]] = {"font_name": "Noto Sans", "font_size": 10, "valign": "top"}
_BESIDE: Final[dict[str, Any]] = {"text_wrap": True, "align": "left", "indent": 1}
_TOTAL: Final[dict[str, Any]] = _PLAIN | {"bold": True, "top": 2}
_LOOKS: Final[dict[str, dict[str, Any]]] = {
    "banner": _PLAIN | {"bold": True, "bg_color": "#F2B134", "font_size": 11},
    "title": _PLAIN | {"bold": True, "font_size": 14},
    "header": _PLAIN | _BESIDE | {"bold": True, "bottom": 2, "bg_color": "#EEF3F5"},
    "text": _PLAIN | _BESIDE | {"num_format": "@"},
    "whole": _PLAIN | {"num_format": "0"},
    "length": _PLAIN | {"num_format": "0.0##"},
    "total": _TOTAL,
    "total whole": _TOTAL | {"num_format": "0"},
    "total length": _TOTAL | {"num_format": "0.0##"},
}


_LOOK_OF: Final[dict[type, str]] = {int: "whole", float: "length"}
"""Type of a value -> its look; every other is text."""


def _write_table(
    book: Workbook, table: WorkbookTable, formats: dict[str, Any], paper: str, words: _Words
) -> Worksheet:
    sheet = book.add_worksheet(table.name)
    last = len(table.columns) - 1
    sheet.write_string(0, 0, f"{table.title}", formats["title"])
    for index in range(_banner_columns(table, words.banner)):
        sheet.write_blank(1, index, None, formats["banner"])
    sheet.write_string(1, 0, words.banner, formats["banner"])
    for index, column in enumerate(table.columns):
        sheet.set_column(index, index, column.width)
        sheet.write_string(_HEADER_ROW, index, column.title, formats["header"])
    sheet.set_row(0, 24)
    sheet.set_row(1, 18)
    sheet.set_row(_HEADER_ROW, _LINE * max(_lines(column.title, column.width) for column in table.columns))
    for number, row in enumerate(table.rows, start=_HEADER_ROW + 1):
        wrapped = (
            _lines(value, column.width)
            for value, column in zip(row, table.columns, strict=True)
            if isinstance(value, str)
        )
        sheet.set_row(number, _LINE * max(wrapped, default=1))
        for index, value in enumerate(row):
            if value is not None:
                sheet.write(number, index, value, formats[_LOOK_OF.get(type(value), "text")])
    end = _HEADER_ROW + len(table.rows)
    _write_totals(sheet, table, end, formats)
    sheet.freeze_panes(_HEADER_ROW + 1, table.frozen)
    if table.rows:
        sheet.autofilter(_HEADER_ROW, 0, end, last)
    sheet.repeat_rows(1, _HEADER_ROW)
    sheet.set_paper(PAPERS[paper])
    if table.landscape:
        sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.set_margins(left=0.5, right=0.5, top=0.7, bottom=0.7)
    sheet.set_header(f"&L&B{_plain(table.title)}&R{_plain(words.header)}")
    sheet.set_footer(f"&L{_plain(words.footer)}&C&A&Rpage &P of &N")
    return sheet


def _banner_columns(table: WorkbookTable, banner: str) -> int:
    """The table's own, and beside a narrow one as many more as the words run over."""
    own = sum(column.width for column in table.columns)
    return len(table.columns) + max(0, ceil((len(banner) * _BOLD - own) / _PLAIN_WIDTH))


def _lines(text: str, width: float) -> int:
    """Return the number of lines that the text takes in a column of that many characters.

    Spreadsheet programs do not compute the height of a wrapped row in a file that they did not write.
    """
    return max(1, ceil(len(text) / (width - 1)))


def _plain(text: str) -> str:
    """Return the text with each ampersand doubled: a single one is a command in a header line."""
    return text.replace("&", "&&")


def _write_totals(sheet: Worksheet, table: WorkbookTable, end: int, formats: dict[str, Any]) -> None:
    """Sums of what the filter leaves, with the result stored beside the formula."""
    from xlsxwriter.utility import xl_rowcol_to_cell

    summed = [index for index, column in enumerate(table.columns) if column.total]
    if not summed or not table.rows:
        return
    for index in range(len(table.columns)):
        sheet.write_blank(end + 1, index, None, formats["total"])
    sheet.write_string(end + 1, 0, "total", formats["total"])
    for index in summed:
        values = [row[index] for row in table.rows if row[index] is not None]
        result = round(sum(values), 3)  # type: ignore[arg-type]
        first = xl_rowcol_to_cell(_HEADER_ROW + 1, index)
        final = xl_rowcol_to_cell(end, index)
        kind = formats["total whole" if isinstance(result, int) else "total length"]
        sheet.write_formula(end + 1, index, f"=SUBTOTAL(109,{first}:{final})", kind, result)
