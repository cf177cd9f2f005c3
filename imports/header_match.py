"""Columns told by their headers: words of three languages, units in headers, and did-you-mean."""

import re
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from pathlib import Path
from typing import Final, NamedTuple

from fleet.base.errors import near, nearest
from fleet.base.files import csv_rows
from fleet.facts.columns import columns_of
from fleet.facts.pairs import SkiFacts
from imports.answers import NO_ANSWERS, Answers
from imports.header_says import HoleHeader, header_says, hole_header, is_mark, ski_of
from imports.headers import SHEET_OF, THINGS_OF, Table
from imports.quantities import tidy

_WORDS_FILE: Final = Path(__file__).with_name("header_words.csv")
_UNIT_IN_BRACKETS: Final = re.compile(r"[(\[{]\s*(?:in\s+)?([^)\]}]*?)\s*[)\]}]")
_UNIT_AT_END: Final = re.compile(r"\s+(?:in\s+)?(mm|cm|m|inch|inches|zoll)$")
_UNITS: Final = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "in": "in",
    "inch": "in",
    "inches": "in",
    "zoll": "in",
    '"': "in",
}

REQUIRED_ELSEWHERE: Final[Mapping[Table, tuple[str, ...]]] = {
    Table.SIDE: ("pair_tag", "ski"),
    Table.AREA: ("pair_tag", "ski", "from_mm", "to_mm", "how"),
    Table.MOUNT: ("pair_tag", "pattern", "bsl_mm", "offset_mm"),
    Table.POLICY: ("name", "value", "origin"),
}
"""Tables that only an export has: what makes one known."""


_LETTERS: Final = str.maketrans({"ß": "ss", "ł": "l", "ø": "o", "æ": "ae", "đ": "d", "ı": "i"})
"""Letters that no rule of the character tables takes apart."""
_NEAR: Final = 0.8
_CLEARLY_NEARER: Final = 0.05
"""A header is like a known word from this share of letters on, and no other comes so near."""


class HeaderText(NamedTuple):
    """A header cell taken apart: its plain words and the unit it states."""

    words: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MappedColumn:
    """One column of a table: where it stands, what it was taken for, and what its header states.

    ``turned``: its plus is the other way than ours. ``near``: the known word that its header is only like.
    ``place``: what it says of one hole of several in a row. ``of_ski``: A or B, where it says a fact of that
    ski alone; ``of``: the holes that it counts from. ``halved``: its number is a whole width.
    ``end``: low or high, where it is one end of the ranges in its cells.
    """

    number: int
    header: str
    key: str
    unit: str = ""
    turned: bool = False
    from_tail: bool = False
    near: str = ""
    place: HoleHeader | None = None
    of_ski: str = ""
    of: str = ""
    halved: bool = False
    end: str = ""


class ChosenColumns(dict[str, str]):
    """Header text -> key as the user states it for any table, and what was answered for one kind of table."""

    def __init__(self, stated: Mapping[str, str], answers: Answers = NO_ANSWERS) -> None:
        super().__init__(stated)
        self.answers = answers
        self._of_table: dict[Table, dict[str, str]] = {}

    def of_table(self, table: Table) -> dict[str, str]:
        """Plain header words -> key ("": leave out) for that kind of table."""
        if table not in self._of_table:
            stated = {header_text(header).words: key for header, key in self.items()}
            self._of_table[table] = self.answers.columns(table.value) | stated
        return self._of_table[table]


@lru_cache(maxsize=20_000)
def header_text(text: str) -> HeaderText:
    """``"Länge\\n(cm)"`` -> ``("lange", "cm")``; accents, case, brackets and punctuation do not count."""
    plain = (
        tidy(text)
        .casefold()
        .replace("_", " ")
        .replace("n°", "no ")
        .replace("#", " no ")
        .replace("&", " and ")
    )
    stated = [_UNITS[inside] for inside in _UNIT_IN_BRACKETS.findall(plain) if inside in _UNITS]
    unit = stated[-1] if stated else ""
    plain = _UNIT_IN_BRACKETS.sub(lambda m: " " if m[1] in _UNITS else f" {m[1]} ", plain)
    plain = unicodedata.normalize("NFKD", plain)
    plain = "".join(c for c in plain if not unicodedata.combining(c)).translate(_LETTERS)
    plain = " ".join(re.sub(r"[^\w°+]+", " ", plain).split())
    at_end = _UNIT_AT_END.search(plain)
    if at_end and not unit:
        unit = _UNITS[at_end[1]]
        plain = plain[: at_end.start()]
    return HeaderText(plain, unit)


def unit_word(text: str) -> str:
    """The unit if the text is nothing but a unit, in brackets or not; else empty."""
    return _UNITS.get(tidy(text).casefold().strip("()[]{} ."), "")


@cache
def word_index() -> Mapping[str, Mapping[Table, str]]:
    """Plain header words -> table -> key. Raises TypeError where another key claims the header of a fact."""
    facts = {
        table: {c.key for thing in THINGS_OF.get(table, ()) for c in columns_of(thing)} for table in Table
    }
    index: dict[str, dict[Table, str]] = {}

    def add(words: str, table: Table, key: str) -> None:
        claimed = index.setdefault(header_text(words).words, {}).setdefault(table, key)
        if claimed != key and claimed in facts[table]:
            raise TypeError(f"the header {words!r} of a {table.value} row means {claimed} and {key}")

    for table, plan in SHEET_OF.items():
        for column in plan.columns:
            add(column.key, table, column.key)
    for table, keys in facts.items():
        for key in sorted(keys):
            add(key, table, key)
    for row in csv_rows(_WORDS_FILE):
        tables = list(Table) if row["tables"] == "*" else [Table(t) for t in row["tables"].split()]
        for table in tables:
            add(row["key"], table, row["key"])
            for words in row["words"].split("|"):
                add(words, table, row["key"])
    return index


def is_header_word(text: str) -> bool:
    """Return whether any table knows this header, with or without what it says of units and directions."""
    if len(text) >= 80:
        return False
    words = header_text(text).words
    if words in word_index() or (bool(words) and header_says(words).words in word_index()):
        return True
    place = hole_header(words)
    return place is not None and bool((place.piece and (place.end or place.across)) or place.side)


def is_near_header(text: str) -> bool:
    """Return whether the header is one that some table knows, or nearly."""
    return is_header_word(text) or any(near_key(header_text(text).words, table) for table in Table)


@lru_cache(maxsize=20_000)
def read_header(text: str, table: Table) -> MappedColumn | None:
    """The column that a header means in that table, without its number; None where it means none.

    A header that is only like a known one says so in ``near``.
    """
    plain = header_text(text)
    key = word_index().get(plain.words, {}).get(table)
    if key is not None:
        return MappedColumn(number=0, header=text, key=key, unit=plain.unit)
    says = header_says(plain.words)
    key = word_index().get(says.words, {}).get(table)
    near = ""
    if key is None and not says.words and says.said and not says.across:
        key = {Table.SKI: "mark_offset_mm", Table.HOLE: "x_mm"}.get(table)
    if says.from_tail and is_mark(says.words) and table in (Table.SKI, Table.SIDE):
        return MappedColumn(number=0, header=text, key="mark_from_tail_mm", unit=plain.unit or says.unit)
    if key is None and (parts := _part_known(text, table)) is not None:
        return parts
    if key is None and (found := near_key(says.words, table)) is not None:
        key, near = found
    if key is None or (says.from_tail and key not in ("x_mm",)):
        return None
    unit = plain.unit or says.unit
    return MappedColumn(
        number=0, header=text, key=key, unit=unit, turned=says.turned, from_tail=says.from_tail, near=near
    )


def _part_known(text: str, table: Table) -> MappedColumn | None:
    """``Size / length`` in a list of several kinds: the one of its words that this table knows.

    Where it knows all of them as one value, the header says that in two languages.
    """
    parts = [header_text(part).words for part in text.split("/")]
    known = {part: keys[table] for part in parts if table in (keys := word_index().get(part, {}))}
    if len(parts) < 2 or len(set(known.values())) != 1:
        return None
    words, key = next(iter(known.items()))
    near = "" if known.keys() == set(parts) else words
    return MappedColumn(number=0, header=text, key=key, unit=header_text(text).unit, near=near)


@cache
def _words_of_table(table: Table) -> Mapping[str, str]:
    return {w: keys[table] for w, keys in word_index().items() if table in keys and len(w) > 3}


@lru_cache(maxsize=20_000)
def near_key(words: str, table: Table) -> tuple[str, str] | None:
    """(key, known words) of the header that these words are nearly, if no other key comes as near."""
    if len(words) < 4 or len(words) > 40:
        return None
    known = _words_of_table(table)
    found = near(words, known, likeness=_NEAR, most=6)
    if not found or words in word_index():
        return None  # a word that another table knows says that, and is no slip of this one's
    best, score = found[0]
    if any(known[other] != known[best] and score - its < _CLEARLY_NEARER for other, its in found[1:]):
        return None
    return known[best], best


_STRANGERS: Final = frozenset(
    word
    for line in (
        "price prices preis preise prix prezzo precio pris cena value wert betrag cost kosten",
        "ek vk uvp netto brutto net gross retail rrp msrp pvp ht ttc purchase einkauf achat acquisto",
        "eur euro chf usd gbp sek nok dkk czk pln huf jpy yen",
        "supplier lieferant fournisseur fornitore proveedor ean upc phone telefon color colour",
        "farbe couleur colore discount rabatt radius weight gewicht poids peso vekt vikt height",
        "hohe rental customer kunde client order bestellung invoice rechnung vat mwst sum total",
        "summe deposit kaution photo foto link url page seite row zeile lp lfd 価格 値段 色 重量",
    )
    for word in line.split()
)
"""Words of columns that hold none of our values, whatever their numbers look like."""
_OF_MONEY: Final = re.compile(r"[€$£¥円]|\w(?:preis|price|pris|kosten|価格)\b")
"""Signs of money, and ends of words for a price."""


@lru_cache(maxsize=5_000)
def is_stranger(text: str) -> bool:
    """Return whether a header names what is none of our values: a price, a customer, a colour."""
    words = header_text(text).words
    return not _STRANGERS.isdisjoint(words.split()) or bool(_OF_MONEY.search(f"{text} {words}"))


def header_hits(texts: list[str]) -> int:
    """Return how many different known header words stand among these texts."""
    return len({header_text(t).words for t in texts if t.strip() and is_header_word(t)})


def holes_in(headers: Mapping[int, str]) -> dict[int, HoleHeader]:
    """The columns of a header row that place one hole each, by number; none where nothing lies across."""
    words = {number: header_text(text).words for number, text in headers.items()}
    found = {
        n: place for n, text in words.items() if text not in word_index() and (place := hole_header(text))
    }
    kinds = {place.across for place in found.values()}
    return found if len(kinds) == 2 else {n: place for n, place in found.items() if place.origin}


HOLE_KEY: Final = "hole "
"""The beginning of the key of a column that places one hole of several in a row."""


def required_keys(table: Table, present: Collection[str] = ()) -> tuple[str, ...]:
    """The keys without which a row of the table cannot be understood.

    Holes have two shapes: one a row, or (``present`` has columns of single holes) several in a row.
    Bindings have two shapes: a stock line with a quantity, or (``present`` has its id) one ski's binding;
    sets wanted too: with both ends of a window, or with a column for the whole of it;
    mounts too: with their pattern, or with a column for the binding of those of which none is known.
    """
    if table is Table.BINDING and "binding_id" in present:
        return ("binding_id",)
    if table is Table.HOLE and any(key.startswith(HOLE_KEY) for key in present):
        return ("pair_tag",)
    if table is Table.MOUNT and "binding_model" in present:
        return ("pair_tag",)
    if table is Table.WANTED and {"length_cm", "mondopoint"} <= set(present):
        return ("kind", "length_cm", "mondopoint", "quantity", "priority")
    plan = SHEET_OF.get(table)
    return plan.required if plan else REQUIRED_ELSEWHERE.get(table, ())


def match_columns(
    headers: Mapping[int, str], table: Table, chosen: Mapping[str, str] | None = None
) -> tuple[list[MappedColumn], list[tuple[int, str]]]:
    """(mapped columns, unknown columns) of a header row for one table.

    ``chosen``: header text -> key, the user's own mapping, which goes first (an empty key: leave out).
    """
    own = (chosen if isinstance(chosen, ChosenColumns) else ChosenColumns(chosen or {})).of_table(table)
    mapped, unknown = [], []
    places = holes_in(headers) if table in (Table.HOLE, Table.SKI) else {}
    for number, text in headers.items():
        plain = header_text(text)
        if number in places and plain.words not in own:
            place = places[number]
            unit = plain.unit or place.unit
            mapped.append(MappedColumn(number=number, header=text, key=place.key, unit=unit, place=place))
            continue
        if plain.words in own:
            if own[plain.words]:
                mapped.append(MappedColumn(number=number, header=text, key=own[plain.words], unit=plain.unit))
            continue
        found = read_header(text, table)
        if table is Table.SKI and (found is None or found.near):
            found = _of_one_ski(text) or (_of_holes(text) if places else None) or found
        if found is None:
            unknown.append((number, text))
        else:
            mapped.append(replace(found, number=number))
    sure = {column.key for column in mapped if not column.near}
    for column in [c for c in mapped if c.near and c.key in sure]:
        mapped.remove(column)
        unknown.append((column.number, column.header))
    return mapped, unknown


_SKI_FACTS: Final = frozenset(column.key for column in columns_of(SkiFacts))
HOLE_FACTS: Final = ("diameter_mm", "depth_mm", "state", "knowledge")
"""The facts of a hole that may be said of all holes in a row, or in a table, at once."""
_SAYS_HOLE: Final = frozenset(
    ("hole", "holes", "loch", "locher", "lochzustand", "bohrloch", "trou", "trous", "foro", "fori", "agujero")
)


def _of_one_ski(text: str) -> MappedColumn | None:
    """``mark from tail B`` in a list of pairs: a fact of ski B."""
    side, rest = ski_of(header_text(text).words)
    if not side:
        return None
    found = read_header(rest, Table.SIDE)
    if found is None or found.near or found.key not in _SKI_FACTS:
        return None
    unit = header_text(text).unit or found.unit
    return replace(found, header=text, key=f"ski {side} {found.key}", unit=unit, of_ski=side)


def _of_holes(text: str) -> MappedColumn | None:
    """A fact that a list of skis says of all the holes in a row of it: the drill, the state."""
    found = read_header(text, Table.HOLE)
    if found is None or found.near or found.key not in HOLE_FACTS:
        return None
    if found.key in ("state", "knowledge") and not _SAYS_HOLE & set(header_text(text).words.split()):
        return None
    return replace(found, key=f"{HOLE_KEY}{found.key}")


def nearest_key(text: str, table: Table) -> str | None:
    """The key whose words come nearest to an unknown header, for *did you mean*."""
    words = {w: keys[table] for w, keys in word_index().items() if table in keys and len(w) > 2}
    plain = header_text(text).words
    if len(plain) < 3:
        return None
    outside = header_text(re.sub(r"[(\[{][^)\]}]*[)\]}]", " ", text)).words
    if outside != plain and outside in words:
        return words[outside]
    near = nearest(plain, words, likeness=0.8)
    return words[near] if near else None
