"""The prompts of `import --ask`: each question with its guesses, undo, later, stop and go on another time.

And `import open|profile|take-back`: what stayed open, and what the shop answered once and for all.
"""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from string import ascii_lowercase
from typing import Final

from fleet.base.days import stored_day_text
from fleet.base.errors import BadInput
from fleet.base.shown_text import one_line
from fleet.base.units import counted, first_of
from imports.answers import LEAVE_OUT, read_answers
from imports.proposal import Proposal
from imports.questions import ImportQuestion, answers_file, checked_answer
from planner.cli import session
from planner.cli.when_used import when_used

with when_used():
    from planner.exchange import intake, open_files
    from planner.exchange.export import whole_file


_UNDO: Final = ("u", "undo")
_LATER: Final = ("l", "later", "")
_STOP: Final = ("s", "stop", "q", "quit")
_FIRST: Final = ("table", "all", "column", "twice", "unit", "direction")
"""Kinds of question whose answer changes what else is asked."""


@dataclass(slots=True)
class Asked:
    """The state of a round of prompts: what was answered, in order, and what was put off."""

    given: dict[str, str]
    order: list[str] = field(default_factory=list)
    later: set[str] = field(default_factory=set)
    stopped: bool = False


def read_answers_file(path: Path) -> dict[str, str]:
    """Question id -> answer. Raises BadInput where there is no such file, or it is no answers file."""

    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise BadInput(
            f"there is no file {path}", cure="write one: mountbook import FILE --ask > answers.txt"
        ) from None
    except UnicodeDecodeError:
        raise BadInput(f"{path} is no plain text", cure="save it as text in UTF-8") from None
    return read_answers(text, name=path.name)


def write_answers_file(path: Path, questions: Sequence[ImportQuestion], given: Mapping[str, str]) -> None:
    """Keep what was answered, and what is open beside it; whole or not at all."""
    with whole_file.whole_file(path) as beside:
        beside.write_text(answers_file(questions, given), encoding="utf-8")


def ask_all(
    look: Callable[[Mapping[str, str]], Proposal], given: Mapping[str, str], *, kept: Path, today: date
) -> tuple[Proposal, dict[str, str]]:
    """Ask what is open until nothing is, or somebody stops; each answer is kept in ``kept`` at once."""
    asked = Asked(given=dict(given))
    proposal = look(asked.given)
    while True:
        due = [q for q in proposal.questions if q.id not in asked.given and q.id not in asked.later]
        if not due or asked.stopped:
            break
        _ask_round(due, asked, kept, today)
        proposal = look(asked.given)
    write_answers_file(kept, proposal.questions, asked.given)
    left = len(proposal.questions)
    session.note(
        f"{counted(len(asked.given), 'answer')} in {kept}; "
        + (
            f"{counted(left, 'question')} still open: go on with --ask any time"
            if left
            else "nothing is open"
        )
    )
    return proposal, asked.given


def _ask_round(due: Sequence[ImportQuestion], asked: Asked, kept: Path, today: date) -> None:
    at = 0
    while at < len(due):
        question = due[at]
        said = _ask(question, at + 1, len(due), today)
        if said in _STOP:
            asked.stopped = True
            return
        if said in _UNDO:
            if asked.order:
                last = asked.order.pop()
                asked.given.pop(last, None)
                asked.later.discard(last)
                write_answers_file(kept, due, asked.given)
                session.note(f"taken back: {last}")
            if at == 0:
                return
            at -= 1
            continue
        asked.order.append(question.id)
        if said in _LATER:
            asked.later.add(question.id)
        else:
            asked.given[question.id] = said
            write_answers_file(kept, due, asked.given)
            if question.kind in _FIRST:
                return
        at += 1


def _ask(question: ImportQuestion, number: int, many: int, today: date) -> str:
    """The checked answer, or a word of ours for what to do; a wrong one is refused and asked again."""
    _show(question, number, many)
    while True:
        line = session.asked("  your answer: ")
        if not line and sys.stdin.read(0) == "" and not sys.stdin.isatty():
            return _STOP[0]  # nobody can type any more
        plain = line.casefold()
        if plain in (*_UNDO, *_STOP):
            return plain
        if plain in ("l", "later"):
            return _LATER[0]
        if plain == "":
            if not _has_first(question):
                return _LATER[0]
            line = question.guesses[0].answer
        line = dict(zip(_marks(question), (g.answer for g in question.guesses), strict=True)).get(plain, line)
        try:
            return checked_answer(question.id, line, question=question, today=today)
        except BadInput as fault:
            session.note(f"  {fault.sentence}" + (f" ({fault.cure})" if fault.cure else ""))


def _has_first(question: ImportQuestion) -> bool:
    """Return whether the first offer keeps something: nothing is left out by pressing Enter."""
    return bool(question.guesses) and question.guesses[0].answer != LEAVE_OUT


def _marks(question: ImportQuestion) -> list[str]:
    """The numbers of the offers; letters where a number may be the answer itself."""
    many = len(question.guesses)
    return list(ascii_lowercase[:many]) if question.of_number else [str(at) for at in range(1, many + 1)]


def _show(question: ImportQuestion, number: int, many: int) -> None:
    from rich.console import Console
    from rich.padding import Padding
    from rich.text import Text

    console = Console(file=sys.stderr, highlight=False, markup=False, emoji=False)
    console.print()
    console.print(Text(f"{number} of {many}  ", style="bold") + Text(one_line(question.text)))
    for mark, guess in zip(_marks(question), question.guesses, strict=True):
        words = Text(f"{mark}  ") + Text(one_line(guess.answer), style="bold")
        if guess.why:
            words += Text(f"  {guess.why}")
        console.print(Padding(words, (0, 0, 0, 4)))
    mark = "a letter" if question.of_number else "a number"
    ways = f"{mark}, or type the answer" if question.guesses else "type the answer"
    first = "Enter: the first; " if _has_first(question) else ""
    console.print(Padding(Text(f"{ways}; {first}l: later, u: undo, s: stop", style="dim"), (0, 0, 0, 4)))


_LOOKS: Final = ("open", "profile", "take-back")


def is_look(words: Sequence[str]) -> bool:
    """Return whether the first word is one of ours, and no file has that name."""
    return words[0] in _LOOKS and not Path(words[0]).exists()


def look(words: Sequence[str], *, by: str | None, json: bool) -> None:
    """Answer ``open``, ``profile`` or ``take-back ID``."""
    if words[0] == "take-back":
        _take_back(words[1:], by=by, json=json)
    elif len(words) > 1:
        raise BadInput(f"after {words[0]!r} nothing follows", cure=f"mountbook import {words[0]}")
    elif words[0] == "open":
        _open(json=json)
    else:
        _profile(json=json)


def waiting(names: Sequence[str]) -> open_files.OpenFile:
    """The copy of the file whose doubts are to be answered. Raises BadInput where it is none, or not sure."""
    if len(names) > 1:
        raise BadInput("one file at a time", cure=f"mountbook import open {names[0]!r} --ask")
    with session.open_ledger() as ledger:
        return open_files.one_open_file(ledger, session.ledger_path(), names[0] if names else "")


def _open(*, json: bool) -> None:
    with session.open_ledger() as ledger:
        doubts = intake.open_doubts(ledger)
        kept = open_files.open_files(ledger, session.ledger_path())
    names = list(dict.fromkeys(doubt.file for doubt in doubts))
    lines = []
    for doubt in doubts:
        rows = f", row {first_of(list(map(str, doubt.rows)), 5)}" if doubt.rows else ""
        lines += [
            f"{doubt.file} {doubt.sheet}{rows} (since {stored_day_text(doubt.day)}): {doubt.asked}",
            f"    {doubt.question}",
        ]
    if not doubts:
        lines = ["Nothing is open: every question of every import is answered."]
    else:
        lines += [
            f"{counted(len(doubts), 'question')} open. None of it is in a plan. To answer:",
            *(_how_to_answer(name, name in kept, many=len(names) > 1) for name in names),
        ]
    session.answer({"open": [doubt.to_json() for doubt in doubts]}, lines, json=json)


def _how_to_answer(name: str, kept: bool, *, many: bool) -> str:
    which = f" {shlex.quote(name)}" if many else ""
    if kept:
        return f"  mountbook import open{which} --ask --apply    (or with --answers FILE)"
    return f"  bring {name} again: mountbook import FILE --ask --apply"


def _profile(*, json: bool) -> None:
    with session.open_ledger() as ledger:
        known = intake.profile(ledger)
    lines = [f"{line.question} {line.answer}    # {line.by}, {line.day}" for line in known]
    if not known:
        lines = ["Nothing was answered yet that holds for the next file."]
    said = [{"id": line.question, "answer": line.answer, "since": line.day, "by": line.by} for line in known]
    session.answer({"profile": said}, lines, json=json)


def _take_back(ids: Sequence[str], *, by: str | None, json: bool) -> None:
    if not ids:
        raise BadInput("which answer?", cure="mountbook import take-back ID; see `mountbook import profile`")
    with session.open_ledger() as ledger:
        taken = intake.take_back(ledger, ids, by=session.who_enters(ledger, by), now=session.now())
    lines = [f"forgotten: {each}; it is asked again" for each in taken]
    session.answer({"taken_back": list(taken)}, lines, json=json)
