"""The fleet as it was: entries up to one replayed into an empty state, in memory."""

from __future__ import annotations

import sqlite3

from fleet.audit.rebuild import empty_state
from fleet.derive import derive
from fleet.errors import BadInput
from fleet.ledger import Ledger
from fleet.snapshot import Fleet, read_fleet


def state_at(ledger: Ledger, entry: int) -> sqlite3.Connection:
    """The state tables as of entry ``entry``, with its number and hash as the head.

    Raises BadInput for an entry that is not there.
    """
    if not 1 <= entry <= ledger.head.seq:
        raise BadInput(
            f"there is no entry {entry}; the newest is {ledger.head.seq}", cure="name an entry of this ledger"
        )
    state = empty_state()
    state.execute("CREATE TABLE entries (seq INTEGER PRIMARY KEY, hash TEXT NOT NULL)")
    for one in ledger.entries(until=entry):
        derive(state, one)
        state.execute("INSERT INTO entries VALUES (?, ?)", (one.seq, one.hash))
    return state


def fleet_at(ledger: Ledger, entry: int) -> Fleet:
    """The fleet as of entry ``entry``."""
    state = state_at(ledger, entry)
    try:
        return read_fleet(state)
    finally:
        state.close()
