"""Merged cells: a value over several rows is meant for each of them; over several columns it is a heading."""

from __future__ import annotations

from collections import defaultdict
from typing import Final

from imports.cells import Content, Sheet

_MOST_ROWS: Final = 5_000


def fill_merged_down(sheet: Sheet) -> dict[int, dict[int, str]]:
    """Fill values of merged cells into the filled rows they cover; rows that hold nothing stay nothing.

    Returns the texts of cells merged over columns, row -> column -> text, for headers in two rows.
    """
    spans: dict[int, dict[int, str]] = defaultdict(dict)
    for area in sheet.merged:
        cell = sheet.rows.get(area.top, {}).get(area.left)
        if cell is None:
            continue
        if area.right > area.left and cell.content is Content.TEXT:
            for column in range(area.left, min(area.right, area.left + 100) + 1):
                spans[area.top][column] = cell.text
        if area.bottom > area.top:
            for row in range(area.top + 1, min(area.bottom, area.top + _MOST_ROWS) + 1):
                cells = sheet.rows.get(row)
                if cells is not None and area.left not in cells:
                    cells[area.left] = cell._replace(merged=True)
    return spans
