"""Columns made of what a sheet says in another way than one cell a value.

Titles between the rows: ``Telemark`` over a block of skis is the kind of each. A title is a value only where
every block of the table has one that can be read as it. Titles that cannot, over a table that lacks a column,
are asked about together; titles that say *sold* are heard elsewhere.

A column of models with the length behind each, ``Ski + length``, is the two columns that it is. Sets wanted
have one column of lengths and one of sizes, each ``165-175``, and no names: each column becomes the smallest
and the largest, and a line without a name is called by its sheet and row.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

from imports.answers import LEAVE_OUT, About, question_id
from imports.cells import Cell, Content
from imports.column_fit import with_columns
from imports.doubt_words import says_gone
from imports.header_match import ChosenColumns, MappedColumn, header_text, required_keys, word_index
from imports.headers import Table
from imports.quantities import tidy
from imports.rows import ABOVE, FoundTable
from imports.table_choice import context_of_name
from imports.table_findings import TableRemarks, some_titles

HEADER: Final = "section titles"
"""The name of the column that titles make, in a question and for `--column`."""
_MADE_OF_TITLES: Final = {Table.SKI: ("kind", "length_cm", "rack"), Table.BOOT: ("kind",)}


def with_sections(
    table: FoundTable, titles: Mapping[int, str], chosen: ChosenColumns, remarks: TableRemarks
) -> FoundTable:
    """The table with the titles between its rows as columns. ``titles``: lone texts of the sheet, by row."""
    if table.table not in _MADE_OF_TITLES:
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
    for key in _MADE_OF_TITLES[table.table]:
        values = {title: _value(title, key) for title in used}
        if key in taken or not whole or not all(values.values()):
            continue
        remarks.sections(table.header_row, list(used), key, "")
        table = _with_column(table, key, {row: values[title] for row, title in title_of.items()})
    lacking = tuple(dict.fromkeys(key for key in ("model", *table.missing) if key not in taken))
    if lacking and len(table.columns) == len(taken):
        remarks.say(
            "section_titles_unknown",
            table.header_row,
            question=identity,
            guesses=(*lacking, LEAVE_OUT),
            titles=some_titles(list(used)),
            missing=", ".join(lacking),
            first=lacking[0],
        )
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


_BOTH_IN_HEADER: Final = re.compile(r"[+/,&]| and | und | et | e | og | i | y ", re.IGNORECASE)
_MODEL_AND_LENGTH: Final = re.compile(
    r"(?P<model>.*[^\W\d].*?)[ ,;/(-]+(?P<length>[12]\d{2}|[6-9]\d) ?(?:cm)?\)?", re.DOTALL
)
"""A length from 60 to 299 cm, the last figure of the text."""


def with_length_behind(table: FoundTable, remarks: TableRemarks) -> FoundTable:
    """The table with the lengths as a column of their own, beside its last, where its header names both."""
    if table.table is not Table.SKI or any(c.key == "length_cm" and not c.near for c in table.columns):
        return table
    for number, text in table.headers.items():
        parts = [
            word_index().get(header_text(part).words, {}).get(Table.SKI)
            for part in _BOTH_IN_HEADER.split(text)
        ]
        if parts not in (["model", "length_cm"], ["ski", "length_cm"]):
            continue
        both = {
            n: _MODEL_AND_LENGTH.fullmatch(tidy(cells[number].text))
            for n, cells in table.raw
            if number in cells
        }
        found = {n: match for n, match in both.items() if match is not None}
        if not found or len(found) < len(both):
            return table
        remarks.forget(table.header_row, number)
        remarks.say("length_behind", table.header_row, MappedColumn(number=number, header=text, key="model"))
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
        remarks.say("lines_named", table.header_row, first=table.header_row + 1)
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
