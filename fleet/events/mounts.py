"""Entries about mounts, and what other entries do to mounts."""

import sqlite3
from collections.abc import Sequence

from fleet.base.entries import Entry, canonical_json
from fleet.base.errors import Refused
from fleet.events.event import LEFT_OUT, EntryPart, Event, Later, PairTag, delete_made, insert
from fleet.events.facts import facts_of, set_for, store, touched
from fleet.facts.columns import plain_facts
from fleet.facts.mounts import MountFacts, StatedMountFacts
from fleet.tables.snapshot import read_pairs


class Slide(EntryPart, frozen=True, kw_only=True):
    """The place where a mounted piece was screwed down, and how far it is slid.

    piece: which piece
    reference_um: x of the piece's listed end from ski A's mark, in micrometres
    slide_um: the sole's end minus the listed end, toward the tip, in micrometres
    """

    piece: str
    reference_um: int
    slide_um: int


class NewMount(EntryPart, MountFacts, frozen=True, kw_only=True):
    """One mount of a pair.

    tag: the pair
    slides: where its pieces were screwed down
    """

    tag: PairTag
    slides: tuple[Slide, ...] = ()


class MountRecorded(Event, NewMount, frozen=True, kw_only=True):
    """A mount of a pair, of which all is known.

    completes: true where it is the mount that was on as stated, now that its pattern is known; else left out
    stands: where its pieces were measured to stand since; left out where nobody measured
    set_for_um: the sole length for which they stand so, in micrometres; left out as ``stands``
    """

    WHAT = "mount recorded"
    completes: bool | Later = LEFT_OUT
    stands: tuple[Slide, ...] | Later = LEFT_OUT
    set_for_um: int | Later = LEFT_OUT

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It counts among the pair's mounts, and no earlier pass counts."""
        facts_of(state, self.tag)
        if self.completes:
            _forget_present_stated(state, self.tag)
        insert_mount(state, self, entry=entry.seq, stands=self.stands or ())
        touched(state, self.tag, entry)
        if self.set_for_um and self.removed_on is None:
            facts = facts_of(state, self.tag)
            pieces = [slide.piece for slide in self.stands or ()]
            set_for(facts, entry, bsl_um=self.set_for_um, how="measured where it stands", pieces=pieces)
            store(state, facts, entry)

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """It never was; refused where it was removed since."""
        row = state.execute("SELECT removed_on FROM mount WHERE entry = ?", (seq,)).fetchone()
        if row is None or row[0] != self.removed_on:
            raise Refused(f"the mount of entry {seq} was removed since", cure="enter what is true now")
        delete_made(state, "mount", seq, f"the mount of entry {seq}")
        touched(state, self.tag, entry)


class MountStated(Event, StatedMountFacts, frozen=True, kw_only=True):
    """A mount as a sheet states it, null or empty where it says nothing.

    tag: the pair
    """

    WHAT = "mount stated"
    tag: PairTag

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """One that is on takes the place of what was stated of it before."""
        facts_of(state, self.tag)
        if self.removed_on is None:
            _forget_present_stated(state, self.tag)
        facts = plain_facts(StatedMountFacts, self)
        insert(state, "stated_mount", facts | {"tag": self.tag, "entry": entry.seq})

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """Nobody stated it."""
        delete_made(state, "stated_mount", seq, f"the stated mount of entry {seq}")


class MountRemoved(Event, frozen=True, kw_only=True):
    """Every mount of the pair that was on is off.

    tag: the pair
    removed_on: the day
    """

    WHAT = "mount removed"
    tag: PairTag
    removed_on: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """They are off from that day, and no earlier pass counts."""
        keep_what_holes_show(state, self.tag)
        mounts_off(state, self.tag, self.removed_on)
        touched(state, self.tag, entry)


def insert_mount(
    state: sqlite3.Connection, said: NewMount, *, entry: int, stands: Sequence[Slide] = ()
) -> None:
    """One mount of a pair; ``stands``: where its pieces were measured to stand since it was screwed down."""
    places = {"slides": said.slides} | ({"stands": stands} if stands else {})
    insert(
        state,
        "mount",
        plain_facts(MountFacts, said)
        | {
            "tag": said.tag,
            "slides": canonical_json(
                {name: [slide.body() for slide in slides] for name, slides in places.items()}
            ),
            "entry": entry,
        },
    )


def mounts_off(state: sqlite3.Connection, tag: str, removed_on: str) -> None:
    """Every mount of the pair that was on, or stated to be, is off."""
    for table in ("mount", "stated_mount"):
        state.execute(
            f"UPDATE {table} SET removed_on = ? WHERE tag = ? AND removed_on IS NULL", (removed_on, tag)
        )


def keep_what_holes_show(state: sqlite3.Connection, tag: str) -> None:
    """Before work changes holes and mounts: how many mounts they show that nobody stated."""
    row = state.execute("SELECT earlier_mounts FROM pair WHERE tag = ?", (tag,)).fetchone()
    if row is not None and row[0] is None:
        shown = read_pairs(state, tag)[tag].earlier_shown
        state.execute("UPDATE pair SET earlier_at_least = ? WHERE tag = ?", (shown, tag))


def _forget_present_stated(state: sqlite3.Connection, tag: str) -> None:
    state.execute("DELETE FROM stated_mount WHERE tag = ? AND removed_on IS NULL", (tag,))
