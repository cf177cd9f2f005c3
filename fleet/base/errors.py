"""Errors that mean "cannot go on": one plain sentence and a cure. A fault in data is a Finding instead.

MountbookError
|- Refused          the rules say no (a held ski, a stale order); carries what to do instead
|  `- AnotherSigns  the name may not sign this; carries the names that may
|- LedgerFault      the file is not a ledger, is newer than this program, or is damaged
|- BadInput         a file or an argument that cannot be used at all
`- PlanFault        the plan could not be made, or the judge refused it

With them what makes their words: a text that must be there, a reason in words (a blank, dots or a number say
nothing to whoever reads the ledger later), and *did you mean* for a name nearly right.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Final

RECORD_FAULTS: Final = (LookupError, ValueError, TypeError, ArithmeticError, AttributeError)
"""Raised where a record that nobody foresaw is read: the fault of one thing, not of the list."""


class MountbookError(Exception):
    """One sentence for a person, and a cure that stands apart. Exit code 1."""

    def __init__(self, sentence: str, *, cure: str = "") -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.cure = cure


class Refused(MountbookError):
    """The rules say no. ``instead`` lists tags that would do, best first; ``names`` those who may sign."""

    def __init__(
        self, sentence: str, *, cure: str = "", instead: tuple[str, ...] = (), names: tuple[str, ...] = ()
    ) -> None:
        super().__init__(sentence, cure=cure)
        self.instead, self.names = instead, names


class AnotherSigns(Refused):
    """This name may not sign that. ``names``: those whose signature would count."""


class LedgerFault(MountbookError):
    """The ledger file cannot be used as it is."""


class BadInput(MountbookError):
    """A file or an argument that cannot be used at all."""


class PlanFault(MountbookError):
    """No plan was written."""


@contextmanager
def or_bad_input(
    sentence: str = "", *, cure: str, of: type[Exception] | tuple[type[Exception], ...] = ValueError
) -> Iterator[None]:
    """An exception ``of`` these classes becomes BadInput: in this sentence, in its own words where there is
    none, in both where the sentence ends with a colon.
    """
    try:
        yield
    except of as fault:
        why = getattr(fault, "strerror", None) or fault
        goes_on = not sentence or sentence.endswith(":")
        raise BadInput(f"{sentence} {why}".lstrip() if goes_on else sentence, cure=cure) from fault


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


def typed_word(typed: str, words: Iterable[str], otherwise: str, *, cure: str = "") -> str:
    """The one of these words that was typed, in any case, with blanks, hyphens or underlines. BadInput with
    that sentence for another.
    """
    known = {_plainly(word): word for word in words}
    found = known.get(_plainly(typed))
    if found is None:
        raise BadInput(otherwise, cure=cure or f"one of: {', '.join(known.values())}")
    return found


def _plainly(text: str) -> str:
    return " ".join(text.replace("-", " ").replace("_", " ").casefold().split())


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
