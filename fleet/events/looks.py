"""Entries about looks at a pair, and tests of it by a device; samples drawn for tests; days that count."""

import json
import sqlite3
from datetime import date
from typing import Literal

from fleet.base.days import shop_day
from fleet.base.entries import Entry, canonical_json
from fleet.base.errors import Refused
from fleet.base.values import Value
from fleet.events.event import (
    LEFT_OUT,
    Event,
    Facts,
    Later,
    OfNoPair,
    OfOnePair,
    PairTag,
    Replay,
    SkiTag,
    TypedText,
    facts_of,
    fault_found,
    insert,
    must_change,
    with_names,
)
from fleet.facts.holes import Side

Outcome = Literal["pass", "hold", "unfinished"]
Screws = tuple[tuple[Side, str], ...]
"""Ski and piece of each."""


class PairLookedAt(OfOnePair, frozen=True, kw_only=True):
    """A person looked at the pieces of a pair.

    tag: the pair
    kind: recheck, second check, and so on
    found: by ski and piece, the word for what was found
    moved: ski and piece of each screw that moved
    unreached: ski and piece of each screw not reached, of an unfinished look; bodies of layout 2 have none
    outcome: pass, hold or unfinished
    cause: what the hold is for, or empty
    pattern: the pattern that is on, or empty
    mount_entry: the entry of the mount that is on, or 0
    list: the list it was worked from, or null
    list_of_another_day: whether that list was of another day
    """

    WHAT = "pair looked at"
    kind: str
    found: dict[Side, dict[str, str]]
    moved: Screws
    unreached: Screws = ()
    outcome: Outcome
    cause: str
    pattern: str
    mount_entry: int
    list: str | None = None
    list_of_another_day: bool = False

    def alter(self, facts: Facts, state: sqlite3.Connection, entry: Entry) -> None:
        """A pass makes it ready, a moved screw holds it, an unfinished look makes earlier passes void."""
        insert(
            state,
            "look",
            {
                "entry": entry.seq,
                "tag": self.tag,
                "looked_at": entry.stated_at_utc,
                "kind": self.kind,
                "outcome": self.outcome,
                "moved": int(bool(self.moved)),
                "found": canonical_json(entry.body["found"]),
                "pattern": self.pattern,
                "mount_entry": self.mount_entry,
                "days_out": facts["days_hired"],
                "by": entry.by,
            },
        )
        facts["look_entry"] = entry.seq
        if self.outcome == "pass":
            facts |= {
                "pass_entry": entry.seq,
                "pass_at": entry.stated_at_utc,
                "pass_by": entry.by,
                "second_check": 0,
                "workers": "[]",
                "days_out": 0,
                "said_entry": 0,
                "unreached": "[]",
                "cleared_by": "[]",
            }
        elif self.outcome == "hold":
            fault_found(facts, entry, loose=self.moved)
            facts |= {"hold_entry": entry.seq, "hold_why": self.cause}
            facts["finders"] = with_names(facts["finders"], entry.by)
        elif self.unreached:
            facts |= {
                "unfinished_entry": entry.seq,
                "unfinished_at": max(facts["unfinished_at"], entry.stated_at_utc),
                "unreached": json.dumps(self.unreached),
            }


class ReleaseTestRecorded(Event, frozen=True, kw_only=True):
    """A release test as a person recorded it with a device. Only the person judges its values.

    tag: the pair
    side: the ski
    piece: toe, heel or plate
    device: the device, as the person names it
    result: the result, in the person's words
    outcome: passed or failed, as the person says; left out where not stated, as in older bodies
    """

    WHAT = "release test recorded"
    REPLAY = Replay.ITS_PAIR
    tag: PairTag
    side: Side
    piece: str
    device: TypedText
    result: TypedText
    outcome: Literal["passed", "failed"] | Later = LEFT_OUT

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is on record for the door; the pair must be there."""
        facts_of(state, self.tag)
        insert(
            state,
            "release_test",
            {
                "entry": entry.seq,
                "tag": self.tag,
                "side": self.side.value,
                "piece": self.piece,
                "device": self.device,
                "outcome": self.outcome or "",
                "at": entry.stated_at_utc,
                "by": entry.by,
            },
        )


def operated(state: sqlite3.Connection, entry: Entry) -> None:
    """Something went out or came back: that day of the shop's calendar was an operating day."""
    day = shop_day(entry.stated_at_utc, entry.zone).isoformat()
    state.execute("INSERT INTO operating_day (day) VALUES (?) ON CONFLICT (day) DO NOTHING", (day,))


class DayNotCounted(OfNoPair, frozen=True, kw_only=True):
    """A closed day: it was no operating day; the reason is the note.

    day: the day of the shop's calendar
    """

    WHAT = "day not counted"
    day: date

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Take the day out."""
        state.execute("DELETE FROM operating_day WHERE day = ?", (self.day.isoformat(),))


class SampleSize(Value, frozen=True, kw_only=True):
    """``size`` units of that reading out of ``lot``; ``allowed`` class I deviations.

    ``derived``: no limit is printed for this size, so the next smaller listed one's is used.
    """

    reading: str
    lot: int
    size: int
    allowed: int
    derived: bool


class SampleDrawn(OfNoPair, SampleSize, frozen=True, kw_only=True):
    """Units were drawn by lot, to be tested.

    day: the day of the shop's calendar
    seed: what the draw follows from
    reading: what a unit is
    kinds: the kinds of pairs drawn from; not in the oldest bodies
    lot: how many units there are
    size: how many were drawn
    allowed: how many may deviate
    derived: whether the size was worked out, not looked up
    from_returns: units from the pairs that came back
    from_rack: units from the rack
    """

    WHAT = "sample drawn"
    day: date
    seed: str
    kinds: tuple[str, ...] | Later = LEFT_OUT
    from_returns: tuple[SkiTag, ...]
    from_rack: tuple[SkiTag, ...]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The sample is open."""
        insert(state, "sample", {"entry": entry.seq, "body": canonical_json(entry.body), "outcome": None})


class SampleResult(OfNoPair, frozen=True, kw_only=True):
    """The result that a person found on one unit; the remark is its note.

    sample: the entry that drew the sample
    unit: the unit
    tag: the pair
    found: the class of deviation
    device: the device it was tested with
    """

    WHAT = "sample result"
    sample: int
    unit: str
    tag: PairTag
    found: str
    device: TypedText

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The unit has its result."""
        open_one = state.execute(
            "SELECT 1 FROM sample WHERE entry = ? AND outcome IS NULL", (self.sample,)
        ).fetchone()
        if open_one is None:
            raise Refused(f"sample {self.sample} is not open")
        row = {"entry": entry.seq, "sample": self.sample, "unit": self.unit, "found": self.found}
        insert(state, "sample_result", row)


class SampleClosed(OfNoPair, frozen=True, kw_only=True):
    """Every unit of a sample has its result.

    sample: the entry that drew the sample
    outcome: PASS or FAIL
    """

    WHAT = "sample closed"
    sample: int
    outcome: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The sample has its outcome."""
        if self.outcome not in ("PASS", "FAIL"):
            raise Refused("a sample ends with PASS or FAIL")
        must_change(
            state,
            "UPDATE sample SET outcome = ? WHERE entry = ? AND outcome IS NULL",
            (self.outcome, self.sample),
            Refused(f"sample {self.sample} is not open"),
        )
