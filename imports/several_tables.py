"""Several tables in one: side by side on a sheet, or one list of skis, boots and bindings together.

Of tables side by side: where one begins beside another, and the columns of each. A list of several kinds is
split by what its type column says of each row, or by the sizes that only one kind has.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import product
from typing import Final

from fleet.base.grouping import grouped
from imports.cells import Cell, Content, Sheet
from imports.header_match import header_text, read_header, word_index
from imports.header_rows import Headline, headline_at, is_header
from imports.headers import Table
from imports.rows import FAR_RIGHT, FoundTable
from imports.table_findings import TableRemarks
from imports.words import phrases, value_words


def goes_on(table: FoundTable, number: int, chosen: Mapping[str, str]) -> bool:
    """Return whether a table has rows from that one on, which is no header of its columns."""
    span, rows = _span(table), table.sheet.rows
    if is_header({n: rows[number][n] for n in span if n in rows[number]}, chosen):
        return False
    return any(n >= number and not cells.keys().isdisjoint(span) for n, cells in rows.items())


def begun_beside(
    tables: Sequence[FoundTable],
    number: int,
    below: int | None,
    spans: Mapping[int, Mapping[int, str]],
    chosen: Mapping[str, str],
) -> Headline | None:
    """The header of a table that begins in this row beside those that go on in it."""
    if not tables:
        return None
    sheet, taken = tables[0].sheet, [_span(table) for table in tables]
    cells = sheet.rows[number]
    free = cells.keys() - {n for span in taken for n in span}
    if len(free) < 2:
        return None
    between = grouped(sorted(free), lambda column: sum(span.start < column for span in taken))
    for columns in between.values():
        rows = {
            n: _within(sheet.rows[n], min(columns), max(columns)) for n in (number, below) if n is not None
        }
        under = below if below is not None and rows[below] else None
        line = headline_at(
            replace(sheet, rows=rows), number, above=None, below=under, spans=spans, chosen=chosen, near=True
        )
        if line is not None:
            return line
    return None


def _within(cells: Mapping[int, Cell], first: int, last: int) -> dict[int, Cell]:
    return {n: cell for n, cell in cells.items() if first <= n <= last}


def _span(table: FoundTable) -> range:
    """The columns of a table: the known ones, what is between them, and what its header says next to them."""
    numbers = [column.number for column in table.columns] or [*table.headers]
    first, last = min(numbers), max(numbers)
    while first - 1 in table.headers:
        first -= 1
    while last + 1 in table.headers:
        last += 1
    return range(first, last + 1)


def side_by_side(tables: Sequence[FoundTable], remarks: TableRemarks) -> list[FoundTable]:
    """The tables from left to right, each with its own columns; a text over a lower header is its title."""
    ordered = sorted(tables, key=lambda table: _span(table).start)
    starts = [ordered[0].left, *(_span(table).start for table in ordered[1:])]
    for table, left, after in zip(ordered, starts, [*starts[1:], FAR_RIGHT + 1], strict=True):
        table.left, table.right = left, after - 1
        for number in table.headers:
            if not left <= number < after:
                remarks.forget(table.header_row, number)
        table.headers = {n: text for n, text in table.headers.items() if left <= n < after}
    for table in ordered:
        _leave_to_others(table, [other for other in ordered if other is not table])
    return ordered


def _leave_to_others(table: FoundTable, others: Sequence[FoundTable]) -> None:
    """Take what stands in columns of others out of a table's rows; a lone text over a header is its title."""
    for at, (number, cells) in enumerate(table.raw):
        mine = _within(cells, table.left, table.right)
        if len(mine) == len(cells):
            continue
        table.raw[at] = (number, mine)
        for other in others:
            if title := lone_text(_within(cells, other.left, other.right)):
                other.titles[number] = title


def lone_text(cells: Mapping[int, Cell]) -> str:
    """The text that stands in a row, if nothing else does; else empty."""
    alone = [cell.text for cell in cells.values() if cell.content is Content.TEXT]
    return alone[0] if len(alone) == len(cells) == 1 else ""


def begun_anew(sheet: Sheet, line: Headline, parts: Sequence[dict[int, str]]) -> list[dict[int, str]]:
    """Parts of a header put together again, but for those that begin a table of their own.

    Such a one says headers again that stand left of it, the first of them too; or it has a title of its own
    and other rows than what stands left of it; or more is known of them as of two tables.
    Between the two no row has a cell.
    """
    groups = [dict(parts[0])]
    for part in parts[1:]:
        left = groups[-1]
        words = [header_text(text).words for text in left.values()]
        mine = [header_text(text).words for text in part.values()]
        repeats = mine[0] in words and sum(said in words for said in mine) * 2 > len(mine)
        filled = [
            {n for n, cells in sheet.rows.items() if n > line.last and not cells.keys().isdisjoint(columns)}
            for columns in (left, part)
        ]
        titled = all(_is_titled(sheet, line, columns) for columns in (left, part))
        between = range(max(left) + 1, min(part))
        apart = not any(n > line.last and c in between for n, cells in sheet.rows.items() for c in cells)
        two = _more_known([*map(_means, left.values())], [*map(_means, part.values())]) >= _MORE_KNOWN
        if apart and (repeats or two or (titled and filled[0] != filled[1])):
            groups.append(dict(part))
        else:
            left.update(part)
    return groups


def _is_titled(sheet: Sheet, line: Headline, columns: Mapping[int, str]) -> bool:
    """Return whether a text stands over the first of the columns, above the header."""
    return any(n < line.first and min(columns) in cells for n, cells in sheet.rows.items())


_Means = Mapping[Table, str]
"""The keys that a header, or a known one that it is nearly, has in a list of skis and in one of boots."""


def _means(text: str) -> _Means:
    found = {table: read_header(text, table) for table in (Table.SKI, Table.BOOT)}
    return {table: column.key for table, column in found.items() if column is not None}


_MORE_KNOWN: Final = 2
"""Headers are two tables where so many more of them are known as those of two (our default)."""


def _more_known(left: Sequence[_Means], right: Sequence[_Means]) -> int:
    """Return how many more headers are known as two tables of which the right one says some again.

    Boots have tags; pairs beside boots may only be counted; and two of a kind have tags both.
    """

    def keys(means: Iterable[_Means], table: Table) -> set[str]:
        return {of[table] for of in means if table in of}

    known = [0]
    for first, second in product((Table.SKI, Table.BOOT), repeat=2):
        mine, theirs = keys(left, first), keys(right, second)
        tagged = mine & theirs if first is second else mine if first is Table.BOOT else theirs
        if "tag" in tagged and mine & theirs:
            known.append(len(mine) + len(theirs))
    return max(known) - max(len(keys((*left, *right), table)) for table in (Table.SKI, Table.BOOT))


def _begins(means: Sequence[_Means], at: int) -> bool:
    """Return whether a header is that of tags, or one that stands before it again."""
    before = {key for of in means[:at] for key in of.values()} | {"tag"}
    return not before.isdisjoint(means[at].values())


def parts_of(headers: Mapping[int, str]) -> list[dict[int, str]]:
    """Headers parted by empty columns, and where two tables stand without one between them."""
    parts: list[dict[int, str]] = []
    for column in sorted(headers):
        if column - 1 not in headers:
            parts.append({})
        parts[-1][column] = headers[column]
    return [part for whole in parts for part in _touching(whole)]


def _touching(headers: dict[int, str]) -> list[dict[int, str]]:
    means = [_means(text) for text in headers.values()]
    more = {
        at: (_more_known(means[:at], means[at:]), "tag" in means[at].values(), at)
        for at in range(1, len(means))
        if _begins(means, at)
    }
    at = max(more, key=more.__getitem__, default=0)
    if not at or more[at][0] < _MORE_KNOWN:
        return [headers]
    both = list(headers.items())
    return [dict(both[:at]), *_touching(dict(both[at:]))]


_TABLE_OF: Final[Mapping[str, Table | None]] = {
    "ski": Table.SKI,
    "boot": Table.BOOT,
    "binding": Table.BINDING,
    "other": None,
}
"""Kinds of equipment -> table; None: equipment, but none of ours."""


@lru_cache(maxsize=20_000)
def equipment_class(text: str) -> tuple[bool, Table | None]:
    """(whether the text names equipment, its table). ``ski boot`` is a boot: the last known word counts."""
    known = value_words()["equipment"]
    said = [known[token] for token in re.split(r"\W+", header_text(text).words) if token in known]
    return (True, _TABLE_OF[said[-1]]) if said else (False, None)


_CELLS_SEEN: Final = 40
"""After so many filled cells a column that is mostly something else is given up."""


def type_column(
    rows: Sequence[tuple[int, Mapping[int, Cell]]], headers: Mapping[int, str], table: Table
) -> int | None:
    """The column that names different equipment in (nearly) every row, or other than ``table``; else None."""
    for column in sorted(headers):
        seen: set[Table | None] = set()
        known = filled = 0
        for _, cells in rows:
            cell = cells.get(column)
            if cell is None:
                continue
            filled += 1
            is_equipment, one = equipment_class(cell.text)
            if is_equipment:
                known += 1
                seen.add(one)
            elif filled > _CELLS_SEEN and known * 2 < filled:
                break
        telling = len(seen) >= 2 or (
            header_text(headers[column]).words in phrases("item") and seen - {None, table}
        )
        if filled and known >= filled * 0.8 and known >= len(rows) * 0.6 and telling:
            return column
    return None


def by_sizes(
    rows: Sequence[tuple[int, Mapping[int, Cell]]], headers: Mapping[int, str]
) -> tuple[tuple[int, int], dict[Table, list[tuple[int, Mapping[int, Cell]]]]] | None:
    """(the columns of lengths and of shell sizes, the rows of skis and of boots) of a list in which no column
    says what a row is, but each row has a length or a shell size; None for another list.
    """
    sizes: dict[Table, int] = {}
    of_either: list[int] = []
    for number, text in headers.items():
        means = word_index().get(header_text(text).words, {})
        mine = [table for table, key in _SIZES.items() if means.get(table) == key]
        if len(mine) == len(_SIZES):
            of_either.append(number)
        elif mine and not means.keys() & (_SIZES.keys() - set(mine)):
            sizes[mine[0]] = number
    if len(sizes) == len(of_either) == 1:  # *Size* beside *Length*: the rows say whether it is the boots'
        sizes |= dict.fromkeys(_SIZES.keys() - sizes.keys(), of_either[0])
    if len(sizes) < 2:
        return None
    parts: dict[Table, list[tuple[int, Mapping[int, Cell]]]] = {table: [] for table in sizes}
    for number, cells in rows:
        of = [table for table, column in sizes.items() if column in cells]
        if len(of) != 1:
            return None
        parts[of[0]].append((number, cells))
    few = min(len(part) for part in parts.values()) < _TOO_FEW
    return None if few else ((sizes[Table.SKI], sizes[Table.BOOT]), parts)


_SIZES: Final = {Table.SKI: "length_cm", Table.BOOT: "mondopoint"}
_TOO_FEW: Final = 2
"""Fewer rows of a kind are rather a slip than a list of two kinds."""
