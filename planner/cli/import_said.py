"""`import open|profile|take-back`: what stayed open, and what the shop answered once and for all."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fleet.base.errors import BadInput
from fleet.base.units import counted, first_of
from planner.cli import session

if TYPE_CHECKING:
    from planner.exchange.open_files import OpenFile

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


def waiting(names: Sequence[str]) -> OpenFile:
    """The copy of the file whose doubts are to be answered. Raises BadInput where it is none, or not sure."""
    from planner.exchange.open_files import one_open_file

    if len(names) > 1:
        raise BadInput("one file at a time", cure=f"mountbook import open {names[0]!r} --ask")
    with session.open_ledger() as ledger:
        return one_open_file(ledger, session.ledger_path(), names[0] if names else "")


def _open(*, json: bool) -> None:
    from fleet.base.days import stored_day_text
    from planner.exchange.intake import open_doubts
    from planner.exchange.open_files import open_files

    with session.open_ledger() as ledger:
        doubts = open_doubts(ledger)
        kept = open_files(ledger, session.ledger_path())
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
    from planner.exchange.intake import profile

    with session.open_ledger() as ledger:
        known = profile(ledger)
    lines = [f"{line.question} {line.answer}    # {line.by}, {line.day}" for line in known]
    if not known:
        lines = ["Nothing was answered yet that holds for the next file."]
    said = [{"id": line.question, "answer": line.answer, "since": line.day, "by": line.by} for line in known]
    session.answer({"profile": said}, lines, json=json)


def _take_back(ids: Sequence[str], *, by: str | None, json: bool) -> None:
    from planner.exchange.intake import take_back

    if not ids:
        raise BadInput("which answer?", cure="mountbook import take-back ID; see `mountbook import profile`")
    with session.open_ledger() as ledger:
        taken = take_back(ledger, ids, by=session.who_enters(ledger, by), now=session.now())
    lines = [f"forgotten: {each}; it is asked again" for each in taken]
    session.answer({"taken_back": list(taken)}, lines, json=json)
