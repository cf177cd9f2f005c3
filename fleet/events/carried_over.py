"""The entry about what stops a ski as another record says, and what waits for a pair not here yet."""

import json
import sqlite3
from typing import Final

import msgspec

from fleet.base.entries import Entry, canonical_json
from fleet.events.event import LEFT_OUT, EntryPart, Event, Later, PairTag, PersonName, Replay, insert
from fleet.events.facts import IN_SHOP, close_ski, facts_of, glued_elsewhere, not_known, store, with_names
from fleet.facts.carried import BENCH, PEOPLE
from fleet.facts.holes import Side
from fleet.facts.standing import Place


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
        if self.glued_with:
            glued_elsewhere(state, facts, seq, self.glued_with, at=self.glued_at or "")
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
