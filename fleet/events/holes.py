"""Entries about holes, and what other entries do to holes."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import Changes, EntryPart, Event, HoleId, PairTag, change_columns, insert
from fleet.events.facts import facts_of, touched
from fleet.facts.columns import facts_in, names_of, plain_facts
from fleet.facts.holes import Hole, HoleFacts, Side, hole_number
from fleet.tables.snapshot import read_pairs


class NewHole(EntryPart, HoleFacts, frozen=True, kw_only=True):
    """One hole.

    side: the ski
    """

    side: Side


class ChangedHole(EntryPart, frozen=True, kw_only=True):
    """A change that work made to a hole that was there.

    hole_id: its id
    changes: by column, the old value and the new one
    """

    hole_id: HoleId
    changes: Changes


class HolesRecorded(Event, frozen=True, kw_only=True):
    """Holes of a pair became known.

    tag: the pair
    holes: the holes
    """

    WHAT = "holes recorded"
    tag: PairTag
    holes: tuple[NewHole, ...]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """They are there, and no earlier pass counts."""
        facts_of(state, self.tag)
        for hole in self.holes:
            insert_hole(state, self.tag, hole, entry=entry.seq)
        touched(state, self.tag, entry)

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """They are gone; refused where one was changed since."""
        for hole in self.holes:
            made = {"side": hole.side.value} | plain_facts(HoleFacts, hole)
            row = state.execute(
                f"SELECT entry, {', '.join(made)} FROM hole WHERE hole_id = ?", (hole.hole_id,)
            ).fetchone()
            if row is None or row[1:] != tuple(made.values()):
                raise Refused(
                    f"hole {hole.hole_id} of entry {seq} was "
                    + (f"changed by entry {row[0]}" if row else "withdrawn already"),
                    cure="withdraw that entry first" if row else "look at the newest state",
                )
            state.execute("DELETE FROM hole WHERE hole_id = ?", (hole.hole_id,))
        touched(state, self.tag, entry)


class HoleChanged(Event, frozen=True, kw_only=True):
    """A correction of what is known of a hole; the hole points to the entry that changed it.

    hole_id: its id
    changes: by column, the old value and the new one
    """

    WHAT = "hole changed"
    hole_id: HoleId
    changes: Changes

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The new values stand, and no earlier pass counts."""
        change_hole(state, self.hole_id, self.changes, entry=entry.seq)
        touched(state, _pair_of(state, self.hole_id), entry)

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """The old values stand again."""
        back = {column: (new, old) for column, (old, new) in self.changes.items()}
        change_hole(state, self.hole_id, back, entry=entry.seq)
        touched(state, _pair_of(state, self.hole_id), entry)

    def names_in_state(self, state: sqlite3.Connection) -> Iterator[str]:
        """The pair behind the id."""
        row = state.execute("SELECT tag FROM hole WHERE hole_id = ?", (self.hole_id,)).fetchone()
        if row is not None:
            yield row[0]


def insert_hole(state: sqlite3.Connection, tag: str, new: NewHole, *, entry: int) -> None:
    """One new hole of a pair; refuses an id that is taken."""
    hole = Hole(**facts_in(HoleFacts, new))
    if state.execute("SELECT 1 FROM hole WHERE hole_id = ?", (hole.hole_id,)).fetchone():
        raise Refused(f"hole {hole.hole_id} stands in the ledger already")
    insert(
        state,
        "hole",
        plain_facts(HoleFacts, hole) | {"tag": tag, "side": new.side.value, "entry": entry},
    )
    number_given(state, tag, new.side, hole.hole_id)


def number_given(state: sqlite3.Connection, tag: str, side: Side, hole_id: str) -> None:
    """The number of that id is that hole's for good, drilled or only printed: the next ones lie above it."""
    state.execute(
        "UPDATE ski SET holes_numbered_to = ?1 WHERE tag = ?2 AND side = ?3 AND holes_numbered_to < ?1",
        (hole_number(tag, side, hole_id), tag, side.value),
    )


def change_hole(state: sqlite3.Connection, hole_id: str, changes: Changes, *, entry: int) -> None:
    """Change columns of one hole; the changed hole checks itself as a new one does."""
    change_columns(state, "hole", key={"hole_id": hole_id}, changes=changes, allowed=names_of(HoleFacts))
    state.execute("UPDATE hole SET entry = ? WHERE hole_id = ?", (entry, hole_id))
    read_pairs(state, _pair_of(state, hole_id))


def _pair_of(state: sqlite3.Connection, hole_id: str) -> str:
    row = state.execute("SELECT tag FROM hole WHERE hole_id = ?", (hole_id,)).fetchone()
    if row is None:
        raise Refused(f"there is no hole {hole_id}", cure="check the id")
    return str(row[0])
