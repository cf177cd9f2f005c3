"""The bench weeks as tables for a workbook: a calendar, the hours of each day for a chart, and the parts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from fleet.base.days import day_text, short_time_text, stored_day_text
from fleet.base.units import counted
from planner.bench.parts import StockLine, shopping_list, stock_name
from planner.bench.weeks.bench_file import hours_per_day
from planner.bench.weeks.calendar import wall
from planner.bench.weeks.values import Bench, BenchPlan, Job
from planner.paper.workbook_tables import Cell, Column, WorkbookTable

if TYPE_CHECKING:
    from xlsxwriter.workbook import Workbook


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


def parts_tables(lines: Sequence[StockLine]) -> tuple[WorkbookTable, WorkbookTable]:
    """(parts and tools, shopping list)."""
    return every_part(lines), _shopping(lines)


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


def _shopping(lines: Sequence[StockLine]) -> WorkbookTable:
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
