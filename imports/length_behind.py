"""A column of models with the length behind each, ``Ski + length``: read as the two columns that it is."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Final

from imports.cells import Cell, Content
from imports.column_fit import with_columns
from imports.found_table import FoundTable
from imports.header_match import MappedColumn, header_text, word_index
from imports.headers import Table
from imports.quantities import tidy
from imports.table_findings import TableRemarks

_BETWEEN: Final = re.compile(r"[+/,&]| and | und | et | e | og | i | y ", re.IGNORECASE)
_BOTH: Final = re.compile(
    r"(?P<model>.*[^\W\d].*?)[ ,;/(-]+(?P<length>[12]\d{2}|[6-9]\d) ?(?:cm)?\)?", re.DOTALL
)
"""A length from 60 to 299 cm, the last figure of the text."""


def with_length_behind(table: FoundTable, remarks: TableRemarks) -> FoundTable:
    """The table with the lengths as a column of their own, beside its last, where its header names both."""
    if table.table is not Table.SKI or any(c.key == "length_cm" and not c.near for c in table.columns):
        return table
    for number, text in table.headers.items():
        parts = [
            word_index().get(header_text(part).words, {}).get(Table.SKI) for part in _BETWEEN.split(text)
        ]
        if parts not in (["model", "length_cm"], ["ski", "length_cm"]):
            continue
        both = {n: _BOTH.fullmatch(tidy(cells[number].text)) for n, cells in table.raw if number in cells}
        found = {n: match for n, match in both.items() if match is not None}
        if not found or len(found) < len(both):
            return table
        remarks.length_behind(table.header_row, number, text)
        beside = table.beside
        raw = [
            (
                n,
                {
                    **cells,
                    number: Cell(found[n]["model"], Content.TEXT),
                    beside: Cell(found[n]["length"], Content.TEXT),
                }
                if n in found
                else cells,
            )
            for n, cells in table.raw
        ]
        columns = [c for c in table.columns if c.number != number and c.key != "model"]
        columns += [
            MappedColumn(number=at, header=text, key=key)
            for at, key in ((number, "model"), (beside, "length_cm"))
        ]
        return with_columns(replace(table, raw=raw), columns)
    return table
