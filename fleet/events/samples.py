"""Entries about samples and operating days."""

from __future__ import annotations

import sqlite3
from datetime import date

from fleet.base.days import shop_day
from fleet.base.entries import Entry, canonical_json
from fleet.base.errors import Refused
from fleet.events.event import LEFT_OUT, Later, OfNoPair, PairTag, SkiTag, TypedText, insert, must_change


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


class SampleDrawn(OfNoPair, frozen=True, kw_only=True):
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
    reading: str
    kinds: tuple[str, ...] | Later = LEFT_OUT
    lot: int
    size: int
    allowed: int
    derived: bool
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
