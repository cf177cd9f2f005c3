"""Words that say that a thing is gone, that nobody knows, *as above*, or no more than *yes*; never a value.

The words stand in ``doubt_words.csv``, in the languages of shops. Some say *gone* wherever they stand; some
do only where a text says nothing else (``old``, ``repair``), since a name may hold them.
"""

import re
from collections.abc import Mapping
from functools import cache, lru_cache
from pathlib import Path
from typing import Final

from fleet.base.files import csv_rows
from imports.days import month_of
from imports.header_match import header_text
from imports.quantities import tidy

_WORDS_FILE: Final = Path(__file__).with_name("doubt_words.csv")
_LONGEST: Final = 4
"""Words in the longest phrase that is looked for."""


@cache
def _phrases() -> Mapping[str, frozenset[str]]:
    """key -> plain phrases of all languages."""
    found: dict[str, set[str]] = {}
    for row in csv_rows(_WORDS_FILE):
        for text in row["words"].split("|"):
            found.setdefault(row["key"], set()).update({header_text(text).words, tidy(text)} - {""})
    return {key: frozenset(words) for key, words in found.items()}


@lru_cache(maxsize=50_000)
def says_gone(text: str, *, name: bool = False) -> str:
    """The words of a text that say that its thing is gone or out of use; empty where none does.

    ``name``: the text is the name of a model or a place, which may hold such a word by chance: then it must
    say nothing else but days, numbers and little words.
    """
    if text.isdigit() or len(text) > 500:
        return ""
    tokens = header_text(text).words.split()
    sure, perhaps = _phrases()["gone"], _phrases()["perhaps"]
    heard, rest, place = "", 0, 0
    certain = False
    while place < len(tokens):
        for many in range(min(_LONGEST, len(tokens) - place), 0, -1):
            phrase = " ".join(tokens[place : place + many])
            if phrase in sure or phrase in perhaps:
                heard = heard if certain or (heard and phrase in perhaps) else phrase
                certain = certain or phrase in sure
                place += many
                break
        else:
            rest += not _is_beside(tokens[place])
            place += 1
    if not heard and not text.isascii():
        heard = next((w for w in sorted(sure, key=len, reverse=True) if not w.isascii() and w in text), "")
        certain = bool(heard)
    alone = rest == 0
    return heard if heard and (alone or (certain and not name)) else ""


def _is_beside(token: str) -> bool:
    return (
        token in _phrases()["beside"]
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
    known = frozenset().union(*(_phrases()[key] for key in keys))
    return plain in known or header_text(plain).words in known
