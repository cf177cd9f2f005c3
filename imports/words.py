"""Words of a fixed list, in the languages of ``value_words.csv``; any other is asked, with the nearest."""

from collections.abc import Collection, Mapping
from functools import cache
from pathlib import Path
from typing import Final

from fleet.base.errors import nearest
from fleet.base.files import csv_rows
from fleet.facts.columns import Holds, columns_of
from imports.cells import Cell
from imports.header_match import header_text
from imports.headers import THINGS_OF
from imports.quantities import NOTHING, Read, ask, note, tidy, unreadable

_WORDS_FILE: Final = Path(__file__).with_name("value_words.csv")


@cache
def value_words() -> Mapping[str, Mapping[str, str]]:
    """key -> plain words -> the word of our list."""
    found: dict[str, dict[str, str]] = {}
    for row in csv_rows(_WORDS_FILE):
        says = found.setdefault(row["key"], {})
        for text in (row["word"], *row["says"].split("|")):
            says.setdefault(header_text(text).words, row["word"])
    for column in (c for things in THINGS_OF.values() for thing in things for c in columns_of(thing)):
        if column.field.holds is Holds.WORD:
            for text in column.words:
                found.setdefault(column.key, {}).setdefault(header_text(text).words, text)
    return found


_NOT: Final = frozenset(
    ("no", "not", "kein", "keine", "ohne", "sans", "senza", "sin", "uten", "utan", "bez", "brez", "without")
)
"""Words by which a text denies what it names."""


def _within(plain: str, known: Mapping[str, str]) -> str | None:
    """A known word in a text of several that denies nothing, if no other meaning stands in it."""
    said = plain.split()
    found = {known[each]: each for each in said if each in known}
    return next(iter(found.values())) if len(found) == 1 and not _NOT & set(said) else None


def word(cell: Cell, *, key: str, what: str, more: Collection[str] = ()) -> Read:
    """The word meant, or a question that lists the choices. Another language is taken with a note.

    ``more``: words that this shop has added.
    """
    stopped = unreadable(cell, what)
    if stopped is not None:
        return stopped
    text = tidy(cell.text)
    if not text:
        return NOTHING
    known = {**value_words()[key], **{header_text(each).words: each for each in more}}
    plain = header_text(text).words
    found = known.get(plain)
    if found is None and key == "kind":
        found = known.get(" ".join(w for w in plain.split() if w not in ("ski", "skis", "set", "sets")))
    choices = list(dict.fromkeys(known.values()))
    parts = {known.get(header_text(part).words) for part in text.split("/")} - {None}
    if len(parts) > 1:
        return ask(
            "several_words", f"{text!r} names more than one", f"choose one: {', '.join(choices)}", *choices
        )
    if found is None:
        near = nearest(plain, known, likeness=0.75) or (_within(plain, known) if "/" not in text else None)
        hint = f"did you mean {known[near]}? " if near else ""
        return ask(
            "unknown_word",
            f"{text!r} is not {what} this program knows",
            f"{hint}choose: {', '.join(choices)}",
            *dict.fromkeys([known[near], *choices] if near else choices),
        )
    if text.casefold() != found.casefold():
        return note(found, "word_read", f"{text!r} was read as {found!r}")
    return Read(found)
