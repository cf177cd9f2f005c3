"""Answers to the questions of an import: one short text a question, the same from every door.

The file has one question a line: its id, a blank, the answer. A line that begins with ``#`` says what was
asked. The shop's profile in the ledger, the prompts and the marked copy hold the same two texts.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from fleet.base.errors import BadInput
from imports.question_id import About, parts_of, question_id

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
_LEAVE_OUT_WORDS: Final = frozenset(
    {"leave it out", "leave out", "skip", "weglassen", "auslassen", "omettre", "laisser"}
)
_RIGHT_WORDS: Final = frozenset(
    {"ok", "okay", "yes", "ja", "oui", "right", "stimmt", "correct", "si", "sì", "sí", "tak", "ano", "da"}
)
_NOT_KNOWN_WORDS: Final = frozenset({"not known", "unknown", "?", "unbekannt", "inconnu", "don't know"})


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
    plain = said.casefold().strip(" .!")
    if plain in _LEAVE_OUT_WORDS:
        return LEAVE_OUT
    if plain in _NOT_KNOWN_WORDS or said == "?":
        return NOT_KNOWN
    return RIGHT if plain in _RIGHT_WORDS else said


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
    return "".join(_lines(asked))


def _lines(asked: Iterable[tuple[str, str, str]]) -> Iterator[str]:
    for question, identity, answer in asked:
        for line in question.splitlines():
            yield f"# {line}\n"
        yield f"{identity} {answer}".rstrip() + "\n"
