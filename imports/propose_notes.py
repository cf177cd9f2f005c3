"""Proposed entries for notes: what a row says beside its facts is kept, and what it proposes is said."""

import shlex
from collections.abc import Sequence
from typing import Any, Final

from fleet.events.notes import NoteMade
from fleet.facts.holes import Side
from fleet.facts.notes import Note, proposal_in
from imports.difference import Draft
from imports.headers import Table
from imports.rows import Row

BETWEEN: Final = " | "
"""Between two notes in one cell."""


def with_note(said: Any, *more: str) -> str:
    """The text of a cell of notes with more of them."""
    return BETWEEN.join([*([str(said)] if said else []), *more])


def propose_notes(draft: Draft, rows: Sequence[Row]) -> None:
    """``note made`` for each note that the thing does not have and never had; none is ended by a file."""
    known = draft.fleet.notes
    for row in rows:
        said = str(row.values.get("notes") or "")
        if not said or not row.usable or row.repeat:
            continue
        target = _target(draft, row)
        if target is None:
            row.note(
                "note_of_nothing",
                "the note belongs to nothing that is taken in: it is left out",
                "enter it with `mountbook note`",
                key="notes",
            )
            continue
        had = {note.words for note in known if _is_on(note, target)}
        texts = dict.fromkeys(" ".join(part.split()) for part in said.split(BETWEEN.strip()))
        for text in texts:
            if text and text not in had:
                _propose(draft, row, target, text)


def _propose(draft: Draft, row: Row, target: dict[str, Any], text: str) -> None:
    event = NoteMade(**target, proposes=proposal_in(text))
    draft.add(event, row, text=text)
    if event.proposes:
        name = Note(entry=0, **target).name
        row.note(
            "alarm_word",
            f"{name}: '{text}' - {event.proposes}? It is in no plan until that is answered",
            f"mountbook note {shlex.quote(name)} --took-it --by NAME, or --not-so",
            key="notes",
        )


def _target(draft: Draft, row: Row) -> dict[str, Any] | None:
    """Return what the row is about, as the fields of a note's entry; None where nothing of it comes in."""
    v = row.values
    if row.table is Table.BOOT:
        return {"boot": v["tag"]}
    if row.table in (Table.SKI, Table.SIDE):
        side = v.get("ski")
        tag = v["tag"] if row.table is Table.SKI else v["pair_tag"]
        return {"tag": tag} | ({"side": Side(side)} if side in list(Side) else {})
    binding = v.get("binding_id") or draft.first_binding.get(id(row))
    return {"binding_id": binding} if binding else None


def _is_on(note: Note, target: dict[str, Any]) -> bool:
    names = ("tag", "boot", "binding_id")
    same = all(getattr(note, name) == target.get(name) for name in names)
    return same and note.side in (None, target.get("side"))  # a row of one ski has the pair's notes too
