"""The table that a header row means: the one whose words fit best, and when that is in doubt.

The sheet's name speaks for a table, and for all its rows: one sheet per length, or per kind of ski.
"""

import re
from collections.abc import Collection, Mapping
from typing import Final

from fleet.facts.columns import columns_of
from fleet.facts.pairs import BootFacts, Pair
from imports.header_match import header_text, match_columns, required_keys
from imports.headers import Table
from imports.quantities import amount_of
from imports.words import value_words

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
    plain_size = size_key is not None and header_text(keys[size_key]).words in _PLAIN_SIZES
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


_PLAIN_SIZES: Final = ("size", "grosse", "groesse", "taille", "len")
"""Headers of a size that do not say of what."""
