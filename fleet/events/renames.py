"""The entry about a pair's tag: another one stands on the skis from now on."""

from __future__ import annotations

import sqlite3
from typing import Final

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.carried_over import take_waiting_stops
from fleet.events.event import Event, PairTag
from fleet.events.facts import facts_of
from fleet.events.rows import insert

TAG_COLUMNS: Final = (
    *((table, "tag") for table in ("pair", "ski", "area", "hole", "mount", "stated_mount", "standing")),
    *((table, "tag") for table in ("thing_note", "glue", "look", "release_test", "single_ski", "work_order")),
    ("load_thing", "tag"),
    ("work_order", "giver"),
    ("binding", "on_pair"),
)
"""The columns that say of which pair a row is."""


class PairRenamed(Event, frozen=True, kw_only=True):
    """A pair has another tag; its history goes on under it. The reason is the note.

    Its holes and bindings keep their ids, older entries the tag that it had then.

    tag: the tag that it had
    to: the tag that it has from now on
    """

    WHAT = "pair renamed"
    tag: PairTag
    to: PairTag

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Every row of the pair is of the new tag; the old one is given to no other ski."""
        facts_of(state, self.tag)
        own = state.execute("DELETE FROM renamed WHERE old = ? AND new = ?", (self.to, self.tag)).rowcount
        if not own:
            not_given(state, self.to)
        rename_rows(state, self.tag, self.to)
        state.execute("UPDATE renamed SET new = ? WHERE new = ?", (self.to, self.tag))
        insert(state, "renamed", {"old": self.tag, "new": self.to, "entry": entry.seq})
        state.execute("UPDATE standing SET undo_entry = 0, undo_row = '' WHERE tag = ?", (self.to,))
        take_waiting_stops(state, self.to, entry)


def not_given(state: sqlite3.Connection, tag: str) -> None:
    """Raise Refused where a pair has that tag, or had it: two skis would have one history."""
    if state.execute("SELECT 1 FROM pair WHERE tag = ?", (tag,)).fetchone():
        raise Refused(f"pair {tag} stands in the ledger already")
    row = state.execute("SELECT new, entry FROM renamed WHERE old = ?", (tag,)).fetchone()
    if row is not None:
        raise Refused(
            f"{tag} is called {row[0]} since entry {row[1]}, and a tag is not given twice",
            cure=f"name it {row[0]}, or give another ski another tag",
        )


def rename_rows(state: sqlite3.Connection, old: str, new: str) -> None:
    """Give every row of a pair its other tag."""
    for table, column in TAG_COLUMNS:
        state.execute(f"UPDATE {table} SET {column} = ? WHERE {column} = ?", (new, old))
