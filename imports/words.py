"""Words of a fixed list, in the languages of ``value_words.csv``; any other is asked, with the nearest.

Words of ``doubt_words.csv`` are never a value: they say that a thing is gone, that nobody knows, *as above*,
or no more than *yes*. Some say *gone* wherever they stand; some do only where a text says nothing else
(``old``, ``repair``), since a name may hold them. The last ones tell what a list, a column or a row is about.
"""

import re
from collections.abc import Collection, Mapping
from functools import cache, lru_cache
from pathlib import Path
from typing import Final

from fleet.base.errors import nearest
from fleet.base.files import csv_rows
from fleet.facts.columns import Holds, columns_of
from imports.cells import Cell
from imports.days import month_of
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


def _within(plain: str, known: Mapping[str, str]) -> str | None:
    """A known word in a text of several that denies nothing, if no other meaning stands in it."""
    said = plain.split()
    found = {known[each]: each for each in said if each in known}
    return next(iter(found.values())) if len(found) == 1 and not phrases("denies") & set(said) else None


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


_DOUBT_FILE: Final = Path(__file__).with_name("doubt_words.csv")


def phrases(key: str) -> frozenset[str]:
    """The plain phrases of that key, in all languages."""
    return _phrases()[key]


@cache
def _phrases() -> Mapping[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for row in csv_rows(_DOUBT_FILE):
        for text in row["words"].split("|"):
            found.setdefault(row["key"], set()).update({header_text(text).words, tidy(text)} - {""})
    return {key: frozenset(words) for key, words in found.items()}


@cache
def _phrases_of_gone() -> re.Pattern[str]:
    longest_first = sorted(phrases("gone") | phrases("perhaps"), key=len, reverse=True)
    return re.compile(rf"(?<!\S)(?:{'|'.join(map(re.escape, longest_first))})(?!\S)")


@lru_cache(maxsize=50_000)
def says_gone(text: str, *, name: bool = False) -> str:
    """The words of a text that say that its thing is gone or out of use; empty where none does.

    ``name``: the text is the name of a model or a place, which may hold such a word by chance: then it must
    say nothing else but days, numbers and little words.
    """
    if text.isdigit() or len(text) > 500:
        return ""
    plain, sure = header_text(text).words, phrases("gone")
    heard = sorted(_phrases_of_gone().findall(plain), key=lambda phrase: phrase not in sure)
    if not heard and not text.isascii():
        heard = [w for w in sorted(sure, key=len, reverse=True) if not w.isascii() and w in text]
    if not heard or (heard[0] in sure and not name):
        return heard[0] if heard else ""
    rest = _phrases_of_gone().sub(" ", plain).split()
    return heard[0] if all(map(_is_beside, rest)) else ""


def _is_beside(token: str) -> bool:
    return (
        token in phrases("beside")
        or bool(re.fullmatch(r"\d+(?:st|nd|rd|th)?", token))
        or month_of(token) is not None
    )


@lru_cache(maxsize=20_000)
def says(text: str, *keys: str) -> bool:
    """Return whether a text says no more than one of these, by its key in the file of words.

    ``unknown``; ``none``, and ``no_binding`` or ``no_brake``, never a model's name; ``ditto``: as in the row
    above; ``tick``: there is one, but not which.
    """
    plain = tidy(text)
    known = frozenset().union(*map(phrases, keys))
    return plain in known or header_text(plain).words in known
