"""Columns taken for what their header and their values say together.

A header that is only like a known word is taken with a note where its values fit, and asked about where they
do not. A word of two meanings (``Ski``: which of the two, or the model) means what its values fit.

Columns are also made of what a sheet says in another way than one cell a value. Titles between the rows:
``Telemark`` over a block of skis is the kind of each. A title is a value only where every block of the table
has one that can be read as it. Titles that cannot, over a table that lacks a column, are asked about
together; titles that say *sold* are heard elsewhere. A column of models with the length behind each, ``Ski +
length``, is the two columns that it is. Sets wanted have one column of lengths and one of sizes, each
``165-175``, and no names: each column becomes the smallest and the largest, and a line without a name is
called by its sheet and row.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import cache
from itertools import islice
from statistics import median
from typing import Final

from fleet.base.errors import likeness_of
from fleet.facts.columns import Holds
from imports.answers import LEAVE_OUT, About, question_id
from imports.cells import Cell, Content
from imports.days import looks_like_day
from imports.header_match import (
    ChosenColumns,
    MappedColumn,
    header_text,
    is_stranger,
    read_header,
    word_index,
)
from imports.header_rows import context_of_name
from imports.headers import FIELDS, SHEET_OF, Table
from imports.quantities import UNITS_MM, amount_of, tidy
from imports.rows import ABOVE, FoundTable
from imports.table_findings import TableRemarks, some_titles
from imports.words import phrases, says_gone, value_words

_LOOK: Final = 200
"""So many filled cells of a column are looked at."""
_FITS: Final = 0.8
_FITS_NOT: Final = 0.34
"""From, and up to, these shares of cells a column fits, or does not."""

_SKI_WORDS: Final = ("schi", "sci", "esqui", "lyze", "narta", "narty", "smuci", "skida", "skidor", "板")
"""A ski in the languages of shops: in a list of holes the pair's tag, or which of the two."""

OTHER_MEANINGS: Final[Mapping[tuple[Table, str], tuple[str, ...]]] = {
    (Table.SKI, "ski"): ("ski", "model", "tag"),
    (Table.SKI, "pair"): ("tag", "model"),
    (Table.SKI, "taille"): ("length_cm", "waist_mm"),
    (Table.SKI, "sci"): ("model", "tag"),
    (Table.SKI, "size"): ("length_cm", "waist_mm"),
    (Table.BOOT, "sole"): ("bsl_mm", "sole_type"),
    (Table.BOOT, "boot"): ("model", "tag"),
    **{(Table.HOLE, word): ("pair_tag", "ski") for word in _SKI_WORDS},
    (Table.HOLE, "ski"): ("ski", "pair_tag"),
    (Table.HOLE, "status"): ("state",),
    **{
        (Table.WANTED, word): ("wish", "kind")
        for word in ("was", "what", "hva", "vad", "co", "kaj", "cosa", "que", "quoi")
    },
}
"""Header words -> what they may mean in that table, the likeliest first."""


def plain_words_first(table: Table, columns: Sequence[MappedColumn]) -> list[MappedColumn]:
    """The columns, those of a word with several meanings last: a plain word stands above it."""
    return sorted(columns, key=lambda c: (table, header_text(c.header).words) in OTHER_MEANINGS)


def fit(key: str, cells: Sequence[Cell]) -> float:
    """Return the share of these filled cells whose content fits the key, 0 to 1; 0 where there is none."""
    if not cells:
        return 0.0
    share = sum(_fits(key, cell) for cell in cells) / len(cells)
    if FIELDS[key].holds is Holds.TAG and key in ("tag", "binding_id"):
        return share * len({tidy(c.text) for c in cells}) / len(cells)
    return share


def _fits(key: str, cell: Cell) -> bool:
    holds = FIELDS[key].holds
    text = tidy(cell.text)
    if holds is Holds.WORD:
        return header_text(text).words in value_words()[key]
    if holds is Holds.TAG:
        return len(text) <= 24 and any(c.isdigit() for c in text) and cell.content is not Content.DATE
    if holds is Holds.DAY:
        return cell.content is Content.DATE or looks_like_day(text)
    if holds is Holds.TEXT:
        return cell.content is Content.TEXT and sum(c.isalpha() for c in text) >= 2
    if cell.content is Content.DATE:
        return False
    amount = amount_of(text)
    if amount is None:
        return False
    if holds is Holds.COUNT:
        return amount.number == int(amount.number) and 0 <= amount.number <= FIELDS[key].high
    if holds is Holds.SHELL:
        return 15 <= amount.number <= 35 or 150 <= amount.number <= 350
    field = FIELDS[key]
    units = [amount.unit] if amount.unit in UNITS_MM else ["mm", "cm", "m", "in"]
    return any(
        field.low <= amount.number * UNITS_MM[unit] / UNITS_MM[field.unit] <= field.high for unit in units
    )


def settled(table: FoundTable, remarks: TableRemarks, chosen: ChosenColumns) -> FoundTable:
    """Return the table with each column taken for what its header and its values say together.

    ``chosen``: headers that the user answered for; they stand.
    """
    taken = {c.key for c in table.columns}
    own = set(chosen.of_table(table.table))
    columns: list[MappedColumn] = []
    for column in table.columns:
        words = header_text(column.header).words
        if column.key not in FIELDS or words in own:
            columns.append(column)
            continue
        cells = _cells(table, column.number)
        if words in phrases("shell") and "bsl_mm" not in taken and _long_shells(column, cells):
            size = _size_beside(table)
            if size is None:
                taken.discard(column.key)
                own.add(words)
                guesses = ("bsl_mm", column.key)
                remarks.may_hold(
                    table.header_row, column.number, column.header, table.table, guesses, guesses[0]
                )
                continue
            taken.add("bsl_mm")
            for found in (replace(column, key="bsl_mm"), size):
                remarks.by_values(table.header_row, found)
                columns.append(found)
            continue
        if column.near:
            if not cells or (fit(column.key, cells) >= _FITS and _like_enough(column, words)):
                remarks.say("header_near", table.header_row, column)
                columns.append(column)
            else:
                taken.discard(column.key)
                remarks.unknown_column(table.header_row, column.number, column.header, table.table, taken)
            continue
        columns.append(_by_values(table, column, words, cells, taken, remarks))
    columns += _unclaimed(table, columns, own, taken, remarks)
    if columns != list(table.columns):
        table = with_columns(table, columns)
    _ask_of_values(table, own, taken, remarks)
    return table


_TELLING: Final = (Holds.LENGTH, Holds.SHELL, Holds.DAY, Holds.WORD)
"""Values whose form tells what they are."""
_GUESSED_AT: Final = (Table.SKI, Table.BOOT, Table.HOLE)


def _ask_of_values(table: FoundTable, own: set[str], taken: set[str], remarks: TableRemarks) -> None:
    """Ask about columns whose header nobody knows, where their values look like ones that are missing."""
    if table.table not in _GUESSED_AT:
        return
    numbers = {c.number for c in table.columns}
    keys = [
        c.key for c in SHEET_OF[table.table].columns if c.key not in taken and FIELDS[c.key].holds in _TELLING
    ]
    for number, text in table.headers.items():
        words = header_text(text).words
        if number in numbers or words in own or is_stranger(text):
            continue
        cells = _cells(table, number)
        unit = header_text(text).unit
        fitting = [
            key
            for key in keys
            if _likely(key, text, table.table) and len(cells) >= 3 and fit(key, cells) >= _sure(key)
        ]
        fitting = [key for key in fitting if not unit or key.endswith(("_mm", "_cm"))]
        name = "pair_tag" if table.table is Table.HOLE else "tag"
        if name in table.missing and name not in taken and len(cells) >= 3 and fit(name, cells) >= 0.95:
            fitting.insert(0, name)
        if fitting:
            remarks.may_hold(table.header_row, number, text, table.table, fitting)


def _sure(key: str) -> float:
    """Words of a list are seldom there by chance, and a shop has some of its own among them."""
    return _FITS if FIELDS[key].holds is Holds.WORD else 0.95


def _likely(key: str, text: str, table: Table) -> bool:
    """Return whether a header and the range of a value say that a column of fitting numbers may be it."""
    field = FIELDS[key]
    if field.holds is not Holds.LENGTH or 0 < field.high <= field.low * _NARROW:
        return True
    return not set(header_text(text).words.split()).isdisjoint(_words_of(key, table))


_NARROW: Final = 4
"""A measure whose greatest value is up to four times its least is told by its numbers alone."""


@cache
def _words_of(key: str, table: Table) -> frozenset[str]:
    """The words of its headers that say something."""
    said = (words for words, keys in word_index().items() if keys.get(table) == key)
    return frozenset(word for words in said for word in words.split() if len(word) > 3)


def _like_enough(column: MappedColumn, words: str) -> bool:
    """Any text fits a text, so that its header must be the likelier."""
    return FIELDS[column.key].holds is not Holds.TEXT or likeness_of(words, column.near) >= _VERY_LIKE


_VERY_LIKE: Final = 0.86


def _by_values(
    table: FoundTable,
    column: MappedColumn,
    words: str,
    cells: Sequence[Cell],
    taken: set[str],
    remarks: TableRemarks,
) -> MappedColumn:
    """Return the column, or its word's other meaning, where the values fit that and not the first."""
    others = OTHER_MEANINGS.get((table.table, words), ())
    if not cells or fit(column.key, cells) > _FITS_NOT:
        return column
    for key in others:
        if key not in taken and fit(key, cells) >= _FITS:
            taken.discard(column.key)
            taken.add(key)
            other = replace(column, key=key)
            remarks.by_values(table.header_row, other)
            return other
    return column


def _unclaimed(
    table: FoundTable,
    columns: Sequence[MappedColumn],
    own: set[str],
    taken: set[str],
    remarks: TableRemarks,
) -> list[MappedColumn]:
    """Columns whose word has only meanings that need its values to fit, or whose first one is taken."""
    found = []
    numbers = {c.number for c in columns}
    for number, text in table.headers.items():
        words = header_text(text).words
        if number in numbers or words in own:
            continue
        known = read_header(text, table.table)
        if known is not None and known.key not in taken:
            continue
        parts = (words, *(header_text(part).words for part in text.split("/")))
        for key in (key for part in parts for key in OTHER_MEANINGS.get((table.table, part), ())):
            if key not in taken and fit(key, _cells(table, number)) >= _FITS:
                column = MappedColumn(number=number, header=text, key=key, unit=header_text(text).unit)
                taken.add(key)
                remarks.by_values(table.header_row, column)
                found.append(column)
                break
    return found


_LONG_SHELL_MM: Final = 285
"""Half of a shop's boots are no larger than this Mondopoint size, in mm (TRADE.md: of men a tenth are)."""


def _long_shells(column: MappedColumn, cells: Sequence[Cell]) -> bool:
    """Return whether the shell sizes of a column are more likely lengths of soles: feet are not so long."""
    numbers = _numbers(cells)
    lengths = [n * 10 if column.unit == "cm" and n < 100 else n for n in numbers]
    return column.key == "mondopoint" and len(numbers) >= 3 and median(lengths) >= _LONG_SHELL_MM


def _numbers(cells: Sequence[Cell]) -> list[Decimal]:
    return [a.number for a in map(amount_of, (cell.text for cell in cells)) if a is not None]


def _size_beside(table: FoundTable) -> MappedColumn | None:
    """The column that says the shell size beside one of that name, which then is the length of the sole."""
    for number, text in table.headers.items():
        known = read_header(text, table.table)
        cells = _cells(table, number)
        if (
            known is None
            or known.key != "mondopoint"
            or header_text(text).words in phrases("shell")
            or not cells
        ):
            continue
        numbers = _numbers(cells)
        if numbers and median(numbers) < _LONG_SHELL_MM / 10:
            return replace(known, number=number, near="")
    return None


def _cells(table: FoundTable, number: int) -> list[Cell]:
    filled = (cells[number] for _, cells in table.raw if number in cells)
    return list(islice((c for c in filled if tidy(c.text).strip(" -?")), _LOOK))


def with_columns(table: FoundTable, columns: Sequence[MappedColumn]) -> FoundTable:
    """The table with these columns; what one says needs no value for all rows."""
    keys = {c.key for c in columns}
    context = {k: v for k, v in table.context.items() if k not in keys}
    return replace(table, columns=tuple(columns), context=context)


HEADER: Final = "section titles"
"""The name of the column that titles make, in a question and for `--column`."""
_MADE_OF_TITLES: Final = {Table.SKI: ("kind", "length_cm", "rack"), Table.BOOT: ("kind",)}


def with_sections(
    table: FoundTable, titles: Mapping[int, str], chosen: ChosenColumns, remarks: TableRemarks
) -> FoundTable:
    """The table with the titles between its rows as columns. ``titles``: lone texts of the sheet, by row."""
    if table.table not in _MADE_OF_TITLES:
        return table
    over = {n: tidy(text) for n, text in titles.items() if n >= table.header_first - ABOVE}
    title_of = {n: title for n, title in table.under(over) if title and not says_gone(title)}
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


def _value(title: str, key: str) -> str:
    """The title as a value of that key, as text of a cell; empty where it says none, or two."""
    if key == "rack":
        first = header_text(title).words.partition(" ")[0]
        return title if word_index().get(first, {}).get(Table.SKI) == "rack" and first != title else ""
    numbers = [part for part in header_text(title).words.split() if any(c.isdigit() for c in part)]
    if key == "length_cm" and len(numbers) != 1:
        return ""
    return context_of_name(title, Table.SKI).get(key, "")


def _with_column(
    table: FoundTable, key: str, value_of: Mapping[int, str], *, header: str = HEADER
) -> FoundTable:
    """The table with one column more, beside its last; its cells stay however its columns are read later."""
    number = table.beside
    column = MappedColumn(number=number, header=header, key=key)
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


def with_windows(table: FoundTable, remarks: TableRemarks) -> FoundTable:
    """The table of sets wanted with both ends of its windows, and a name for each line."""
    columns = {c.key: c for c in table.columns}
    if table.table is not Table.WANTED or not columns.keys() & _WINDOWS.keys():
        return table
    ends = {c.key: c for c in table.columns if c.key not in _WINDOWS}
    for key, both in _WINDOWS.items():
        if key in columns:
            of_both = zip(both, ("low", "high"), strict=True)
            ends |= {
                each: replace(columns[key], key=each, end=end) for each, end in of_both if each not in ends
            }
    table = with_columns(table, [*ends.values()])
    if "wish" in ends:
        return table
    remarks.say("lines_named", table.header_row, first=table.header_row + 1)
    return _with_column(table, "wish", {n: f"{table.sheet.name} {n}" for n, _ in table.raw}, header="wish")
