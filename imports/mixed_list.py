"""One list of skis, boots and bindings together: split by what its type column says of each row."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Final

from imports.cells import Cell
from imports.header_match import header_text, word_index
from imports.headers import Table
from imports.words import value_words

_CLASSES: Final[Mapping[str, Table | None]] = {
    "ski": Table.SKI,
    "boot": Table.BOOT,
    "binding": Table.BINDING,
    "other": None,
}
"""Kinds of equipment -> table; None: equipment, but none of ours."""


@lru_cache(maxsize=20_000)
def equipment_class(text: str) -> tuple[bool, Table | None]:
    """(whether the text names equipment, its table). ``ski boot`` is a boot: the last known word counts."""
    found: tuple[bool, Table | None] = (False, None)
    known = value_words()["equipment"]
    for token in re.split(r"\W+", header_text(text).words):
        if token in known:
            found = (True, _CLASSES[known[token]])
    return found


_LOOK: Final = 40
"""After so many filled cells a column that is mostly something else is given up."""


_ITEM: Final = frozenset(
    (
        *("item", "what", "equipment", "article", "artikel", "was", "gerat", "material", "articulo"),
        *("articolo", "co", "rodzaj", "hva", "vad", "kaj", "cosa", "que", "quoi", "druh", "vrsta", "品目"),
    )
)
"""Headers over a column that says what a row is, so that one kind of equipment in all rows says it too."""


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
            elif filled > _LOOK and known * 2 < filled:
                break
        telling = len(seen) >= 2 or (header_text(headers[column]).words in _ITEM and seen - {None, table})
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
    few = min(len(part) for part in parts.values()) < _FEW
    return None if few else ((sizes[Table.SKI], sizes[Table.BOOT]), parts)


_SIZES: Final = {Table.SKI: "length_cm", Table.BOOT: "mondopoint"}
_FEW: Final = 2
"""Fewer rows of a kind are rather a slip than a list of two kinds."""
