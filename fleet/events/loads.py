"""Entries about what a van takes from shop to shop: sent or on its way here, and taken in.

They list names only. That a pair is in transit, or a binding gone, is said by entries of its own in the same
action.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import BindingId, BootTag, OfNoPair, PairTag, insert, must_change


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
