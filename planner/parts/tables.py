"""Parts for a workbook: everything the orders take, and the shopping list."""

from __future__ import annotations

from collections.abc import Sequence

from planner.parts.shortage import Line, shopping_list, stock_name
from planner.workbook_tables import Column, Table


def parts_tables(lines: Sequence[Line]) -> tuple[Table, Table]:
    """(parts and tools, shopping list)."""
    every = tuple(
        (
            line.need.part.sort.value,
            line.need.part.name,
            line.need.part.unit,
            line.need.quantity,
            line.reserve,
            line.in_stock,
            line.buy,
            line.first_hit or "",
            f"for {line.need.uses} holes" if line.need.tool else "",
        )
        for line in lines
    )
    columns = (
        Column("sort", 14), Column("part or tool", 54), Column("counted in", 9), Column("needed", 9),
        Column("reserve", 9), Column("in stock", 9), Column("to buy", 9), Column("first order without", 18),
        Column("note", 18),
    )  # fmt: skip
    buy = tuple(
        (stock_name(line.need.part), line.need.part.unit, line.buy, line.first_hit or "")
        for line in shopping_list(lines)
    )
    return (
        Table(
            name="Parts and tools",
            title="Parts and tools of the bench",
            columns=columns,
            rows=every,
            frozen=2,
        ),
        Table(
            name="Shopping list",
            title="Shopping list, reserve included",
            columns=(
                Column("part", 58),
                Column("counted in", 10),
                Column("to buy", 9),
                Column("first order without", 18),
            ),
            rows=buy,
            landscape=False,
        ),
    )
