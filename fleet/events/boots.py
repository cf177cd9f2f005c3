"""Entries about boots: recorded, changed, held, moved, back. The cause or the reason is the note."""

import sqlite3
from typing import Any

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import (
    IN_SHOP,
    BootTag,
    Changes,
    OfNoPair,
    change_columns,
    delete_made,
    insert,
    must_be_none,
    must_change,
)
from fleet.events.movement import MOVED_TO
from fleet.facts.boots import Boot, BootFacts
from fleet.facts.columns import facts_from_row, facts_in, names_of, plain_facts
from fleet.facts.standing import Place


class BootRecorded(OfNoPair, BootFacts, frozen=True, kw_only=True):
    """A boot came into the ledger."""

    WHAT = "boot recorded"

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is there."""
        boot = Boot(**facts_in(BootFacts, self))
        must_be_none(
            state,
            "SELECT 1 FROM boot WHERE tag = ?",
            (boot.tag,),
            Refused(f"boot {boot.tag} stands in the ledger already"),
        )
        insert(state, "boot", plain_facts(BootFacts, boot) | {"entry": entry.seq})

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """It is gone; refused where a pair, an order, a stop or a note names it."""
        row = state.execute("SELECT tag FROM standing WHERE out_boot = ?", (self.tag,)).fetchone()
        order = state.execute("SELECT number FROM work_order WHERE boot = ?", (self.tag,)).fetchone()
        if row or order:
            raise Refused(f"boot {self.tag} is in use: {row[0] if row else order[0]} names it")
        held = state.execute("SELECT hold_entry FROM boot WHERE tag = ?", (self.tag,)).fetchone()
        noted = state.execute("SELECT entry FROM thing_note WHERE boot = ?", (self.tag,)).fetchone()
        for found in (held, noted):
            if found and found[0]:
                raise Refused(f"boot {self.tag} is not as it was recorded: entry {found[0]} is about it")
        delete_made(state, "boot", seq, f"boot {self.tag}")


class _OfABoot(OfNoPair, frozen=True, kw_only=True):
    """It changes nothing of any pair.

    tag: the boot
    """

    tag: BootTag

    def _store(self, state: sqlite3.Connection, **facts: Any) -> None:
        columns = ", ".join(f"{name} = ?" for name in facts)
        must_change(
            state,
            f"UPDATE boot SET {columns} WHERE tag = ?",
            (*facts.values(), self.tag),
            Refused(f"there is no boot {self.tag} in the ledger", cure="check the tag"),
        )


class BootChanged(_OfABoot, frozen=True, kw_only=True):
    """Recorded facts of a boot were set right.

    changes: by column, the old value and the new one
    """

    WHAT = "boot changed"
    changes: Changes

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The new values stand; the boot checks itself as a new one does."""
        change_columns(
            state, "boot", key={"tag": self.tag}, changes=self.changes, allowed=names_of(BootFacts)
        )
        cursor = state.execute("SELECT * FROM boot WHERE tag = ?", (self.tag,))
        cursor.row_factory = sqlite3.Row
        Boot(**facts_from_row(BootFacts, dict(cursor.fetchone())))


class BootHeld(_OfABoot, frozen=True, kw_only=True):
    """Somebody stops a boot."""

    WHAT = "boot held"

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is on hold; one that is out is held from the moment it comes back."""
        self._store(state, hold_entry=entry.seq)


class BootHoldCleared(_OfABoot, frozen=True, kw_only=True):
    """The hold of a boot is lifted.

    hold: the entry that held it
    """

    WHAT = "boot hold cleared"
    hold: int

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Nothing stops it."""
        self._store(state, hold_entry=0)


class BootMoved(_OfABoot, frozen=True, kw_only=True):
    """A person says where a boot is.

    to: missing, in transit, retired, sold, or shop
    """

    WHAT = "boot moved"
    to: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is there; what arrives is no longer out with any pair."""
        if self.to == IN_SHOP:
            self._store(state, whereabouts=IN_SHOP, back_entry=entry.seq)
            return
        if Place(self.to) not in MOVED_TO:
            raise Refused(f"a boot is not moved to {self.to} by hand: that follows from what happened")
        self._store(state, whereabouts=self.to)


class BootBack(_OfABoot, frozen=True, kw_only=True):
    """A boot came back, with its pair or without.

    said: whether the renter said something; what it was is the note
    """

    WHAT = "boot back"
    said: bool

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is in the shop."""
        self._store(state, whereabouts=IN_SHOP, back_entry=entry.seq)
