"""Reasons are words: a blank, dots or a number say nothing to whoever reads the ledger later."""

from __future__ import annotations

from fleet.base.errors import BadInput


def in_words(text: str, what: str, *, option: str = "--why") -> str:
    """The text without the spaces around it. BadInput unless it holds a word: ``ok`` and ``x`` are none."""
    if not any(map(_is_word, text.split())):
        raise BadInput(
            f"{what} needs to be said in words" + (f", not {text.strip()!r}" if text.strip() else ""),
            cure=f'add {option} "what was seen or done"',
        )
    return text.strip()


def _is_word(part: str) -> bool:
    """Three letters, not all the same; of a script without capitals two, which are a word there."""
    letters = [letter for letter in part.casefold() if letter.isalpha()]
    least = 3 if any(letter.lower() != letter.upper() for letter in letters) else 2
    return len(letters) >= least and len(set(letters)) > 1
