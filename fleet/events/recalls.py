"""Entries about makers' recalls."""

from __future__ import annotations

import sqlite3

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import OfNoPair, TypedText
from fleet.events.rows import insert


class RecallOpened(OfNoPair, frozen=True, kw_only=True):
    """A maker recalls bindings; empty fields do not narrow it.

    recall: the recall's name
    pattern: the pattern it is about, or empty
    piece: toe, heel, or empty for both
    serial_from: the first serial, or empty
    serial_to: the last serial, or empty
    season: the season it is about, or empty
    source: where the shop has it from
    """

    WHAT = "recall opened"
    recall: str
    pattern: str
    piece: str
    serial_from: str
    serial_to: str
    season: str
    source: TypedText

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Nothing it reaches goes out from now on."""
        if self.piece not in ("", "toe", "heel"):
            raise Refused(f"a recall names toe, heel or neither, not {self.piece!r}")
        if state.execute("SELECT 1 FROM recall WHERE recall = ?", (self.recall,)).fetchone():
            raise Refused(f"recall {self.recall} stands in the ledger already", cure="give it another name")
        insert(state, "recall", self.body() | {"opened_entry": entry.seq, "closed_entry": None})


class RecallClosed(OfNoPair, frozen=True, kw_only=True):
    """A recall is over; how it ended is the note.

    recall: the recall's name
    """

    WHAT = "recall closed"
    recall: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It stops nothing any more."""
        changed = state.execute(
            "UPDATE recall SET closed_entry = ? WHERE recall = ? AND closed_entry IS NULL",
            (entry.seq, self.recall),
        ).rowcount
        if not changed:
            raise Refused(f"there is no open recall {self.recall}", cure="see `mountbook recall list`")
