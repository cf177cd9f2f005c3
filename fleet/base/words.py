"""Reasons are words: a blank, dots or a number say nothing to whoever reads the ledger later."""

from __future__ import annotations

from fleet.base.errors import BadInput


def in_words(text: str, what: str, *, option: str = "--why") -> str:
    """The text without the spaces around it. BadInput unless it holds a word in any script: two letters."""
    if sum(letter.isalpha() for letter in text) < 2:
        raise BadInput(
            f"{what} needs to be said in words" + (f", not {text.strip()!r}" if text.strip() else ""),
            cure=f'add {option} "what was seen or done"',
        )
    return text.strip()
