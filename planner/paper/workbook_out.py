"""The writer of plan.xlsx and bench.xlsx: workbooks that a manager can filter, sum and print.

The bench weeks are tables here: a calendar, the hours of each day for a chart, and the parts.

Text is always written as text, so that no name can run as a formula; the few totals are our own formulas,
stored with their results, so that a phone's preview shows them.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from math import ceil
from typing import TYPE_CHECKING, Any, Final

from fleet.base.days import day_text, short_time_text, stored_day_text
from fleet.base.units import counted
from fleet.tables.snapshot import Fleet
from imports.new_workbook import PAPERS, looks, new_workbook
from planner.bench.parts import StockLine, shopping_list, stock_name
from planner.bench.weeks.bench_file import hours_per_day
from planner.bench.weeks.calendar import wall
from planner.bench.weeks.values import Bench, BenchPlan, Job
from planner.paper.workbook_tables import Cell, Column, WorkbookTable, plan_tables
from planner.plan.values import Plan

if TYPE_CHECKING:
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet


HOURS = "Bench hours"


def calendar_table(bench: Bench, jobs: Sequence[Job], plan: BenchPlan) -> WorkbookTable:
    """Return every visit in order of time. A cure stands in the row where it begins."""
    by_number = {job.number: job for job in jobs}
    rows: list[tuple[Cell, ...]] = []
    for v in plan.visits:
        job = by_number[v.job]
        asked = job.visits[v.visit]
        begins, over = wall(v.start, bench.zone), wall(v.end, bench.zone)
        cured = wall(v.end + asked.cure_minutes, bench.zone)
        rows.append(
            (
                day_text(begins),
                f"{begins:%H:%M}",
                f"{over:%H:%M}",
                bench.people[v.person].name,
                job.number,
                job.pair,
                asked.name,
                "" if asked.jig is None else f"{asked.jig.kind}, {asked.jig.setting}",
                "set up" if v.sets_up else "",
                f"{asked.cure_of} until {short_time_text(cured)}" if asked.cure_minutes else "",
                day_text(job.due) if job.due else "",
                "LATE" if job.number in plan.late else "",
                v.end - v.start,
            )
        )
    return WorkbookTable(
        name="Bench calendar",
        title="Bench calendar",
        frozen=3,
        columns=(
        Column("day", 15), Column("from", 7), Column("to", 7), Column("who", 16), Column("order", 15),
        Column("pair", 11), Column("do", 52), Column("jig", 27), Column("jig set-up", 9),
        Column("cures", 35), Column("due", 11), Column("late", 7), Column("minutes", 9, True),
        ),
        rows=tuple(rows),
    )  # fmt: skip


def hours_table(bench: Bench, plan: BenchPlan) -> WorkbookTable:
    """Return the open days with their open hours, hours of work, and hours of setting up jigs."""
    return WorkbookTable(
        name=HOURS,
        title="Bench hours of each day",
        columns=(
            Column("day", 16),
            Column("open, hours", 10, True),
            Column("work, hours", 10, True),
            Column("jig set-up, hours", 10, True),
            Column("free, hours", 10, True),
        ),
        rows=tuple(
            (
                stored_day_text(row["day"]),
                round(row["open_minutes"] / 60, 2),
                round(row["work_minutes"] / 60, 2),
                round(row["setup_minutes"] / 60, 2),
                round((row["open_minutes"] - row["work_minutes"] - row["setup_minutes"]) / 60, 2),
            )
            for row in hours_per_day(bench, plan)
        ),
    )


def add_hours_chart(book: Workbook, sheet: Any, *, header_row: int, days: int) -> None:
    """Add a chart of work and set-up stacked under the open hours, beside the table of its figures."""
    chart = book.add_chart({"type": "column", "subtype": "stacked"})
    top = header_row + 1
    for column, name, colour in (
        (2, "work", "#3B6E8F"),
        (3, "jig set-up", "#F2B134"),
        (4, "free", "#E3E8EA"),
    ):
        chart.add_series(
            {
                "name": name,
                "categories": [HOURS, top, 0, top + days - 1, 0],
                "values": [HOURS, top, column, top + days - 1, column],
                "fill": {"color": colour},
                "border": {"color": "#333333", "width": 0.5},
                "gap": 40,
            }
        )
    chart.set_title({"name": "Bench hours per day"})
    chart.set_x_axis({"num_font": {"rotation": -90}})
    chart.set_y_axis({"name": "hours", "min": 0})
    chart.set_legend({"position": "bottom"})
    chart.set_size({"width": 760, "height": 380})
    sheet.insert_chart(header_row, 6, chart, {"description": "Hours of work, set-up and free time per day"})


def every_part(lines: Sequence[StockLine]) -> WorkbookTable:
    """Return the table of all parts that the orders take, against the stock where it is known."""
    return WorkbookTable(
        name="Parts and tools",
        title="Parts and tools of the bench",
        frozen=2,
        columns=(
        Column("sort", 14), Column("part or tool", 54), Column("counted in", 9), Column("needed", 9),
        Column("reserve", 9), Column("in stock, if known", 9), Column("beyond the stock", 9),
        Column("first order without", 18), Column("note", 18),
        ),
        rows=tuple(
            (
                line.need.part.sort.value,
                line.need.part.name,
                line.need.part.unit,
                line.need.quantity,
                line.reserve,
                line.in_stock,
                line.buy,
                line.first_hit or "",
                f"for {counted(line.need.uses, 'hole')}" if line.need.tool else "",
            )
            for line in lines
        ),
    )  # fmt: skip


def shopping(lines: Sequence[StockLine]) -> WorkbookTable:
    """Return the table of what is to be bought."""
    return WorkbookTable(
        name="Shopping list",
        title="Shopping list, reserve included",
        landscape=False,
        columns=(
            Column("part", 58),
            Column("counted in", 10),
            Column("to buy", 9),
            Column("first order without", 18),
        ),
        rows=tuple(
            (stock_name(line.need.part), line.need.part.unit, line.buy, line.first_hit or "")
            for line in shopping_list(lines)
        ),
    )


_BANNER: Final = "PROPOSAL, not issued: nothing may be drilled from this list."
_HEADER_ROW: Final = 2
_BOLD: Final = 1.2
_PLAIN_WIDTH: Final = 8.43
"""Widths in characters: of a bold letter of the banner, and of a column that nobody set."""
_LINE: Final = 15.0
"""Height of one line, points."""


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
    made = datetime.fromisoformat(plan.made_at.replace("Z", "+00:00"))
    tables = (*plan_tables(fleet, plan, printed_at=printed_at), *more)
    return _workbook(
        tables, "Plan, a proposal", _BANNER, "PROPOSAL, not issued",
        f"ledger {plan.ledger_entry}:{plan.ledger_head[:8]}", author=fleet.shop, made=made, paper=paper,
    )  # fmt: skip


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
    footer = f"ledger {fleet.head}"
    return _workbook(tables, title, banner, title, footer, author=fleet.shop, made=made, paper=paper)


def _workbook(
    tables: Sequence[WorkbookTable],
    title: str,
    banner: str,
    header: str,
    footer: str,
    *,
    author: str,
    made: datetime,
    paper: str,
) -> bytes:
    """``banner``, ``header`` and ``footer`` stand above, over and under every sheet."""
    with new_workbook() as (book, out):
        # The library compares and prints naive times; the hour itself is UTC.
        book.set_properties(
            {"title": title, "author": author, "created": made.astimezone(UTC).replace(tzinfo=None)}
        )
        formats = looks(book, **_LOOKS)
        for table in tables:
            sheet = _write_table(book, table, formats, banner)
            sheet.set_paper(PAPERS[paper])
            sheet.set_header(f"&L&B{_plain(table.title)}&R{_plain(header)}")
            sheet.set_footer(f"&L{_plain(footer)}&C&A&Rpage &P of &N")
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


def _write_table(book: Workbook, table: WorkbookTable, formats: dict[str, Any], banner: str) -> Worksheet:
    sheet = book.add_worksheet(table.name)
    last = len(table.columns) - 1
    sheet.write_string(0, 0, f"{table.title}", formats["title"])
    for index in range(_banner_columns(table, banner)):
        sheet.write_blank(1, index, None, formats["banner"])
    sheet.write_string(1, 0, banner, formats["banner"])
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
    if table.landscape:
        sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.set_margins(left=0.5, right=0.5, top=0.7, bottom=0.7)
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
