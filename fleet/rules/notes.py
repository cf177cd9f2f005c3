"""Notes on pairs, skis, boots and bindings: made, ended; what a word in them proposes, and its answer."""

import shlex
import sqlite3
from dataclasses import dataclass
from typing import Any, Final

from fleet.base.errors import BadInput, Refused, did_you_mean, in_words
from fleet.events.notes import NoteAnswered, NoteEnded, NoteMade
from fleet.facts.holes import Side
from fleet.facts.notes import OPEN_QUESTION, Note, proposal_in
from fleet.facts.standing import Place, read_standing
from fleet.facts.tags import known_tag
from fleet.ledger.desk import Desk, any_listed
from fleet.rules.boots import boot_meant
from fleet.rules.counter import move
from fleet.rules.holds import hold
from fleet.tables.snapshot import read_notes

Target = dict[str, Any]
"""The fields of a note's entry that say what it is on."""
_ASKED: Final = {
    "hold": "hold it?",
    "single": "is one ski gone?",
    "sold": "is it sold?",
    "retired": "is it out of service?",
}
"""The question of each proposal, in words."""


def thing_meant(connection: sqlite3.Connection, text: str) -> Target:
    """Return what a note is on: ``K-031``, ``K-031/A``, ``B-210`` or a binding's id. Refused for no thing."""
    if (boot := boot_meant(connection, text)) is not None:
        return {"boot": boot}
    said = text.strip()
    side = said[-1:].upper() if said[-2:-1] in ("/", " ") and said[-1:].upper() in list(Side) else ""
    for tag in (said, said.upper()):
        if _is_pair(connection, tag):
            return {"tag": tag}
        if side and _is_pair(connection, tag[:-2]):
            return {"tag": tag[:-2], "side": Side(side)}
    if connection.execute("SELECT 1 FROM binding WHERE binding_id = ?", (said,)).fetchone():
        return {"binding_id": said}
    if _is_pair(connection, tag := known_tag(connection, said)):
        return {"tag": tag}
    names = (name for (name,) in connection.execute("SELECT tag FROM pair UNION SELECT tag FROM boot"))
    raise Refused(
        f"there is no pair, ski, boot or binding {said} in the ledger",
        cure=did_you_mean(said, names, "check the tag; a ski is written K-031/A"),
    )


def _is_pair(connection: sqlite3.Connection, tag: str) -> bool:
    return connection.execute("SELECT 1 FROM pair WHERE tag = ?", (tag,)).fetchone() is not None


def notes_on(connection: sqlite3.Connection, target: Target) -> tuple[Note, ...]:
    """The notes that stand on it; a pair's include those on its skis and the bindings on it."""
    if "binding_id" in target:
        return _standing(connection, "binding_id = ?", target["binding_id"])
    if "boot" in target:
        return _standing(connection, "boot = ?", target["boot"])
    found = _standing(
        connection,
        "(tag = ?1 OR binding_id IN (SELECT binding_id FROM binding WHERE on_pair = ?1))",
        target["tag"],
    )
    return tuple(n for n in found if target.get("side") in (None, n.side))


def _standing(connection: sqlite3.Connection, where: str, name: str) -> tuple[Note, ...]:
    return read_notes(connection, where=f"ended_entry = 0 AND {where}", args=(name,))


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteQuestion:
    """The question of a note in words, with the two commands that answer it."""

    note: Note
    asks: str
    took: str
    not_so: str

    @property
    def words(self) -> str:
        """One line: ``K-5: 'heel loose!!' - hold it? mountbook note K-5 --took-it … or --not-so …``."""
        return f"{self.note.name}: '{self.note.words}' - {self.asks} {self.took}, or {self.not_so}"


def question_of(note: Note) -> NoteQuestion:
    """Return the question of a note that proposes something."""
    said = f"mountbook note {shlex.quote(note.name)}"
    return NoteQuestion(
        note=note,
        asks=_ASKED[note.proposes],
        took=f"{said} --took-it --by NAME",
        not_so=f"{said} --not-so --by NAME",
    )


def open_questions(connection: sqlite3.Connection) -> tuple[NoteQuestion, ...]:
    """Everything that notes propose and nobody has answered, oldest first."""
    return tuple(map(question_of, read_notes(connection, where=OPEN_QUESTION)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """The result of one action on a note, for the screen."""

    name: str
    entry: int
    words: str


def make_note(desk: Desk, name: str, text: str) -> Noted:
    """Note something. Anybody may; what an alarm word in it proposes is asked, never done."""
    target = thing_meant(desk.connection, name)
    said = in_words(text, "a note")
    proposes = proposal_in(said)
    entry = desk.enter(NoteMade(**target, proposes=proposes), note=said)
    [note] = read_notes(desk.connection, where="entry = ?", args=(entry,))
    words = question_of(note).words if proposes else f"{note.name}: noted"
    return Noted(name=note.name, entry=entry, words=words)


def end_notes(desk: Desk, name: str, *, why: str = "", entry: int | None = None) -> list[Noted]:
    """End the notes that stand on a thing, or the one of that entry. Signed by a listed person."""
    any_listed(desk.connection, desk.by, days=desk.signing_days, what="end a note")
    return [
        Noted(
            name=note.name,
            entry=desk.enter(NoteEnded(**_target(note), note=note.entry), note=why),
            words=f"{note.name}: ended: {note.words}",
        )
        for note in _chosen(desk, name, entry, questions=False)
    ]


def answer(desk: Desk, name: str, *, took: bool, why: str = "", entry: int | None = None) -> list[Noted]:
    """Answer what notes on a thing propose. ``took``: it is done now, with the rights that it needs.

    Otherwise it is not so, and a listed person says that. The notes still stand.
    """
    any_listed(desk.connection, desk.by, days=desk.signing_days, what="answer a note")
    found = []
    for note in _chosen(desk, name, entry, questions=True):
        words = _take(desk, note) if took else "not so"
        number = desk.enter(
            NoteAnswered(**_target(note), note=note.entry, answer="took it" if took else "not so"), note=why
        )
        found.append(Noted(name=note.name, entry=number, words=f"{note.name}: {words}"))
    return found


def _take(desk: Desk, note: Note) -> str:
    """Do what the note proposes."""
    tag = note.tag or (f"boot:{note.boot}" if note.boot else _pair_of(desk, str(note.binding_id)))
    if note.proposes == "hold" or (note.boot and note.proposes == "single"):
        return hold(desk, tag, why=note.words).words
    if note.proposes != "single":
        return f"{move(desk, tag, to=note.proposes, reason=note.words).place.value}: {note.words}"
    if read_standing(desk.connection, tag).place is not Place.RETIRED:
        raise Refused(
            f"which ski of {tag} is gone needs to be said first",
            cure=f"mountbook singles lost {tag} --ski A (or B) --by NAME, then this again",
        )
    return "one ski is gone, as entered"


def _pair_of(desk: Desk, binding_id: str) -> str:
    row = desk.connection.execute(
        "SELECT on_pair FROM binding WHERE binding_id = ?", (binding_id,)
    ).fetchone()
    if row is None or row[0] is None:
        raise Refused(
            f"binding {binding_id} is on no pair", cure="take it out of the stock: mountbook stock out"
        )
    return str(row[0])


def _target(note: Note) -> Target:
    return {"tag": note.tag, "side": note.side, "boot": note.boot, "binding_id": note.binding_id}


def _chosen(desk: Desk, name: str, entry: int | None, *, questions: bool) -> tuple[Note, ...]:
    found = notes_on(desk.connection, thing_meant(desk.connection, name))
    found = tuple(n for n in found if entry in (None, n.entry) and (n.is_question or not questions))
    if not found:
        what = "asks nothing that is open" if questions else "stands"
        raise Refused(
            f"no note on {name} {what}" if entry is None else f"no note {entry} on {name} {what}",
            cure=f"see them: mountbook note {name}",
        )
    if entry is None and len(found) > 1 and not questions:
        raise BadInput(
            f"{len(found)} notes stand on {name}",
            cure=f"name one with --entry: {', '.join(str(n.entry) for n in found)}",
        )
    return found
