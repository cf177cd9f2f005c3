"""Titles between the rows of a table, made a column: ``Telemark`` over a block of skis is the kind of each.

A title is a value only where every block of the table has one that can be read as it. Titles that cannot,
over a table that lacks a column, are asked about together; titles that say *sold* are heard elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

from imports.cells import Cell, Content
from imports.column_fit import with_columns
from imports.doubt_words import says_gone
from imports.found_table import ABOVE, FoundTable
from imports.header_match import ChosenColumns, MappedColumn, header_text, word_index
from imports.headers import Table
from imports.quantities import tidy
from imports.question_id import About, question_id
from imports.sheet_name import context_of_name
from imports.table_findings import TableRemarks

HEADER: Final = "section titles"
"""The name of the column that titles make, in a question and for `--column`."""
_TABLES: Final = {Table.SKI: ("kind", "length_cm", "rack"), Table.BOOT: ("kind",)}


def with_sections(
    table: FoundTable, titles: Mapping[int, str], chosen: ChosenColumns, remarks: TableRemarks
) -> FoundTable:
    """The table with the titles between its rows as columns. ``titles``: lone texts of the sheet, by row."""
    if table.table not in _TABLES:
        return table
    title_of = dict(_title_of_rows(table, titles))
    used = dict.fromkeys(title_of.values())
    if not any(table.header_row < n and text in used for n, text in titles.items()):
        return table
    own = chosen.of_table(table.table)
    identity = question_id(About.COLUMN, table.table.value, HEADER)
    if HEADER in own:
        answered = identity if identity in chosen.answers.by_id else ""
        remarks.sections(table.header_row, list(used), own[HEADER], answered)
        return _with_column(table, own[HEADER], title_of) if own[HEADER] else table
    taken = {c.key for c in table.columns}
    whole = len(title_of) == len(table.raw)
    for key in _TABLES[table.table]:
        values = {title: _value(title, key) for title in used}
        if key in taken or not whole or not all(values.values()):
            continue
        remarks.sections(table.header_row, list(used), key, "")
        table = _with_column(table, key, {row: values[title] for row, title in title_of.items()})
    lacking = tuple(key for key in ("model", *table.missing) if key not in taken)
    if lacking and len(table.columns) == len(taken):
        remarks.sections_in_doubt(table.header_row, list(used), tuple(dict.fromkeys(lacking)), identity)
    return table


def _title_of_rows(table: FoundTable, titles: Mapping[int, str]) -> Iterator[tuple[int, str]]:
    """Row number -> the title over it; the next title ends its block, and so does one that says gone."""
    marks = sorted((n, tidy(text)) for n, text in titles.items() if n >= table.header_first - ABOVE)
    at, said = 0, ""
    for number, _ in table.raw:
        while at < len(marks) and marks[at][0] < number:
            said = "" if says_gone(marks[at][1]) else marks[at][1]
            at += 1
        if said:
            yield number, said


def _value(title: str, key: str) -> str:
    """The title as a value of that key, as text of a cell; empty where it says none, or two."""
    if key == "rack":
        first = header_text(title).words.partition(" ")[0]
        return title if word_index().get(first, {}).get(Table.SKI) == "rack" and first != title else ""
    numbers = [part for part in header_text(title).words.split() if any(c.isdigit() for c in part)]
    if key == "length_cm" and len(numbers) != 1:
        return ""
    return context_of_name(title, Table.SKI).get(key, "")


def _with_column(table: FoundTable, key: str, value_of: Mapping[int, str]) -> FoundTable:
    """The table with one column more, beside its last; its cells stay however its columns are read later."""
    number = table.beside
    column = MappedColumn(number=number, header=HEADER, key=key)
    raw = [
        (row, {**cells, number: Cell(value_of[row], Content.TEXT)} if row in value_of else cells)
        for row, cells in table.raw
    ]
    return with_columns(replace(table, raw=raw), (*table.columns, column))
