"""Entries about boots."""

from __future__ import annotations

import sqlite3

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import BootTag, Changes, Event, Replay
from fleet.events.rows import change, delete_made, insert
from fleet.facts.columns import facts_in, names_of, plain_facts
from fleet.facts.equipment import Boot, BootFacts
from fleet.tables.snapshot import read_boots


class BootRecorded(Event, BootFacts, frozen=True, kw_only=True):
    """A boot came into the ledger."""

    WHAT = "boot recorded"
    REPLAY = Replay.NOTHING

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is there."""
        boot = Boot(**facts_in(BootFacts, self))
        if state.execute("SELECT 1 FROM boot WHERE tag = ?", (boot.tag,)).fetchone():
            raise Refused(f"boot {boot.tag} stands in the ledger already")
        insert(state, "boot", plain_facts(BootFacts, boot) | {"entry": entry.seq})

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """It is gone; refused where a pair or an order names it."""
        row = state.execute("SELECT tag FROM standing WHERE out_boot = ?", (self.tag,)).fetchone()
        order = state.execute("SELECT number FROM work_order WHERE boot = ?", (self.tag,)).fetchone()
        if row or order:
            raise Refused(f"boot {self.tag} is in use: {row[0] if row else order[0]} names it")
        delete_made(state, "boot", seq, f"boot {self.tag}")


class BootChanged(Event, frozen=True, kw_only=True):
    """Recorded facts of a boot were set right.

    tag: the boot
    changes: by column, the old value and the new one
    """

    WHAT = "boot changed"
    REPLAY = Replay.NOTHING
    tag: BootTag
    changes: Changes

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The new values stand; the boot checks itself as a new one does."""
        change(state, "boot", key={"tag": self.tag}, changes=self.changes, allowed=names_of(BootFacts))
        read_boots(state, self.tag)
