"""The rows over the columns: one header row, two, or one with a row of units beneath it; and what they mean.

A header row means the table whose words fit best. The sheet's name speaks for a table, and for all its rows:
one sheet per length, or per kind of ski.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Final

from fleet.facts.boots import BootFacts
from fleet.facts.columns import columns_of
from fleet.facts.pairs import Pair
from imports.cells import Cell, Content, Sheet
from imports.header_match import (
    header_text,
    holes_in,
    is_header_word,
    is_near_header,
    match_columns,
    required_keys,
    unit_word,
)
from imports.headers import Table
from imports.quantities import amount_of, tidy
from imports.words import phrases, value_words

_FIGURE: Final = re.compile(r"\d")


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """A header: its rows, the text over each column, units from a row of units, and the table it means.

    ``hits``: how many of its columns that table knows; 0 where somebody named the table.
    """

    first: int
    last: int
    headers: Mapping[int, str]
    table: Table
    hits: int
    units: Mapping[int, str] = field(default_factory=dict)


def headline_at(
    sheet: Sheet,
    number: int,
    *,
    above: int | None,
    below: int | None,
    spans: Mapping[int, Mapping[int, str]],
    chosen: Mapping[str, str],
    near: bool = False,
) -> Headline | None:
    """The header that begins at or just above row ``number``, or None if this row is no header.

    ``above``/``below``: neighbouring filled rows that may belong to it. ``spans``: texts of merged cells,
    row -> column -> text, spread over their columns. ``near``: headers that are only like known
    ones count too. Of the readings the one with the most known columns
    wins; of equals the one with fewer rows.
    """
    cells = sheet.rows[number]
    if below is not None and (holes := _holes_below(sheet, number, below, spans, chosen)) is not None:
        return holes
    if not is_header(cells, chosen) and not (near and _is_near(cells)):
        return None
    plain = _in_full(_texts(cells))
    table, hits = best_table(plain, sheet.name, chosen)
    best = Headline(first=number, last=number, headers=plain, table=table, hits=hits) if table else None
    if above is not None and all(c.content is Content.TEXT for c in sheet.rows[above].values()):
        over = _texts(sheet.rows[above], spans.get(above, {}))
        best = _better(best, _joined(sheet.name, above, number, over, plain, chosen))
    top = {**spans.get(number, {}), **plain}
    if below is not None and _continues(sheet.rows[below], top):
        bottom = _texts(sheet.rows[below])
        units = {c: unit for c, text in bottom.items() if (unit := unit_word(text))}
        if units and len(units) == len(bottom) and best is not None:
            return Headline(
                first=best.first,
                last=below,
                headers=best.headers,
                table=best.table,
                hits=best.hits,
                units=units,
            )
        best = _better(best, _joined(sheet.name, number, below, top, bottom, chosen))
    return best


def _holes_below(
    sheet: Sheet, number: int, below: int, spans: Mapping[int, Mapping[int, str]], chosen: Mapping[str, str]
) -> Headline | None:
    """A header in two rows of which only both say which hole a column places: ``toe`` over ``front``."""
    if any(c.content is not Content.TEXT for n in (number, below) for c in sheet.rows[n].values()):
        return None
    top, bottom = _texts(sheet.rows[number], spans.get(number, {})), _texts(sheet.rows[below])
    if any(_FIGURE.search(text) for text in bottom.values()):
        return None
    both = {c: f"{top.get(c, '')} {text}" for c, text in bottom.items() if c in top}
    if len(holes_in(both)) < 2 or holes_in(top) or holes_in(bottom):
        return None
    return _joined(sheet.name, number, below, top, bottom, chosen)


def headline_of(sheet: Sheet, number: int, table: Table) -> Headline | None:
    """The row as the header of a table that somebody named: texts without figures, over rows that go on."""
    cells = sheet.rows[number]
    below = sheet.rows.get(number + 1, {})
    if not _only_words(cells) or len(cells.keys() & below.keys()) * 2 < len(cells):
        return None
    headers = _in_full(_texts(cells))
    return Headline(first=number, last=number, headers=headers, table=table, hits=0)


_UP_TO: Final[Mapping[str, tuple[str, ...]]] = {
    "von": ("bis",),
    "from": ("to",),
    "min": ("max",),
    "de": ("a",),
    "da": ("a",),
    "desde": ("hasta",),
    "fra": ("til",),
    "fran": ("till",),
    "od": ("do",),
}
"""Words at the end of a header, and those that stand alone in the next for its other end."""


def _in_full(headers: Mapping[int, str]) -> dict[int, str]:
    """``Length from | to`` as ``Length from | Length to``."""
    full = dict(headers)
    for column, text in headers.items():
        left = headers.get(column - 1, "").split()
        if len(left) > 1 and header_text(text).words in _UP_TO.get(header_text(left[-1]).words, ()):
            full[column] = " ".join([*left[:-1], text])
    return full


def _better(best: Headline | None, other: Headline | None) -> Headline | None:
    if other is None or (best is not None and other.hits <= best.hits):
        return best
    return other


def is_header(cells: Mapping[int, Cell], chosen: Mapping[str, str]) -> bool:
    """At least two known header words, and words that are headers for about half of the texts."""
    texts = {n: cell.text for n, cell in cells.items() if cell.content is Content.TEXT}
    if len(texts) < len(cells) * 0.7:
        return False
    own = {header_text(key).words for key in chosen}
    placed = holes_in(texts)
    hits = sum(
        number in placed or is_header_word(text) or (bool(own) and header_text(text).words in own)
        for number, text in texts.items()
    )
    return hits >= 2 and (hits * 2 >= len(texts) or hits >= 4)


def _is_near(cells: Mapping[int, Cell]) -> bool:
    """At least three texts without figures, most of them headers or nearly."""
    if not _only_words(cells):
        return False
    hits = sum(is_near_header(cell.text) for cell in cells.values())
    return hits >= 3 and hits * 2 > len(cells)


def _only_words(cells: Mapping[int, Cell]) -> bool:
    """Return whether a row is at least three texts, none with a figure."""
    return len(cells) >= 3 and all(
        c.content is Content.TEXT and not _FIGURE.search(c.text) for c in cells.values()
    )


def _texts(cells: Mapping[int, Cell], spread: Mapping[int, str] | None = None) -> dict[int, str]:
    """The texts of a row by column, over those that merged cells spread over it."""
    return {**(spread or {}), **{column: cell.text for column, cell in cells.items()}}


def _continues(cells: Mapping[int, Cell], top: Mapping[int, str]) -> bool:
    """Return whether a row under a header may be its second row: words without digits, each known or a unit.

    Known by itself or together with the text above it.
    """
    for column, cell in cells.items():
        if cell.content is not Content.TEXT or any(c.isdigit() for c in tidy(cell.text)):
            return False
        both = f"{top.get(column, '')} {cell.text}"
        if not unit_word(cell.text) and not is_header_word(cell.text) and not is_header_word(both):
            return False
    return True


def _joined(
    sheet_name: str,
    first: int,
    last: int,
    top: Mapping[int, str],
    bottom: Mapping[int, str],
    chosen: Mapping[str, str],
) -> Headline | None:
    """Two rows as one header: both texts together where that is known, else the lower, else the upper."""
    headers, units = {}, {}
    for column in sorted({*top, *bottom}):
        upper, lower = top.get(column, ""), bottom.get(column, "")
        both = f"{upper} {lower}".strip()
        if unit_word(lower):
            headers[column], units[column] = upper, unit_word(lower)
        elif is_header_word(both) or not lower:
            headers[column] = both
        else:
            headers[column] = lower if is_header_word(lower) else both
    headers = _in_full({c: text for c, text in headers.items() if text})
    table, hits = best_table(headers, sheet_name, chosen)
    if table is None:
        return None
    return Headline(first=first, last=last, headers=headers, table=table, hits=hits, units=units)


def is_transposed(sheet: Sheet) -> bool:
    """Return whether header words run down one of the first columns instead of along a row."""
    for column in (1, 2, 3):
        texts = [cells[column].text for cells in sheet.rows.values() if column in cells]
        known = {header_text(t).words for t in texts if is_header_word(t)}
        if len(known) >= 3 and len(known) * 2 >= len(texts):
            return True
    return False


_LENGTH: Final = re.compile(r"(?:^|\D)(\d{2,3})\s*cm\b|^\s*(\d{3})\s*$|\b(1[0-9]{2})\b", re.IGNORECASE)


_SHEET_HINTS: Final[Mapping[Table, tuple[str, ...]]] = {
    Table.SKI: (
        *("ski", "pairs", "telemark", "touring", "alpine", "junior", "paare", "tourenski", "rando"),
        *("narty", "lyže", "lyze", "smuči", "smuci", "esquí", "esqui", "スキー"),
    ),
    Table.BOOT: (
        *("boot", "schuh", "chaussure", "buty", "boty", "botas", "støvl", "stovl", "pjäx", "scarpon"),
        *("čevlj", "cevlj", "ブーツ"),
    ),
    Table.BINDING: ("binding", "bindung", "fixation", "bindning", "wiązan", "wiazan", "attacch", "fijacion"),
    Table.PATTERN: ("pattern", "bohrbild", "lochbild", "gabarit"),
    Table.HOLE: (
        *("hole", "loch", "löcher", "locher", "bohr", "trou", "wierc", "otwor", "hull", "fori"),
        *("agujer", "taladr", "vrtán", "vrtan", "luknj"),
    ),
    Table.FIT: ("fit", "compat", "passt"),
    Table.WANTED: (
        *("wanted", "wish", "sets", "wunsch", "bedarf", "besoin", "trenger", "ønske", "behov"),
        *("potrzeb", "potřeb", "potreb", "fabbisogn", "necesid"),
    ),
    Table.STAFF: ("staff", "mitarbeiter", "personal", "personnel"),
    Table.MOUNT: ("mounts",),
    Table.AREA: ("areas",),
    Table.SIDE: ("skis",),
    Table.POLICY: ("policy",),
}
"""Parts of sheet and file names that speak for a table."""


def hinted(name: str, table: Table) -> bool:
    """Return whether a sheet's name speaks for this table and for no other kind of equipment."""
    lowered = name.casefold()
    if table is Table.SKI and any(w in lowered for t in (Table.BOOT, Table.BINDING) for w in _SHEET_HINTS[t]):
        return False
    return any(word in lowered for word in _SHEET_HINTS.get(table, ()))


def context_of_name(name: str, table: Table) -> Mapping[str, str]:
    """Ski values that the sheet's name states: ``length_cm`` and ``kind``, as text of a cell."""
    if table is not Table.SKI:
        return {}
    found = {}
    length = _LENGTH.search(name)
    if length:
        number = next(g for g in length.groups() if g)
        if 60 <= int(number) <= 240:
            found["length_cm"] = number
    known = value_words()["kind"]
    words = header_text(name).words.split()
    kinds = {known[w] for w in words if w in known} | {
        known[" ".join(words)] for _ in (1,) if " ".join(words) in known
    }
    if len(kinds) == 1:
        found["kind"] = kinds.pop()
    return found


NAME_KEYS: Final[Mapping[Table, Collection[str]]] = {
    Table.SKI: ("tag",),
    Table.BOOT: ("tag",),
    Table.HOLE: ("pair_tag", "x_mm", "y_mm"),
    Table.BINDING: ("model",),
    Table.PATTERN: ("pattern", "piece", "follows", "x_mm", "y_mm"),
    Table.FIT: ("sole_type", "pattern"),
    Table.WANTED: ("wish",),
    Table.STAFF: ("name",),
}
"""The keys that name a row or give it its place; without one of these a row is nothing."""

BESIDE: Final = frozenset({"status", "reason", "answer"})
"""Columns that may stand beside any table and tell nothing about it."""
_SKI_KEYS, _BOOT_KEYS = ({c.key for c in columns_of(thing)} for thing in (Pair, BootFacts))
_SHARED: Final = frozenset({"season", "bsl_mm", "quantity"}) | (_SKI_KEYS & _BOOT_KEYS) | BESIDE
"""Keys that skis and boots have alike: they decide nothing."""
_SIZE_KEYS: Final = {"length_cm": Table.SKI, "mondopoint": Table.BOOT}


def best_table(
    headers: Mapping[int, str], sheet_name: str, chosen: Mapping[str, str] | None = None
) -> tuple[Table | None, int]:
    """(the table whose words fit this header row best, how many fit); None below two hits."""
    best: tuple[float, int, Table] | None = None
    for table in Table:
        mapped, unknown = match_columns(headers, table, chosen)
        keys = {m.key for m in mapped} - BESIDE
        if len(keys) < 2:
            continue
        context = context_of_name(sheet_name, table)
        names = NAME_KEYS.get(table, required_keys(table))
        missing = sum(
            1.5 if key in names else 0.5
            for key in required_keys(table, keys)
            if key not in keys and key not in context
        )
        exact = sum(1 for m in mapped if m.header.strip() == m.key and m.key in keys)
        score = len(keys) + exact * 0.5 - missing - 0.3 * len(unknown)
        if hinted(sheet_name, table):
            score += 2.0
        if best is None or score > best[0]:
            best = (score, len(keys), table)
    return (best[2], best[1]) if best else (None, 0)


def decided_table(
    table: Table, keys: Mapping[str, str], sheet_name: str, sizes: Collection[str]
) -> Table | None:
    """The table a list of tagged things really is: skis or boots, or None where nothing tells.

    ``keys``: key -> header. ``sizes``: the texts of a column that may be a ski length or a shell size.
    """
    if table not in (Table.SKI, Table.BOOT):
        return table
    size_key = next((k for k in _SIZE_KEYS if k in keys), None)
    plain_size = size_key is not None and header_text(keys[size_key]).words in phrases("any_size")
    telling = set(keys) - _SHARED - ({size_key} if plain_size and size_key else set())
    if telling or hinted(sheet_name, table):
        return table
    if plain_size:
        numbers = [float(a.number) for a in map(amount_of, sizes) if a is not None]
        if numbers and all(n >= 60 for n in numbers):
            return Table.BOOT if all(200 <= n <= 340 for n in numbers) else Table.SKI
        if numbers and all(15 <= n <= 35 for n in numbers):
            return Table.BOOT
    return None
