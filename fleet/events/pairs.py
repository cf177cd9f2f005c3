"""Entries about pairs, their skis and holes: recorded, changed, inspected, given another tag, closed."""

import sqlite3
from collections.abc import Iterator
from typing import Final

from fleet.base.days import shop_day, time_text
from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import (
    LEFT_OUT,
    Changes,
    EntryPart,
    Event,
    HoleId,
    Later,
    PairTag,
    change_columns,
    close_ski,
    delete_made,
    facts_of,
    insert,
    must_be_none,
    not_known,
    touched,
)
from fleet.events.stops import take_waiting_stops
from fleet.facts.columns import facts_in, names_of, plain_facts, table_facts
from fleet.facts.holes import Hole, HoleFacts, Side, hole_number
from fleet.facts.pairs import AreaFacts, InspectedArea, Pair, PairFacts, Ski, SkiFacts
from fleet.facts.standing import Place
from fleet.tables.held_state import store_standing_row
from fleet.tables.snapshot import read_pairs

_HANGS_ON_A_PAIR: Final = (
    ("hole", "tag"),
    ("area", "tag"),
    ("mount", "tag"),
    ("stated_mount", "tag"),
    ("binding", "on_pair"),
    ("look", "tag"),
    ("work_order", "tag"),
    ("thing_note", "tag"),
)


class SkiOfAPair(EntryPart, SkiFacts, frozen=True, kw_only=True):
    """One ski as it is recorded; null is not known. A key that is not there is null."""


class PairRecorded(Event, PairFacts, frozen=True, kw_only=True):
    """A pair came into the ledger. It is flat, and what waited for its tag stops it at once.

    earlier_mounts: mounts before those on record; null where nobody stated them
    earlier_at_least: the fewest there can have been; left out where that is 0
    skis: ski A and ski B
    """

    WHAT = "pair recorded"
    earlier_mounts: int | None  # without the default of a `Pair`: a body says it
    earlier_at_least: int | Later = LEFT_OUT
    skis: dict[Side, SkiOfAPair]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It stands in the shop, flat."""
        pair = Pair(
            **facts_in(PairFacts, self),
            place=Place.FLAT,
            skis={side: Ski(side=side, **facts_in(SkiFacts, ski)) for side, ski in self.skis.items()},
            earlier_at_least=self.earlier_at_least or 0,
        )
        not_given(state, pair.tag)
        insert(
            state,
            "pair",
            plain_facts(PairFacts, pair) | {"earlier_at_least": pair.earlier_at_least, "entry": entry.seq},
        )
        for side in Side:
            insert(state, "ski", {"tag": pair.tag, "side": side.value} | self.skis[side].body())
        flat = {"place": Place.FLAT.value, "place_entry": entry.seq, "place_at": entry.stated_at_utc}
        store_standing_row(state, flat | {"tag": pair.tag}, new=True)
        take_waiting_stops(state, pair.tag, entry)

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """It is gone; refused where it has a history."""
        for table, column in _HANGS_ON_A_PAIR:
            must_be_none(
                state,
                f"SELECT 1 FROM {table} WHERE {column} = ? LIMIT 1",
                (self.tag,),
                Refused(
                    f"pair {self.tag} has a history in the ledger ({table})",
                    cure="withdraw that first, or `mountbook move` it to retired if it existed and is gone",
                ),
            )
        row = state.execute(
            "SELECT side, closed_why FROM ski WHERE tag = ? AND closed_entry > 0", (self.tag,)
        ).fetchone()
        if row:
            raise Refused(f"ski {row[0]} of {self.tag} is closed ({row[1]}): that stays with the ski")
        delete_made(state, "pair", seq, f"pair {self.tag}")
        for table in ("ski", "standing"):
            state.execute(f"DELETE FROM {table} WHERE tag = ?", (self.tag,))


class PairChanged(Event, frozen=True, kw_only=True):
    """Recorded facts of a pair were set right.

    tag: the pair
    changes: by column, the old value and the new one; a ski's column is written ``A.mark_from_tail_um``
    """

    WHAT = "pair changed"
    tag: PairTag
    changes: Changes

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The new values stand; the pair checks itself as a new one does."""
        for name, old_and_new in self.changes.items():
            side, dot, column = name.rpartition(".")
            key = {"tag": self.tag, "side": side} if dot else {"tag": self.tag}
            change_columns(
                state,
                "ski" if dot else "pair",
                key=key,
                changes={column: old_and_new},
                allowed=names_of(SkiFacts if dot else Pair),
            )
        read_pairs(state, self.tag)


class AreaInspected(Event, AreaFacts, frozen=True, kw_only=True):
    """A stretch of a ski was seen: the only way an area opens.

    tag: the pair
    side: the ski
    """

    WHAT = "area inspected"
    tag: PairTag
    side: Side

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The area is open. A closed ski opens by a survey bare since then, and by nothing seen before."""
        area = InspectedArea(**facts_in(AreaFacts, self), by=entry.by)
        facts_of(state, self.tag)
        self._not_closed_since(state, entry)
        insert(
            state,
            "area",
            {"entry": entry.seq, "tag": self.tag, "side": self.side.value, "by": area.by}
            | table_facts(AreaFacts, area),
        )
        if self.how == "bare":
            # the binding of that ski was off; nothing else of the row changes, the undoing of a scan neither
            facts = facts_of(state, self.tag)
            not_known(facts, self.side)
            state.execute("UPDATE standing SET stands = ? WHERE tag = ?", (facts["stands"], self.tag))

    def _not_closed_since(self, state: sqlite3.Connection, entry: Entry) -> None:
        closed, at, why = state.execute(
            "SELECT closed_entry, closed_at, closed_why FROM ski WHERE tag = ? AND side = ?",
            (self.tag, self.side.value),
        ).fetchone()
        if not closed:
            return
        day = shop_day(at, entry.zone).isoformat()
        earlier = self.on < day or (self.on == day and entry.stated_at_utc <= at)
        if earlier or self.how != "bare":
            raise Refused(
                f"ski {self.side} of {self.tag} was closed {time_text(at, entry.zone)} ({why}):"
                f" seen {self.how} on {self.on or 'an unknown day'}, it does not open",
                cure="take the binding off, survey it bare, and enter the survey with its day",
            )

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """The area is shut."""
        delete_made(state, "area", seq, f"the area of entry {seq}")
        touched(state, self.tag, entry)


class SkiClosed(Event, frozen=True, kw_only=True):
    """A ski may hold a hole that nobody knows.

    tag: the pair
    side: the ski
    why: what makes it so
    """

    WHAT = "ski closed"
    tag: PairTag
    side: Side
    why: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Nothing inspected counts any more."""
        facts_of(state, self.tag)
        close_ski(state, self.tag, self.side, seq=entry.seq, at=entry.stated_at_utc, why=self.why)


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
    must_be_none(
        state,
        "SELECT 1 FROM pair WHERE tag = ?",
        (tag,),
        Refused(f"pair {tag} stands in the ledger already"),
    )
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
        found = state.execute("SELECT tag FROM hole WHERE hole_id = ?", (self.hole_id,))
        yield from (tag for (tag,) in found)


def insert_hole(state: sqlite3.Connection, tag: str, new: NewHole, *, entry: int) -> None:
    """One new hole of a pair; refuses an id that is taken."""
    hole = Hole(**facts_in(HoleFacts, new))
    must_be_none(
        state,
        "SELECT 1 FROM hole WHERE hole_id = ?",
        (hole.hole_id,),
        Refused(f"hole {hole.hole_id} stands in the ledger already"),
    )
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
