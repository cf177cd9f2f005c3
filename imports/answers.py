"""Answers to the questions of an import: one short text a question, the same from every door.

The file has one question a line: its id, a blank, the answer. A line that begins with ``#`` says what was
asked. The shop's profile in the ledger, the prompts and the marked copy hold the same two texts.

An id stands for itself: its kind, the table, the column and the word. ``word/ski/construction/wood%2Fti``: a
word of a column, in every row where it stands. The same thing asked again has the same id, in another file
and next year. Blanks, slashes and ``%`` inside a part are written ``%20``, ``%2F``, ``%25``, other letters as
they are.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import Final

from fleet.base.errors import BadInput


class About(StrEnum):
    """The thing that one answer settles, as the first part of an id."""

    WORD = "word"
    """``word/TABLE/KEY/TEXT``: what a text in a column means."""
    COLUMN = "column"
    """``column/TABLE/HEADER``: which value a column holds."""
    TWICE = "twice"
    """``twice/TABLE/KEY/HEADER+HEADER``: which of two columns counts."""
    UNIT = "unit"
    """``unit/TABLE/KEY/HEADER``: in which unit a column's numbers are."""
    DAY_ORDER = "day-order"
    """``day-order/TABLE/KEY/HEADER``: whether day or month comes first in a column."""
    DIRECTION = "direction"
    """``direction/TABLE/KEY/HEADER``: from where, and which way, a column counts."""
    TABLE = "table"
    """``table/SHEET/SHAPE``: what the rows of a sheet are."""
    ITEM = "item"
    """``item/TEXT``: what the rows are of which a list of skis, boots and bindings says that text; where it
    says nothing, ``item/-/SHEET``."""
    ALL = "all"
    """``all/TABLE/KEY/SHEET/SHAPE``: the value for all rows of a table that has no such column."""
    BLANK = "blank"
    """``blank/TABLE/KEY/SHEET/SHAPE``: the value where a needed cell is blank. With ``/TAG/-`` behind it,
    of one thing alone: so it is remembered."""
    TAG = "tag"
    """``tag/TABLE/CODE/SHEET/SHAPE``: whether tags of one look are right as they stand."""
    CHECK = "check"
    """``check/TABLE/CODE/KEY/SHEET``: whether rows of one doubt are right as they stand. With ``/TAG/TEXT``
    behind it, whether one thing is that says that text: so it is remembered."""
    KEEP = "keep"
    """``keep/TABLE/TAG/SAY``: which of several rows of one thing counts; SAY stands for all that they say."""


_REMEMBERED: Final = frozenset(
    {About.WORD, About.COLUMN, About.TWICE, About.UNIT, About.DAY_ORDER, About.DIRECTION, About.TABLE}
    | {About.ITEM, About.ALL, About.TAG, About.KEEP}
)
"""Kinds of question whose answer holds for the shop's next file too."""
_PARTS_OF_ONE_VALUE: Final = 6
OF_COLUMN: Final = frozenset(("shoe_size", "month_only", "half_sizes"))
"""Doubts about what kind of value a column holds: one question, whatever the texts."""
_APART: Final = re.compile(r"[\s/%#\x00-\x1f\x7f-\x9f]")


def question_id(about: About, *parts: str) -> str:
    """The id of a question; text in any case is one word."""
    return "/".join((about.value, *map(_part, parts)))


def of_one_value(identity: str, tag: str, text: str) -> str:
    """The same question about that text of that thing alone."""
    return "/".join((identity, _part(tag), _part(text)))


@lru_cache(maxsize=50_000)
def _part(text: str) -> str:
    plain = " ".join(text.split()).casefold()
    return _APART.sub(lambda m: "".join(f"%{byte:02X}" for byte in m[0].encode()), plain) or "-"


def parts_of(identity: str) -> tuple[About, tuple[str, ...]] | None:
    """The kind and the parts of an id, or None where it is no id."""
    first, *rest = identity.split("/")
    about = _BY_NAME.get(first)
    return (about, tuple(map(_text, rest))) if about is not None and rest else None


_BY_NAME: Final = {about.value: about for about in About}


def _text(part: str) -> str:
    if "%" not in part:
        return "" if part == "-" else part
    from urllib.parse import unquote

    return unquote(part)


def shape(headers: Iterable[str], left: int = 1) -> str:
    """A short name for a header row, whatever the order of its columns: one table and no other has it.

    ``left``: the first column of a table that stands right of another, which may have the same headers.
    """
    said = "\n".join(sorted(" ".join(text.split()).casefold() for text in headers))
    if left > 1:
        said += f"\n{left}"
    return short(said)


def short(text: str) -> str:
    """A short name for a text: another text has another."""
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def remembered(identity: str) -> bool:
    """Return whether an answer holds for the shop's next file too."""
    found = parts_of(identity)
    if found is None:
        return False
    about, parts = found
    return about in _REMEMBERED or len(parts) == _PARTS_OF_ONE_VALUE or is_of_column(parts)


def is_of_rows(identity: str) -> bool:
    """Return whether a question is about what single rows say: its answer holds for these things alone."""
    return identity.startswith((f"{About.CHECK.value}/", f"{About.BLANK.value}/")) and not remembered(
        identity
    )


def is_of_column(parts: tuple[str, ...]) -> bool:
    """Return whether a check is about what kind of value a column holds, not about its values."""
    return len(parts) > 1 and parts[1] in OF_COLUMN


NOT_KNOWN: Final = "not known"
"""The cell is taken as blank."""
LEAVE_OUT: Final = "leave out"
"""The rows, or the column, do not come in."""
RIGHT: Final = "right"
"""It is right as it stands."""
KEEP_FIRST: Final = "the first"
KEEP_LAST: Final = "the last"
PADDED: Final = "with zeros"
"""Tags of digits get back the zeros that they lost."""
_OUR_WORD: Final = {
    word: ours
    for ours, words in (
        (LEAVE_OUT, "leave it out|leave out|skip|weglassen|auslassen|omettre|laisser"),
        (RIGHT, "ok|okay|yes|ja|oui|right|stimmt|correct|si|sì|sí|tak|ano|da"),
        (NOT_KNOWN, "not known|unknown|?|unbekannt|inconnu|don't know"),
    )
    for word in words.split("|")
}
"""Our own word for what people answer."""


@dataclass(frozen=True, slots=True)
class GivenAnswer:
    """``text``: the answer; ``since``: the day and the person of an answer that the ledger remembers."""

    text: str
    since: str = ""

    @property
    def leaves_out(self) -> bool:
        """Return whether the rows are left out."""
        return self.text == LEAVE_OUT

    @property
    def said_by(self) -> str:
        """The words by which a note names it."""
        return f"as answered {self.since}" if self.since else "by the answer given"


@dataclass(frozen=True, slots=True)
class Answers:
    """Answers by the id of their question. Those given now stand above those that the shop's ledger has."""

    by_id: Mapping[str, GivenAnswer] = field(default_factory=dict)

    def of(self, about: About, *parts: str) -> GivenAnswer | None:
        """The answer to that question, None where there is none."""
        return self.by_id.get(question_id(about, *parts)) if self.by_id else None

    def over(self, below: Answers) -> Answers:
        """These answers, and those below where these say nothing."""
        return Answers({**below.by_id, **self.by_id})

    def columns(self, table: str) -> dict[str, str]:
        """Header words -> key of the columns that were answered for this kind of table ("": left out)."""
        found = {}
        for identity, answer in self.by_id.items():
            known = parts_of(identity) if identity.startswith(About.COLUMN.value + "/") else None
            if known is not None and known[1][0] == table:
                found[known[1][1]] = "" if answer.leaves_out else answer.text
        return found


NO_ANSWERS: Final = Answers()


def plain_answer(text: str) -> str:
    """An answer with our own words for *right*, *not known* and *leave out*."""
    said = " ".join(text.split())
    return _OUR_WORD.get(said.casefold().strip(" .!"), said)


def read_answers(text: str, *, name: str = "the answers") -> dict[str, str]:
    """Question id -> answer, as the file's text has them. A later line stands above an earlier one.

    Raises BadInput at a line that is no answer.
    """
    found: dict[str, str] = {}
    for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), start=1):
        said = line.strip()
        if not said or said.startswith("#"):
            continue
        identity, _, answer = said.partition(" ")
        if parts_of(identity) is None:
            raise BadInput(
                f"line {number} of {name} begins with no question: {identity!r}",
                cure="a line is a question's id, a blank and the answer; see `mountbook import FILE --ask`",
            )
        if answer.strip():
            found[identity] = plain_answer(answer)
        else:
            found.pop(identity, None)
    return found


def answers_text(asked: Iterable[tuple[str, str, str]]) -> str:
    """The file's text for (question, id, answer); an answer may still be empty."""
    said = list[str]()
    for question, identity, answer in asked:
        said += [f"# {line}" for line in question.splitlines()]
        said.append(f"{identity} {answer}".rstrip())
    return "".join(f"{line}\n" for line in said)
