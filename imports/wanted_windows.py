"""Sets wanted as shops write them: one column of lengths and one of sizes, each ``165-175``, and no names.

Each becomes the smallest and the largest; a line without a name is called by its sheet and row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from imports.cells import Cell
from imports.found_table import FoundTable
from imports.header_match import MappedColumn, required_keys
from imports.headers import Table
from imports.quantities import tidy
from imports.table_findings import TableRemarks

_WINDOWS: Final = {
    "length_cm": ("length_min_cm", "length_max_cm"),
    "mondopoint": ("mondopoint_min", "mondopoint_max"),
}
_RANGE: Final = re.compile(
    r"(?P<low>\d+(?:[.,]\d+)?) ?(?:cm)? ?(?:-|–|—|〜|~|to|bis|à|a|al|do|til|till) ?"
    r"(?P<high>\d+(?:[.,]\d+)?) ?(?:cm)?"
)


def with_windows(table: FoundTable, remarks: TableRemarks) -> FoundTable:
    """The table of sets wanted with both ends of its windows, and a name for each line."""
    columns = {c.key: c for c in table.columns}
    if table.table is not Table.WANTED or not columns.keys() & _WINDOWS.keys():
        return table
    ends = {c.key: c for c in table.columns if c.key not in _WINDOWS}
    for key, both in _WINDOWS.items():
        if key in columns:
            ends |= {end: replace(columns[key], key=end) for end in both if end not in ends}
    named = "wish" not in ends
    if named:
        remarks.lines_named(table.header_row, table.sheet.name)
        ends["wish"] = MappedColumn(number=min(table.headers), header="wish", key="wish")
    rows = []
    for number, cells in table.raw:
        row = {c.key: (c.number, cells[c.number]) for c in table.columns if c.number in cells}
        for key in row.keys() & _WINDOWS.keys():
            at, cell = row.pop(key)
            row = {**_ends(key, at, cell), **row}
        if named:
            row["wish"] = (ends["wish"].number, Cell(f"{table.sheet.name} {number}"))
        rows.append((number, row))
    missing = tuple(key for key in required_keys(Table.WANTED, ends) if key not in ends)
    return replace(table, columns=tuple(ends.values()), rows=rows, missing=missing)


def _ends(key: str, at: int, cell: Cell) -> Mapping[str, tuple[int, Cell]]:
    low, high = _WINDOWS[key]
    found = _RANGE.fullmatch(tidy(cell.text).casefold())
    if found is None:
        return {low: (at, cell), high: (at, cell)}
    return {low: (at, Cell(found["low"])), high: (at, Cell(found["high"]))}
