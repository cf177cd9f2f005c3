"""Parts for a workbook: everything the orders take, and the shopping list."""

from __future__ import annotations

from collections.abc import Sequence

from fleet.base.units import counted
from planner.bench.parts.shortage import StockLine, shopping_list, stock_name
from planner.paper.workbook_tables import Column, WorkbookTable


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
