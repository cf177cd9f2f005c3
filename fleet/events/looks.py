"""Entries about looks at a pair, and tests of it by a device."""

from __future__ import annotations

import json
import sqlite3
from typing import Literal

from fleet.base.entries import Entry, canonical_json
from fleet.events.event import LEFT_OUT, Event, Later, PairTag, Replay, TypedText, insert
from fleet.events.facts import Facts, OfOnePair, facts_of, fault_found, with_names
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
