"""Each kind of entry as one class: what it says, whom it names, how it changes the state, how it is undone.

`derive` runs inside the transaction that appends the entry, and again when an audit rebuilds the state.
A kind reads nothing but its own entry and the tables, so that a rebuild gives the same rows.
"""

from __future__ import annotations

import pkgutil
import sqlite3
from collections.abc import Mapping
from importlib import import_module
from typing import Final

from fleet.base.entries import Entry
from fleet.base.errors import LedgerFault
from fleet.events.event import Event, kinds
from fleet.events.finding import note_boots, note_day, note_names, note_tap

for _module in pkgutil.iter_modules(__path__, f"{__name__}."):  # each brings its kinds
    import_module(_module.name)

KINDS: Final[Mapping[str, type[Event]]] = kinds()
"""Every kind of entry this program knows, by its words in the ledger."""


def event_of(entry: Entry) -> Event:
    """Return what an entry says. Raises LedgerFault for an unknown kind, ValueError for a body that does
    not fit.
    """
    kind = KINDS.get(entry.what)
    if kind is None:
        raise LedgerFault(
            f"entry {entry.seq} is of a kind this program does not know: {entry.what!r}",
            cure="update mountbook on this machine",
        )
    return kind.read(entry.body)


def derive(connection: sqlite3.Connection, entry: Entry, *, same_day: bool = False) -> None:
    """Bring the state tables up to this entry. Raises LedgerFault for an unknown kind of entry.

    ``same_day``: it was written with the entry before it, so it begins no day.
    """
    event = event_of(entry)
    event.change(connection, entry)
    note_names(connection, event, entry)
    note_boots(connection, entry)
    note_tap(connection, entry)
    if not same_day:
        note_day(connection, entry)
