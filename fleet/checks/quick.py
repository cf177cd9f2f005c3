"""The quick form, at every open: under 50 ms at 100,000 entries (tests/bench/ledger_open.py).

It compares the schema word for word, checks the newest entries link by link and a spread of older
ones. A single change far back can slip past it; the full form (`fleet.audit.full`) reads everything.
"""

import sqlite3
from pathlib import Path
from typing import Final

from fleet.base.entries import GENESIS
from fleet.base.errors import LedgerFault
from fleet.checks.chain import links, readable_damage
from fleet.tables.connection import reading
from fleet.tables.layout import APPLICATION_ID, LAYOUT, Thing, found_things, layout_things

NEWEST: Final = 64
"""So many of the newest entries are checked link by link."""
SPREAD: Final = 64
"""So many older ones, evenly spread, are each checked against the one before."""

_CURE: Final = "see `mountbook audit`, then `mountbook restore` the newest good backup"


def quick_check(connection: sqlite3.Connection, path: Path) -> None:
    """Raise LedgerFault, one sentence, for the first thing that is wrong."""
    _one_file(connection, path)
    with reading(connection):
        _application(connection, path)
        _schema(connection, path)
        factory, connection.text_factory = connection.text_factory, readable_damage
        try:
            _chain(connection, path)
        finally:
            connection.text_factory = factory
        if connection.execute("SELECT count(*) FROM shop").fetchone()[0] != 1:
            raise LedgerFault(f"{path} is damaged: it names no shop", cure=_CURE)


def schema_differences(connection: sqlite3.Connection, wanted: frozenset[Thing] | None = None) -> list[str]:
    """Return how the schema differs from the expected one (this layout's if not given), each in a few
    words.
    """
    found, wanted = found_things(connection), layout_things() if wanted is None else wanted
    missing = {str(thing) for thing in wanted - found}
    extra = {str(thing) for thing in found - wanted}
    return (
        [f"{name} was changed" for name in sorted(missing & extra)]
        + [f"{name} is missing" for name in sorted(missing - extra)]
        + [f"{name} was added" for name in sorted(extra - missing)]
    )


def _one_file(connection: sqlite3.Connection, path: Path) -> None:
    """Back to the rollback journal if some tool switched to WAL: the ledger is ONE file to copy."""
    if connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        connection.execute("PRAGMA journal_mode = DELETE")
        if connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
            raise LedgerFault(
                f"{path} was switched to another way of writing by a program that still holds it",
                cure="close that program and do it again",
            )


def _application(connection: sqlite3.Connection, path: Path) -> None:
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    layout = connection.execute("PRAGMA user_version").fetchone()[0]
    if (application, layout) != (APPLICATION_ID, LAYOUT):
        raise LedgerFault(f"{path} is damaged: its marks were changed", cure=_CURE)


def _schema(connection: sqlite3.Connection, path: Path) -> None:
    differences = schema_differences(connection)
    if differences:
        more = f" (and {len(differences) - 1} more)" if len(differences) > 1 else ""
        raise LedgerFault(f"{path} was altered: {differences[0]}{more}", cure=_CURE)


def _chain(connection: sqlite3.Connection, path: Path) -> None:
    top = connection.execute("SELECT max(seq) FROM entries").fetchone()[0]
    if top is None:
        raise LedgerFault(f"{path} is damaged: it holds no entry", cure=_CURE)
    start = max(top - NEWEST, 0)
    step = max(start // SPREAD, 1)
    for before in range(0, start, step):
        _stretch(connection, path, after=before, until=before + 1)
    _stretch(connection, path, after=start, until=top)


def _stretch(connection: sqlite3.Connection, path: Path, *, after: int, until: int) -> None:
    prev_hash = GENESIS
    if after:
        row = connection.execute("SELECT hash FROM entries WHERE seq = ?", (after,)).fetchone()
        if row is None:
            raise LedgerFault(f"{path} is damaged: entry {after} is missing", cure=_CURE)
        prev_hash = row[0]
    for link in links(connection, after=after, until=until):
        fault = link.fault(after=after, prev_hash=prev_hash)
        if fault:
            raise LedgerFault(f"{path}: entry {link.seq} {fault}", cure=_CURE)
        after, prev_hash = link.seq, link.hash
    if after != until:
        raise LedgerFault(f"{path} is damaged: entry {after + 1} is missing", cure=_CURE)
