"""State from entries: one function for each kind of entry, writing the derived tables.

`derive` runs inside the transaction that appends the entry, and again when an audit rebuilds the state.
A handler reads nothing but the entry and the tables, so that a rebuild gives the same rows.
"""

from __future__ import annotations

import sqlite3

from fleet.events import corrections, equipment, movement, orders, recalls, samples, settings
from fleet.events.finding import note_day, note_names
from fleet.events.handler import Handler
from fleet.entries import Entry
from fleet.errors import LedgerFault

HANDLERS: dict[str, Handler] = {
    **settings.HANDLERS,
    **equipment.HANDLERS,
    **movement.HANDLERS,
    **orders.HANDLERS,
    **recalls.HANDLERS,
    **samples.HANDLERS,
    **corrections.HANDLERS,
}
"""Every kind of entry this program knows, and what it does to the state."""


def derive(connection: sqlite3.Connection, entry: Entry) -> None:
    """Bring the state tables up to this entry. Raises LedgerFault for an unknown kind of entry."""
    handler = HANDLERS.get(entry.what)
    if handler is None:
        raise LedgerFault(
            f"entry {entry.seq} is of a kind this program does not know: {entry.what!r}",
            cure="update mountbook on this machine",
        )
    handler(connection, entry)
    note_names(connection, entry)
    note_day(connection, entry)
