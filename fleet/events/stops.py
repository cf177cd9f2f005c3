"""Entries about what stops a pair: holds, repairs, quarantine, recalls. The cause or reason is the note.

The entry about what stops a ski as another record says, and what waits for a pair that is not here yet.
"""

import json
import sqlite3
from typing import Final

import msgspec

from fleet.base.entries import Entry, canonical_json
from fleet.base.errors import Refused
from fleet.events.event import (
    IN_SHOP,
    LEFT_OUT,
    EntryPart,
    Event,
    Facts,
    Later,
    OfNoPair,
    OfOnePair,
    PairTag,
    PersonName,
    Replay,
    close_ski,
    facts_of,
    fault_found,
    glued,
    glued_at,
    insert,
    must_be_none,
    must_change,
    not_known,
    store,
    with_names,
    work_done,
)
from fleet.facts.carried import BENCH, PEOPLE
from fleet.facts.fault_causes import Road
from fleet.facts.holes import Side, SkiFault
from fleet.facts.recalls import RecallFacts
from fleet.facts.standing import Place


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


class RecallOpened(OfNoPair, RecallFacts, frozen=True, kw_only=True):
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

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Nothing it reaches goes out from now on."""
        if self.piece not in ("", "toe", "heel"):
            raise Refused(f"a recall names toe, heel or neither, not {self.piece!r}")
        must_be_none(
            state,
            "SELECT 1 FROM recall WHERE recall = ?",
            (self.recall,),
            Refused(f"recall {self.recall} stands in the ledger already", cure="give it another name"),
        )
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


class Whereabouts(EntryPart, frozen=True, kw_only=True):
    """The place that the other record gives the pair; empty where this record knows.

    whereabouts: shop, out, missing and so on; left out where this record knows
    out_at: when it went out (UTC text), or empty
    out_boot: the boot it went out with, or null
    out_due: the day it is due, or null
    return_at: when it came back (UTC text), or empty
    """

    whereabouts: str | Later = LEFT_OUT
    out_at: str | Later = LEFT_OUT
    out_boot: str | Later | None = LEFT_OUT
    out_due: str | Later | None = LEFT_OUT
    return_at: str | Later = LEFT_OUT


class Counts(EntryPart, frozen=True, kw_only=True):
    """The counts that the other record has of the pair.

    hires: how often it went out
    days_out: days out since its pass
    days_hired: days out in all
    returns_since_work: returns since it was worked on
    returns_since_fault: returns since a fault was found
    """

    hires: int
    days_out: int
    days_hired: int
    returns_since_work: int
    returns_since_fault: int


class PairCarriedOver(Event, frozen=True, kw_only=True):
    """Another record of the same ski says what stops it; the cause, and what a renter said, is the note.

    tag: the pair
    from: the other record, in words
    stops: what stops it, in words
    quarantine: whether it is in quarantine
    hold: whether anything else that a listed person lifts stops it
    bench: whether the bench stopped it, which only the head technician ends; left out where not
    workers: who worked on it and may not pass it
    finders: who found a moved screw and may not lift its hold alone
    cleared_by: who lifted such a hold and may not pass it
    glued_at: when glue was used (UTC text), or empty
    glued_with: the adhesives used
    where: where it is
    unseen: whether holes may be there that this ledger does not know: both skis are closed
    counts: what was counted of it
    said: whether a renter said something; left out where not
    """

    WHAT = "pair carried over"
    REPLAY = Replay.ITS_PAIR
    tag: PairTag
    source: str = msgspec.field(name="from")
    stops: str
    quarantine: bool
    hold: bool
    bench: bool | Later = LEFT_OUT
    workers: tuple[PersonName, ...] | Later = LEFT_OUT
    finders: tuple[PersonName, ...] | Later = LEFT_OUT
    cleared_by: tuple[PersonName, ...] | Later = LEFT_OUT
    glued_at: str | Later = LEFT_OUT
    glued_with: tuple[str, ...] | Later = LEFT_OUT
    where: Whereabouts | Later = LEFT_OUT
    unseen: bool | Later = LEFT_OUT
    counts: Counts | Later = LEFT_OUT
    said: bool | Later = LEFT_OUT

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is stopped, passes before this are void, and at which sole its bindings stand is not known.

        It waits for a pair that is not here yet.
        """
        if state.execute("SELECT 1 FROM standing WHERE tag = ?", (self.tag,)).fetchone():
            self.carry(state, entry.seq, entry.stated_at_utc, entry)
            return
        waiting = {"tag": self.tag, "entry": entry.seq, "stated_at_utc": entry.stated_at_utc}
        insert(state, "waiting_stop", waiting | {"body": canonical_json(entry.body)})

    def carry(self, state: sqlite3.Connection, seq: int, at: str, entry: Entry) -> None:
        """Let entry ``seq``, which was stated ``at``, take effect by this entry."""
        facts = facts_of(state, self.tag)
        if self.counts:
            facts |= self.counts.body()
        if self.quarantine:
            facts["quarantine_entry"] = seq
        if self.hold:
            facts |= {"hold_entry": seq, "hold_why": ""}
        if self.bench:
            facts |= {"stop_entry": seq, "stop_why": BENCH}
        not_known(facts)
        facts |= {key: with_names(facts[key], *(getattr(self, key) or ())) for key in PEOPLE}
        glued_at(state, facts, seq, self.glued_with or (), at=self.glued_at or "")
        if self.unseen:
            for side in Side:
                why = f"worked on, as {self.source} has it"
                close_ski(state, self.tag, side, seq=seq, at=at, why=why)
        where = self.where or _AS_KNOWN
        if where.whereabouts:
            facts["whereabouts"] = where.whereabouts
        if facts["whereabouts"] == IN_SHOP and not where.return_at:  # else the return voids the pass
            facts |= {
                "work_entry": seq,
                "work_at": max(facts["work_at"], at),
                "work_what": "a record carried over",
            }
        if where.whereabouts == Place.OUT.value:
            facts |= {
                "out_entry": seq,
                "out_at": where.out_at or at,
                "out_boot": where.out_boot or None,
                "out_due": where.out_due or None,
            }
        if self.said:
            facts["said_entry"] = seq
        if where.return_at:
            facts |= {"return_entry": seq, "return_at": max(facts["return_at"], where.return_at)}
        store(state, facts, entry)


_AS_KNOWN: Final = Whereabouts()


def take_waiting_stops(state: sqlite3.Connection, tag: str, entry: Entry) -> None:
    """A pair was recorded: what waited for its tag stops it from its first moment."""
    rows = state.execute(
        "SELECT entry, stated_at_utc, body FROM waiting_stop WHERE tag = ? ORDER BY entry", (tag,)
    ).fetchall()
    for seq, at, body in rows:
        PairCarriedOver.read(json.loads(body)).carry(state, seq, at, entry)
    if rows:
        state.execute("DELETE FROM waiting_stop WHERE tag = ?", (tag,))
