"""Reasons are words: a blank, dots or a number say nothing. Names nearly right: *did you mean*."""

from __future__ import annotations

from collections.abc import Iterable

from fleet.base.errors import BadInput


def filled(text: str, missing: str, *, cure: str) -> str:
    """The text without the spaces around it. BadInput where that leaves nothing: what is ``missing``."""
    if not text.strip():
        raise BadInput(missing, cure=cure)
    return text.strip()


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


def nearest(name: str, known: Iterable[str], *, likeness: float = 0.6) -> str | None:
    """The known name most like it, at least so much (0 to 1: the share of letters kept, in their order).

    Of several as near, the last in the order of the alphabet, so that the same typing gives the same answer.
    """
    found = near(name, sorted(known, reverse=True), likeness=likeness, most=1)
    return found[0][0] if found else None


def did_you_mean(name: str, known: Iterable[str], otherwise: str) -> str:
    """The cure for a name that nobody knows: the nearest known one, else what to do otherwise."""
    found = nearest(name, known)
    return f"did you mean {found}?" if found else otherwise


def near(name: str, known: Iterable[str], *, likeness: float, most: int) -> list[tuple[str, float]]:
    """The known names at least so much like it with their likeness, the nearest first, ``most`` at most."""
    from rapidfuzz import fuzz, process  # for a name nobody knows only: the door opens without it

    found = process.extract(name, list(known), scorer=fuzz.ratio, score_cutoff=100 * likeness, limit=most)
    return [(other, score / 100) for other, score, _ in found]


def likeness_of(one: str, other: str) -> float:
    """Return the likeness of two names, 0 to 1."""
    from rapidfuzz import fuzz

    return fuzz.ratio(one, other) / 100
