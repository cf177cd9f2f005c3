"""The name of a sheet, where it speaks for all its rows: one sheet per length, or per kind of ski."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from imports.header_match import header_text
from imports.headers import Table
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
