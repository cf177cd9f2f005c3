"""Lists of people: a sheet of customers holds nothing of the inventory, and nothing of it is taken."""

from __future__ import annotations

from typing import Final

from imports.cells import Content, Sheet
from imports.header_match import header_text

_WORDS: Final = frozenset(
    word
    for said in (
        "phone telephone tel telefon telefono teléfono téléphone telefón tlf mobile handy mobil",
        "電話 電話番号",
        "weight gewicht poids peso vekt vikt váha waga teža 体重",
        "email mail courriel",
        "address adresse indirizzo dirección adress adresa adres naslov 住所",
        "surname vorname nachname firstname lastname customer kunde client cliente guest gast",
        "birthday birthdate geburtsdatum geburtstag age alter",
    )
    for word in said.split()
)
_KNOWN: Final = frozenset(header_text(word).words for word in _WORDS)
_ROWS: Final = 10


def lists_people(sheet: Sheet) -> bool:
    """Return whether one of the first rows has two headers or more that only a list of people has."""
    for _, cells in sorted(sheet.rows.items())[:_ROWS]:
        texts = {
            header_text(c.text).words.replace(" ", "") for c in cells.values() if c.content is Content.TEXT
        }
        if len(texts & _KNOWN) >= 2:
            return True
    return False
