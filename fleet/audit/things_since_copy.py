"""Stops of boots, and notes, entered since a copy was made: read from the replaced file, entered again."""

import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from fleet.base.errors import MountbookError
from fleet.events.boots import BootHeld, BootMoved
from fleet.events.facts import IN_SHOP
from fleet.events.notes import NoteMade
from fleet.facts.boots import Boot
from fleet.facts.notes import Note
from fleet.facts.standing import Place
from fleet.ledger.transaction import Transaction
from fleet.tables.snapshot import read_boots, read_notes
from fleet.tables.sqlite_faults import SQLITE_FAULTS

_FAULTS: Final = (*SQLITE_FAULTS, MountbookError, ValueError, TypeError, KeyError)
_UNKNOWN: Final = "this copy does not know it: enter it again, then {} it"


@dataclass(frozen=True, slots=True, kw_only=True)
class ThingsOfFile:
    """The boots that are stopped or away, and the notes that stand, as the replaced file has them."""

    boots: tuple[tuple[Boot, str], ...] = ()
    """Each with the place that a person gave it; *shop* where nobody did."""
    notes: tuple[Note, ...] = ()


def read_things(state: sqlite3.Connection) -> ThingsOfFile:
    """Read them; nothing from tables that are damaged."""
    try:
        boots = read_boots(state)
        where = dict(state.execute("SELECT tag, whereabouts FROM boot"))
        notes = read_notes(state, where="ended_entry = 0")
        return ThingsOfFile(
            boots=tuple(
                (boot, where[tag])
                for tag, boot in boots.items()
                if boot.hold_entry or where[tag] not in (IN_SHOP, Place.OUT.value)
            ),
            notes=notes,
        )
    except _FAULTS:
        return ThingsOfFile()


def carry_things(
    tx: Transaction, things: ThingsOfFile, texts: Mapping[int, str]
) -> Iterator[tuple[str, str]]:
    """Enter what the copy does not say; yield the thing and what is said of it, in words.

    ``texts``: the free text of the entries after the copy.
    """
    yield from _boots(tx, things, texts)
    known = {(note.name, note.text) for note in read_notes(tx.connection, where="ended_entry = 0")}
    for note in things.notes:
        text = texts.get(note.entry, note.text)
        if (note.name, text) in known or not text:
            continue
        words = f"note: {' '.join(text.split())}"
        made = NoteMade(
            tag=note.tag, side=note.side, boot=note.boot, binding_id=note.binding_id, proposes=note.proposes
        )
        if _is_known(tx.connection, note):
            tx.enter(made, note=text)
            yield note.name, words
        else:
            yield note.name, f"{words}; {_UNKNOWN.format('note')}"


def _boots(tx: Transaction, things: ThingsOfFile, texts: Mapping[int, str]) -> Iterator[tuple[str, str]]:
    known = read_boots(tx.connection)
    places = dict(tx.connection.execute("SELECT tag, whereabouts FROM boot"))
    for boot, whereabouts in things.boots:
        ours, said = known.get(boot.tag), []
        if boot.hold_entry and not (ours and ours.hold_entry):
            why = texts.get(boot.hold_entry, boot.hold_why)
            if ours:
                tx.enter(BootHeld(tag=boot.tag), note=why)
            said.append(f"hold: {why}")
        if whereabouts not in (IN_SHOP, Place.OUT.value, places.get(boot.tag)):
            if ours:
                tx.enter(BootMoved(tag=boot.tag, to=whereabouts))
            said.append(whereabouts)
        if said:
            unknown = [] if ours else [_UNKNOWN.format("stop")]
            yield f"boot {boot.tag}", "; ".join(said + unknown)


def _is_known(connection: sqlite3.Connection, note: Note) -> bool:
    for table, column, name in (
        ("pair", "tag", note.tag),
        ("boot", "tag", note.boot),
        ("binding", "binding_id", note.binding_id),
    ):
        if name is not None:
            query = f"SELECT 1 FROM {table} WHERE {column} = ?"
            return connection.execute(query, (name,)).fetchone() is not None
    return False
