"""Entries about where a pair is: set for a sole, out, back, moved, joined, on a van; the evening's sum."""

import json
import sqlite3
from collections.abc import Iterator
from datetime import date
from typing import Final

from fleet.base.days import days_between
from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import (
    IN_SHOP,
    LEFT_OUT,
    BindingId,
    BootTag,
    Event,
    Facts,
    Later,
    OfNoPair,
    OfOnePair,
    OnRecord,
    PairTag,
    PersonName,
    Replay,
    TypedText,
    facts_of,
    insert,
    must_change,
    not_known,
    replace,
    set_for,
)
from fleet.events.looks import operated
from fleet.facts.holes import Side
from fleet.facts.standing import Place, setting_from

MOVED_TO: Final = (Place.MISSING, Place.IN_TRANSIT, Place.RETIRED, Place.SOLD)
"""Whereabouts a person may enter; *out* is entered at the door only, the rest follows from facts."""


class BindingSet(OfOnePair, frozen=True, kw_only=True):
    """Hands set the bindings of both skis for a sole, boot in. No pass is touched.

    tag: the pair
    bsl_um: the sole length, in micrometres
    boot: the boot's tag; null where none was named
    pieces: the pieces of each ski; left out where they are not named, as in older bodies
    """

    WHAT = "binding set"
    bsl_um: int
    boot: str | None
    pieces: tuple[str, ...] | Later = LEFT_OUT

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """They stand at that sole length."""
        set_for(facts, entry, bsl_um=self.bsl_um, how="set, boot in", pieces=self.pieces or ())


class PairOut(OfOnePair, frozen=True, kw_only=True):
    """A pair went out.

    Without a boot whoever skis it may have it set for anybody; and bodies of layout 2 (no ``sole_um``) say
    nothing of the setting: either way it is not known afterwards what it stands at.

    tag: the pair
    boot: the boot it goes with, or null
    due: the day it is due, or null
    fit: fits, or fit not checked
    sole_um: the sole length of the boot, in micrometres, or null
    set_entry: the `binding set` of the same action, or null
    own_boot: the sole type of the customer's own boot; left out where it is the shop's boot, or none
    """

    WHAT = "pair out"
    MAY_BE_UNDONE = True
    boot: str | None
    due: date | None
    fit: str
    sole_um: int | None = None
    set_entry: int | None = None
    own_boot: str | Later = LEFT_OUT

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """It is out; a hire more."""
        if self.sole_um is None or self.sole_um != setting_from(facts["stands"]).bsl_um:
            not_known(facts)
        facts |= {
            "whereabouts": Place.OUT.value,
            "out_entry": entry.seq,
            "out_at": entry.stated_at_utc,
            "out_boot": self.boot,
            "out_own": self.own_boot or "",
            "out_due": self.due.isoformat() if self.due else None,
            "hires": facts["hires"] + 1,
        }
        operated(state, entry)


class PairBack(OfOnePair, frozen=True, kw_only=True):
    """A pair came back. What was not out went out unseen, with any boot.

    tag: the pair
    said: whether the renter said something; what it was is the note
    """

    WHAT = "pair back"
    MAY_BE_UNDONE = True
    said: bool

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """It is in the shop, and needs a look. Days count by the shop's calendar."""
        days = 1
        if facts["whereabouts"] == Place.OUT.value:
            days = max(1, days_between(facts["out_at"], entry.stated_at_utc, entry.zone))
        else:
            not_known(facts)
        facts |= {
            "whereabouts": IN_SHOP,
            "return_entry": entry.seq,
            "return_at": max(facts["return_at"], entry.stated_at_utc),
            "said_entry": entry.seq if self.said else 0,
            "days_out": facts["days_out"] + days,
            "days_hired": facts["days_hired"] + days,
            "returns_since_work": facts["returns_since_work"] + 1,
            "returns_since_fault": facts["returns_since_fault"] + 1,
        }
        operated(state, entry)


class PairMoved(OfOnePair, frozen=True, kw_only=True):
    """A person says where a pair is; the reason is the note.

    tag: the pair
    to: missing, in transit, retired, sold, or shop
    """

    WHAT = "pair moved"
    to: str

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """It is there; what arrives counts as a return."""
        if self.to == IN_SHOP:
            not_known(facts)
            facts |= {
                "whereabouts": IN_SHOP,
                "return_entry": entry.seq,
                "return_at": max(facts["return_at"], entry.stated_at_utc),
            }
        else:
            place = Place(self.to)
            if place not in MOVED_TO:
                raise Refused(
                    f"a pair is not moved to {place.value} by hand: that follows from what happened"
                )
            facts["whereabouts"] = place.value


class DueChanged(OfOnePair, frozen=True, kw_only=True):
    """The renter keeps a pair for longer, or for less long.

    tag: the pair
    due: the day it is due now
    """

    WHAT = "due changed"
    due: date

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """It is due then."""
        facts["out_due"] = self.due.isoformat()


class ScanUndone(OfOnePair, frozen=True, kw_only=True):
    """The pair's newest out or back was a slip of the scanner.

    tag: the pair
    entry: the number of the scan's entry
    what: the kind of that entry
    of: who had made it; not in the oldest bodies
    set_entry: the `binding set` of the scan, or null; not in the oldest bodies
    """

    WHAT = "scan undone"
    entry: int
    what: str
    of: PersonName = ""
    set_entry: int | None = None

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """Its row is as before.

        No scan undoes what hands did, so nothing of the setting becomes known again. If the out that was
        undone said that the binding had just been set (``set_entry``), neither that is known now: a slip is
        often the wrong tag, and then another pair was set.
        """
        if not facts["undo_entry"] or facts["undo_entry"] != self.entry:
            raise Refused(f"entry {self.entry} cannot be undone: something came after it")
        facts |= json.loads(facts["undo_row"])
        if self.set_entry:
            not_known(facts)


class EveningClosed(OfNoPair, frozen=True, kw_only=True):
    """The sum of an evening.

    day: the day of the shop's calendar
    out: how many went out
    back: how many came back
    later: how many come later
    missing: how many are missing
    """

    WHAT = "evening closed"
    day: date
    out: int
    back: int
    later: int
    missing: int

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The newest sum of a day stands."""
        if self.out - self.back - self.later - self.missing != 0:
            raise Refused("the evening does not add up")
        replace(state, "evening", self.body() | {"entry": entry.seq})


CASE_SALT: Final = "salt "
"""The beginning of the note of ``case made``; blanking that text makes the seals of the case dumb."""


class CaseMade(Event, frozen=True, kw_only=True):
    """A bundle about the pair was made; its hash stands in the chain from now on.

    tag: the pair
    sha256: the hash of its bytes
    head: the newest entry that it holds
    """

    WHAT = "case made"
    REPLAY = Replay.ITS_PAIR
    tag: PairTag
    sha256: str
    head: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Nothing follows from it; the pair must be there."""
        facts_of(state, self.tag)


class PartnerLost(OfOnePair, frozen=True, kw_only=True):
    """One ski of a pair is lost for good; its other ski is single.

    tag: the pair
    lost: the ski that is lost
    """

    WHAT = "partner lost"
    REPLAY = Replay.OTHER_PAIRS
    lost: Side

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """The pair is out of service."""
        other = Side.B if self.lost is Side.A else Side.A
        insert(state, "single_ski", {"tag": self.tag, "side": other.value})
        facts["whereabouts"] = Place.RETIRED.value


class SingleJoined(Event, frozen=True, kw_only=True):
    """A single ski is part of a new pair now.

    tag: the pair it was of
    side: which ski it was
    into: the new pair
    """

    WHAT = "single joined"
    tag: PairTag
    side: Side
    into: PairTag

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is single no more."""
        must_change(
            state,
            "DELETE FROM single_ski WHERE tag = ? AND side = ?",
            (self.tag, self.side.value),
            Refused(f"{self.tag}/{self.side} is no single ski"),
        )


class StockCounted(OnRecord, frozen=True, kw_only=True):
    """A count as it was; no pair is moved by it.

    counted: how many were seen
    expected: how many should have been
    not_seen: pairs that should have been there
    unexpected: of each pair that should not have been there, its tag and the place the ledger had it in
    unknown: tags that the ledger does not know; in bodies of layout 2, later ones have them in `lines`
    boots_not_seen: boots that should have been there; null where no boot was scanned
    stock: of each sort of bindings that was counted its words, how many, and how many the ledger had
    lines: what was scanned or typed and stands for nothing in the ledger
    """

    WHAT = "stock counted"
    counted: int
    expected: int
    not_seen: tuple[PairTag, ...]
    # The place's word is found as a name too: an older index has it so, and an index row never changes.
    unexpected: tuple[tuple[PairTag, PairTag], ...]
    unknown: tuple[PairTag, ...]
    boots_not_seen: tuple[BootTag, ...] | Later = LEFT_OUT
    stock: tuple[tuple[str, int, int], ...] | Later = LEFT_OUT
    lines: tuple[TypedText, ...] | Later = LEFT_OUT


class _Things(OfNoPair, frozen=True, kw_only=True):
    """Names of things on a van.

    pairs: pairs of skis, with what is on them
    boots: boots
    binding_ids: loose bindings, those of one ski each
    """

    pairs: tuple[PairTag, ...]
    boots: tuple[BootTag, ...]
    binding_ids: tuple[BindingId, ...]

    def rows(self) -> Iterator[tuple[str, str]]:
        """Each thing by its column in the table of loads, and its name."""
        for column, names in (("tag", self.pairs), ("boot", self.boots), ("binding_id", self.binding_ids)):
            yield from ((column, name) for name in names)


class LoadSent(_Things, frozen=True, kw_only=True):
    """A van took these things along: from this shop, or on their way here.

    run: the van's run, in the words of the chain's plan
    other: the shop at the other end
    leaves: whether they left this shop; else they are on their way here
    sha256: the hash of what the sending shop's ledger says of them, which goes along
    """

    WHAT = "load sent"
    run: str
    other: str
    leaves: bool
    sha256: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """They are on the way until somebody takes them in."""
        insert(
            state,
            "load",
            {"entry": entry.seq, "run": self.run, "other": self.other, "leaves": int(self.leaves)}
            | {"sha256": self.sha256},
        )
        for column, name in self.rows():
            insert(state, "load_thing", {"entry": entry.seq, column: name})


class LoadTakenIn(_Things, frozen=True, kw_only=True):
    """The shop that the van came to took these things in.

    load: the entry of this ledger that says they were sent
    """

    WHAT = "load taken in"
    load: int

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """They are on the way no more; what is not named here still is."""
        for column, name in self.rows():
            must_change(
                state,
                f"DELETE FROM load_thing WHERE entry = ? AND {column} = ?",
                (self.load, name),
                Refused(f"{name} is not on the way by entry {self.load}", cure="see `mountbook today`"),
            )
