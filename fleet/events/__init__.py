"""Each kind of entry as one class: what it says, whom it names, how it changes the state, how it is undone.

`derive` runs inside the transaction that appends the entry, and again when an audit rebuilds the state. A
kind reads nothing but its own entry and the tables, so that a rebuild gives the same rows.

Entries are found without reading all of them. A row of `naming` says that an entry names a pair or a binding;
a row of `entry_about`, that an entry is about another one (withdraws, remarks, blanks); a row of `tap`, that
an entry came about by that action on a page; a row of `day_begun`, that an entry was written on another day
than the one before it. All follow from the entries like every other table, so an audit compares them and a
rebuild makes them again. tests/ledger/test_finding.py holds them against a reading of everything.
"""

from __future__ import annotations

import pkgutil
import sqlite3
from collections.abc import Mapping
from importlib import import_module
from typing import Final

from fleet.base.entries import Entry
from fleet.base.errors import LedgerFault
from fleet.events.event import Event, kinds, tap_of
from fleet.tables.held_state import add_found_row

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
    _note_names(connection, event, entry)
    _note_boots(connection, entry)
    _note_tap(connection, entry)
    if not same_day:
        _note_day(connection, entry)


def _note_names(state: sqlite3.Connection, event: Event, entry: Entry) -> None:
    """Write what an entry names and is about, once it has changed the state."""
    for name in event.names().union(event.names_in_state(state)):
        add_found_row(state, "naming", (name, entry.seq))
    if event.ABOUT_ENTRY:
        about = getattr(event, event.ABOUT_ENTRY)
        state.execute("INSERT INTO entry_about VALUES (?, ?)", (about, entry.seq))


def _note_tap(state: sqlite3.Connection, entry: Entry) -> None:
    """Write the action on a page by which an entry came about, so that it is found when it is sent again."""
    if (tap := tap_of(entry.body)) is not None:
        state.execute("INSERT INTO tap VALUES (?, ?, ?)", (entry.seq, tap.id, tap.desk))


def _note_boots(state: sqlite3.Connection, entry: Entry) -> None:
    """Write the boots that an entry names beside other things, or that it is about."""
    tags = {entry.body.get("boot"), entry.body.get("tag") if entry.what.startswith("boot ") else None}
    tags.update(entry.body.get("boots", ()))
    for tag in tags:
        if isinstance(tag, str):
            add_found_row(state, "boot_entry", (tag, entry.seq))


def _note_day(state: sqlite3.Connection, entry: Entry) -> None:
    """Write the day (UTC) of an entry that begins one; a clock set back begins that day once more."""
    day = entry.recorded_at_utc[:10]
    row = state.execute("SELECT day FROM day_begun ORDER BY entry DESC LIMIT 1").fetchone()
    if row is None or row[0] != day:
        state.execute("INSERT INTO day_begun VALUES (?, ?)", (entry.seq, day))
