"""Entries about notes: made, ended, answered. The text is the entry's free text: it can be blanked."""

import sqlite3
from typing import Literal

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import BindingId, BootTag, Event, PairTag, delete_made, facts_of, insert, must_change
from fleet.facts.holes import Side


class _OnAThing(Event, frozen=True, kw_only=True):
    """The thing that a note is on: a pair, one ski of it, a boot, or the binding of one ski.

    tag: the pair, or null
    side: its ski, where the note is on one
    boot: the boot, or null
    binding_id: the binding, or null
    """

    tag: PairTag | None = None
    side: Side | None = None
    boot: BootTag | None = None
    binding_id: BindingId | None = None


class NoteMade(_OnAThing, frozen=True, kw_only=True):
    """Somebody noted something about a thing.

    proposes: what a word in it proposes, such as hold; "" where no word does
    """

    WHAT = "note made"
    proposes: str = ""

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It stands until it is ended."""
        if self.tag is not None:
            facts_of(state, self.tag)
        for table, column, name in (("boot", "tag", self.boot), ("binding", "binding_id", self.binding_id)):
            query = f"SELECT 1 FROM {table} WHERE {column} = ?"
            if name is not None and not state.execute(query, (name,)).fetchone():
                raise Refused(f"there is no {table} {name} in the ledger", cure="check the tag")
        if [self.tag, self.boot, self.binding_id].count(None) != 2:
            raise Refused("a note is on one thing", cure="name a pair, a ski, a boot or a binding")
        insert(state, "thing_note", self.body() | {"entry": entry.seq})

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """It never stood."""
        delete_made(state, "thing_note", seq, f"note {seq}")


class NoteEnded(_OnAThing, frozen=True, kw_only=True):
    """A note holds no more; what it proposed is answered with it.

    note: the entry that made it
    """

    WHAT = "note ended"
    ABOUT_ENTRY = "note"
    note: int

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is shown in the history alone."""
        _update(state, self.note, "ended_entry", entry.seq)


class NoteAnswered(_OnAThing, frozen=True, kw_only=True):
    """A listed person answers what a note proposes; the reason is the note of this entry.

    note: the entry that made it
    answer: took it, or not so
    """

    WHAT = "note answered"
    ABOUT_ENTRY = "note"
    note: int
    answer: Literal["took it", "not so"]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Nothing waits for it any more; the note still stands."""
        _update(state, self.note, "answer_entry", entry.seq)


def _update(state: sqlite3.Connection, note: int, column: str, seq: int) -> None:
    query = f"UPDATE thing_note SET {column} = ? WHERE entry = ? AND {column} = 0"
    must_change(
        state, query, (seq, note), Refused(f"note {note} is not open", cure="look at the newest state")
    )
