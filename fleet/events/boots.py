"""Entries about boots."""

from __future__ import annotations

import sqlite3
from typing import Final

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import BootTag, Changes, Event, Replay
from fleet.events.rows import change, delete_made, insert
from fleet.facts.equipment import Boot

_COLUMNS: Final = (
    *("model", "mondopoint_mm", "bsl_um", "bsl_measured", "sole_type", "season"),
    "pin_um",
)


class BootRecorded(Event, frozen=True, kw_only=True):
    """A boot came into the ledger.

    tag: the boot
    model: its model
    mondopoint_mm: its size, in millimetres; null where not known
    bsl_um: the sole length that counts at the bench, in micrometres; null where not known
    bsl_measured: how that number came about
    sole_type: the type of its sole
    season: the season it is of, or empty
    pin_um: from the toe's end to the pin line, in micrometres; null for boots without one
    """

    WHAT = "boot recorded"
    REPLAY = Replay.NOTHING
    tag: BootTag
    model: str
    mondopoint_mm: int | None
    bsl_um: int | None
    bsl_measured: str
    sole_type: str
    season: str = ""
    pin_um: int | None = None

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is there."""
        boot = Boot(**self.body())
        if state.execute("SELECT 1 FROM boot WHERE tag = ?", (boot.tag,)).fetchone():
            raise Refused(f"boot {boot.tag} stands in the ledger already")
        insert(state, "boot", self.body() | {"entry": entry.seq})

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
        change(state, "boot", key={"tag": self.tag}, changes=self.changes, allowed=_COLUMNS)
        row = state.execute(
            f"SELECT tag, {', '.join(_COLUMNS)} FROM boot WHERE tag = ?", (self.tag,)
        ).fetchone()
        Boot(**dict(zip(("tag", *_COLUMNS), row, strict=True)))
