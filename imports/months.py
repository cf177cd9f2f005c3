"""Names of months as people write them in the languages of shops, full and short, from Babel's data."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import cache
from typing import Final

NEAR: Final = ("en", "de", "de_AT", "fr")
LANGUAGES: Final = (*NEAR, "it", "es", "nb", "sv", "cs", "pl", "sl")
"""Japanese counts its months, which needs no names."""
_MORE: Final = (("mrz", 3), ("maerz", 3), ("feber", 2), ("fev", 2))
"""Short and older forms in use that Babel's data do not have; German, German, Austrian, French."""


def month_of(word: str, languages: tuple[str, ...] = LANGUAGES) -> int | None:
    """Return the month that a word names, with or without its accents and its point; None: no month."""
    return _months(languages).get(_plain(word))


@cache
def _months(languages: tuple[str, ...]) -> dict[str, int]:
    from babel.dates import get_month_names

    return without_doubt(
        (
            *_MORE,
            *(
                (name, month)
                for language in languages
                for width in ("wide", "abbreviated")
                for context in ("format", "stand-alone")
                for month, name in get_month_names(width, context, language).items()
            ),
        )
    )


def without_doubt(names: Iterable[tuple[str, int]]) -> dict[str, int]:
    """Return the month of each name. A name that means two months, in two languages, is none."""
    found: dict[str, set[int]] = {}
    for name, month in names:
        found.setdefault(_plain(name), set()).add(month)
    return {name: min(months) for name, months in found.items() if len(months) == 1}


def _plain(word: str) -> str:
    letters = unicodedata.normalize("NFD", word.casefold().rstrip("."))
    return "".join(letter for letter in letters if not unicodedata.combining(letter))
