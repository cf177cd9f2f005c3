"""A note on a pair, a ski, a boot or a binding, and the words in notes that propose something.

The words stand in ``alarm_words.csv``: what they propose is said, asked, and never done by itself.
"""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Final

from fleet.base.files import csv_rows
from fleet.facts.holes import Side
from fleet.facts.standing import REMOVED

_WORDS_FILE: Final = Path(__file__).with_name("alarm_words.csv")
OPEN_QUESTION: Final = "proposes <> '' AND answer_entry = 0 AND ended_entry = 0"
"""The condition in SQL: it proposes something that nobody has answered."""
_LONGEST_ON_PAPER: Final = 120
"""Letters of notes on a sheet; the rest stands in the ledger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One note. ``text`` None: it was blanked. One of ``tag``, ``boot`` and ``binding_id`` is there."""

    entry: int
    tag: str | None = None
    side: Side | None = None
    boot: str | None = None
    binding_id: str | None = None
    proposes: str = ""
    answer_entry: int = 0
    ended_entry: int = 0
    text: str | None = None

    @property
    def name(self) -> str:
        """The thing, as a command takes it: ``K-031``, ``K-031/A``, ``B-210``, a binding's id."""
        if self.tag is not None:
            return self.tag if self.side is None else f"{self.tag}/{self.side}"
        return str(self.boot or self.binding_id)

    @property
    def words(self) -> str:
        """The text in one line, or that it was removed."""
        return REMOVED if self.text is None else " ".join(self.text.split())

    @property
    def stands(self) -> bool:
        """Return whether it was not ended."""
        return not self.ended_entry

    @property
    def is_question(self) -> bool:
        """Return whether it proposes something that nobody has answered."""
        return bool(self.proposes and not self.answer_entry and self.stands)


def on_pair(notes: Iterable[Note], tag: str, *, binding_ids: Iterable[str] = ()) -> tuple[Note, ...]:
    """Those that stand on the pair, its skis and these bindings."""
    ids = set(binding_ids)
    return tuple(n for n in notes if n.stands and (n.tag == tag or n.binding_id in ids))


def on_boot(notes: Iterable[Note], tag: str) -> tuple[Note, ...]:
    """Those that stand on the boot."""
    return tuple(n for n in notes if n.stands and n.boot == tag)


def in_short(notes: Iterable[Note], *, tag: str) -> str:
    """The notes in one line for a sheet, cut with a word of where the rest stands; "" for none.

    ``tag``: the thing that the sheet is of; a note on another says on what.
    """
    said = "; ".join(n.words if n.name == tag else f"{n.name}: {n.words}" for n in notes)
    if not said:
        return ""
    cut = len(said) > _LONGEST_ON_PAPER
    return f"note: {said[:_LONGEST_ON_PAPER].rstrip()}… (more in the ledger)" if cut else f"note: {said}"


@lru_cache(maxsize=10_000)
def proposal_in(text: str) -> str:
    """Return what the first alarm word in a text proposes: hold, single, sold or retired; "" for none."""
    plain = f" {_plain(text)} "
    found = [
        (plain.find(f" {word.rstrip('*')}"), proposes)
        for word, proposes in _alarm_words()
        if _holds(plain, word)
    ]
    return min(found)[1] if found else ""


def _holds(plain: str, word: str) -> bool:
    """Return whether the word stands there; one that ends in ``*`` as the beginning of a word."""
    return f" {word[:-1]}" in plain if word.endswith("*") else f" {word} " in plain


@cache
def _alarm_words() -> tuple[tuple[str, str], ...]:
    return tuple((_plain(row["word"], keep="*"), row["proposes"]) for row in csv_rows(_WORDS_FILE))


def _plain(text: str, *, keep: str = "") -> str:
    """Small letters without accents, single spaces, no marks."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(c for c in apart if not unicodedata.combining(c))
    return " ".join(re.sub(rf"[^\w{re.escape(keep)}]+", " ", bare).split())
