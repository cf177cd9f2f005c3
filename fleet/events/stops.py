"""Entries about what stops a pair: holds, repairs, quarantine, recalls. The cause or reason is the note."""

import sqlite3

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import (
    LEFT_OUT,
    EntryPart,
    Event,
    Later,
    OfNoPair,
    PairTag,
    Replay,
    TypedText,
    insert,
    must_change,
)
from fleet.events.facts import Facts, OfOnePair, facts_of, fault_found, glued, store, with_names, work_done
from fleet.facts.fault_causes import Road
from fleet.facts.holes import Side, SkiFault


class PairHeld(OfOnePair, frozen=True, kw_only=True):
    """Somebody stops a pair.

    tag: the pair
    cause: what for, by the table of causes; left out where not named, and in bodies of layout 2
    road: what ends it, where that is a second person or the head technician; left out where any listed person
    """

    WHAT = "pair held"
    cause: str | Later = LEFT_OUT
    road: Road | Later = LEFT_OUT

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """It is on hold; one that is out is held from the moment it comes back.

        A fault makes earlier passes void, as one that a look finds.
        """
        if self.road == Road.HEAD:
            _stop(facts, entry, str(self.cause))
        else:
            facts |= {"hold_entry": entry.seq, "hold_why": ""}
        if self.road == Road.SECOND:
            facts["finders"] = with_names(facts["finders"], entry.by)
        if self.road in (Road.SECOND, Road.HEAD):
            fault_found(facts, entry, loose=())


class HoldCleared(OfOnePair, frozen=True, kw_only=True):
    """The hold is lifted; no pass comes of it.

    tag: the pair
    hold: the entry that held it
    """

    WHAT = "hold cleared"
    hold: int

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """Lift the hold, and remember who did: after a moved screw somebody else gives the next pass."""
        _lift(facts, entry)


class SkiFaultFound(OfOnePair, frozen=True, kw_only=True):
    """A ski is found to be faulty; the words of whoever saw it are the note.

    tag: the pair
    side: the ski
    fault: what it is
    """

    WHAT = "ski fault found"
    side: Side
    fault: SkiFault

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """Only a head technician ends it; what stopped the pair before is still said."""
        _stop(facts, entry, f"ski {self.side}: {self.fault}")
        fault_found(facts, entry, loose=())


class StopEnded(OfOnePair, frozen=True, kw_only=True):
    """The head technician ends what the bench stopped, and any hold with it.

    tag: the pair
    stop: the entry that stopped it
    """

    WHAT = "stop ended"
    stop: int

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """Neither stop nor hold is left."""
        facts |= {"stop_entry": 0, "stop_why": ""}
        _lift(facts, entry)


class RepairBegun(OfOnePair, frozen=True, kw_only=True):
    """A held pair is on the bench.

    tag: the pair
    """

    WHAT = "repair begun"

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """It is in repair."""
        facts["repair_entry"] = entry.seq


class RepairDone(OfOnePair, frozen=True, kw_only=True):
    """A pair was repaired; what was done is the note.

    tag: the pair
    glued_with: the adhesives used
    cure_from_entry: whether the cure counts from this entry, since it was entered later; left out where not,
        and in older bodies
    touched: the pieces that hands were at, each with its ski, like [["A", "heel"]]; none: at no binding; left
        out where nobody said it, and in older bodies
    """

    WHAT = "repair done"
    glued_with: tuple[str, ...]
    cure_from_entry: bool | Later = LEFT_OUT
    touched: tuple[tuple[str, str], ...] | Later = LEFT_OUT

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """A second check by another person follows. At which sole the touched pieces stand is not known."""
        facts |= {"repair_entry": 0, "hold_entry": 0, "hold_why": "", "finders": "[]"}
        touched = self.touched if isinstance(self.touched, tuple) else None
        work_done(facts, entry, what="a repair", worker=entry.by, touched=touched)
        glued(state, facts, entry, self.glued_with, from_entry=bool(self.cure_from_entry))
        facts["returns_since_fault"] = 0


class PairQuarantined(OfOnePair, frozen=True, kw_only=True):
    """Accident, complaint or recall: nothing is touched.

    tag: the pair
    """

    WHAT = "pair quarantined"

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """It is locked away, and earlier passes are void."""
        facts |= {"quarantine_entry": entry.seq}
        fault_found(facts, entry, loose=())


class QuarantineCleared(OfOnePair, frozen=True, kw_only=True):
    """A manager lets a pair out of quarantine.

    tag: the pair
    """

    WHAT = "quarantine cleared"

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """It still needs a pass."""
        facts |= {"quarantine_entry": 0}


def _stop(facts: Facts, entry: Entry, words: str) -> None:
    """Only a head technician ends it; what stopped the pair before is still said."""
    why = f"{facts['stop_why']}; {words}" if facts["stop_entry"] else words
    facts |= {"stop_entry": entry.seq, "stop_why": why}


def _lift(facts: Facts, entry: Entry) -> None:
    if facts["finders"] != "[]":
        facts["cleared_by"] = with_names(facts["cleared_by"], entry.by)
    facts |= {"hold_entry": 0, "hold_why": "", "finders": "[]"}


class GlueHour(EntryPart, frozen=True, kw_only=True):
    """Glue in a pair, by the entry that used it.

    tag: the pair
    entry: the entry
    """

    tag: PairTag
    entry: int


class HourConfirmed(Event, frozen=True, kw_only=True):
    """A second person confirms the stated hours of entries that were entered later and used glue.

    hours: the pairs and entries
    """

    WHAT = "hour confirmed"
    REPLAY = Replay.ITS_PAIR
    hours: tuple[GlueHour, ...]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The cure of that glue counts from the stated hour; later glue of the pair as it did."""
        for hour in self.hours:
            of = (hour.tag, hour.entry)
            facts = facts_of(state, hour.tag)
            state.execute("UPDATE glue SET at = stated WHERE (tag, entry) = (?, ?) AND stated > ''", of)
            (facts["glued_at"],) = state.execute(
                "SELECT max(at) FROM glue WHERE tag = ?", (hour.tag,)
            ).fetchone()
            store(state, facts, entry)


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
        must_change(
            state,
            "UPDATE recall SET closed_entry = ? WHERE recall = ? AND closed_entry IS NULL",
            (entry.seq, self.recall),
            Refused(f"there is no open recall {self.recall}", cure="see `mountbook recall list`"),
        )
