"""What a sheet's name says for all of its rows: one sheet per length, or per kind of ski."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from imports.header_match import header_text
from imports.headers import Table
from imports.words import value_words

_LENGTH: Final = re.compile(r"(?:^|\D)(\d{2,3})\s*cm\b|^\s*(\d{3})\s*$|\b(1[0-9]{2})\b", re.IGNORECASE)


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
