"""The fleet as it was: entries up to one of them, replayed into an empty state in memory."""

import sqlite3
from contextlib import closing
from typing import Final

from fleet.base.entries import Entry, Head
from fleet.base.errors import BadInput, MountbookError
from fleet.base.typed_text import HAS_TEXTS
from fleet.checks.derived import empty_state
from fleet.events import KINDS, derive, event_of
from fleet.events.event import Replay
from fleet.events.pairs import rename_rows
from fleet.facts.tags import names_of
from fleet.ledger.ledger import Ledger, named_entries
from fleet.tables.snapshot import Fleet, read_fleet

_OWN: Final = frozenset(what for what, kind in KINDS.items() if kind.REPLAY is not Replay.NOTHING)
"""Kinds that change what the ledger says of the pair they name."""
_PASSING: Final = frozenset(what for what, kind in KINDS.items() if kind.REPLAY is Replay.OTHER_PAIRS)
"""Kinds that may pass something (a binding, an open order) from one pair to another."""


def state_at(ledger: Ledger, entry: int) -> sqlite3.Connection:
    """Return the state tables as of entry ``entry``, with its number and hash as the head.

    Raises BadInput for an entry that is not there.
    """
    if not 1 <= entry <= ledger.head.seq:
        raise BadInput(
            f"there is no entry {entry}; the newest is {ledger.head.seq}", cure="name an entry of this ledger"
        )
    state = empty_state()
    state.execute("CREATE TABLE entries (seq INTEGER PRIMARY KEY, hash TEXT NOT NULL)")
    state.execute("CREATE TABLE notes (seq INTEGER PRIMARY KEY, text TEXT, redacted_by INTEGER)")
    for one in ledger.entries(until=entry):
        derive(state, one)
        state.execute("INSERT INTO entries VALUES (?, ?)", (one.seq, one.hash))
    # free text is not replayed, but what stands in a field is, as it is kept today
    texts = f"SELECT seq, text, redacted_by FROM notes WHERE seq <= ? AND (text IS NULL OR {HAS_TEXTS})"
    state.executemany("INSERT INTO notes VALUES (?, ?, ?)", ledger.connection.execute(texts, (entry,)))
    return state


def pair_state_at(ledger: Ledger, tag: str, head: Head) -> sqlite3.Connection:
    """Return the state of ONE pair and its bindings as `state_at` does, from the entries that concern them.

    Other rows of these tables are not what they were: other pairs come in only as far as bindings and
    orders went from one to the other. If the entries found so do not follow from each other, all are read.
    """
    state = empty_state()
    try:
        for entry in entries_concerning(ledger.connection, tag, until=head.seq):
            derive(state, entry)
        state.execute("SELECT 1 FROM standing")  # rows that were held are written, or refused, here
    except (MountbookError, ValueError, KeyError, TypeError, sqlite3.Error):
        state.close()
        return state_at(ledger, head.seq)
    return state


def entries_concerning(connection: sqlite3.Connection, tag: str, *, until: int) -> list[Entry]:
    """Return the pair's own entries, and those of other things that a binding or an order joined it with."""
    found: dict[int, Entry] = {}
    own = names_of(connection, tag)
    known, open_names = {*own}, [*own]
    while open_names:
        name = open_names.pop()
        kinds = _OWN if name in own else _PASSING
        for entry, *_ in named_entries(connection, name, until=until):
            if entry.what in kinds and entry.seq not in found:
                found[entry.seq] = entry
                fresh = event_of(entry).names() - known
                known |= fresh
                open_names += fresh
    return [found[seq] for seq in sorted(found)]


def fleet_at(ledger: Ledger, entry: int, *, called_today: bool = False) -> Fleet:
    """Return the fleet as of entry ``entry``; ``called_today``: by the tags that its pairs have today."""
    with closing(state_at(ledger, entry)) as state:
        query = "SELECT old, new FROM renamed WHERE entry > ?"
        for old, new in ledger.connection.execute(query, (entry,)) if called_today else ():
            rename_rows(state, old, new)
        return read_fleet(state)
