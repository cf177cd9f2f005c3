"""The checkpoint: where the last audit ended, and the state it derived, so that the next one goes on there.

It is a SQLite file of its own beside the ledger and holds nothing that the entries do not say: whoever drops
it costs the shop one full audit. It is no proof against a person who may write in the ledger's folder, who
may write here too; the heads that lie elsewhere are (`fleet.audit.heads`).
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final, NamedTuple

from fleet.base.entries import Head, parse_utc, utc_text
from fleet.base.errors import LedgerFault
from fleet.base.files import drop, fresh_beside
from fleet.tables.held_state import HeldState
from fleet.tables.layout import STATE
from fleet.tables.sqlite_faults import SQLITE_FAULTS

_ENDING: Final = ".audited"
_MARK: Final = (
    "CREATE TABLE audited (seq INTEGER, hash TEXT, compared_to INTEGER, at TEXT, full_at TEXT,"
    " histories BLOB, state TEXT)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """The end of an audit. ``full_at``: the newest audit of every entry; ``histories``: what it remembers.

    ``compared_to``: up to this entry the tables that only grow were compared; below ``head.seq`` where time
    ran out.
    """

    head: Head
    compared_to: int
    at: datetime
    full_at: datetime
    histories: bytes


def checkpoint_of(ledger: Path) -> Path:
    """Return the place of a ledger's checkpoint: beside it."""
    return ledger.with_name(f"{ledger.name}{_ENDING}")


def is_checkpoint(path: Path) -> bool:
    """Return whether a file is called like a checkpoint."""
    return path.name.endswith(_ENDING)


def keep_checkpoint(path: Path, state: sqlite3.Connection, mark: Mark) -> None:
    """Put a new checkpoint in the place of the old one. ``state``: the derived tables, outside a transaction.

    A folder that may not be written has none; the audit itself is not the worse for it.
    """
    try:
        beside = fresh_beside(path)
    except LedgerFault:
        return
    try:
        with closing(sqlite3.connect(os.fspath(beside), isolation_level=None)) as file:
            state.backup(file)
            file.execute(_MARK)
            file.execute("BEGIN")
            advance(file, mark)
        beside.replace(path)
    except (OSError, *SQLITE_FAULTS):
        drop(beside)


@contextmanager
def open_checkpoint(path: Path) -> Iterator[tuple[sqlite3.Connection, Mark] | None]:
    """Yield the derived tables and the mark, in one transaction; None where there is none that can be used.

    Only `advance` keeps what is done to the tables; without it the checkpoint stays as it was.
    """
    if not path.is_file():
        yield None
        return
    connection = sqlite3.connect(os.fspath(path), isolation_level=None, timeout=2.0, factory=HeldState)
    with closing(connection) as file:
        mark = _read(file)
        if mark is None:
            yield None
            return
        yield file, mark


class NewestAudit(NamedTuple):
    """The moment of the newest audit, and of the newest one of every entry."""

    at: datetime
    full_at: datetime


def newest_audit(path: Path) -> NewestAudit | None:
    """Return when the checkpoint was made; None where there is none that can be used.

    Almost every command asks this, so what the audit remembers is not read, and nobody waits.
    """
    if not path.is_file():
        return None
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=0.2)) as file:
            row = file.execute("SELECT at, full_at FROM audited WHERE state = ?", (STATE,)).fetchone()
    except SQLITE_FAULTS:
        return None
    return NewestAudit(parse_utc(row[0]), parse_utc(row[1])) if row else None


def advance(file: sqlite3.Connection, mark: Mark) -> None:
    """Write a new mark, and keep it together with what was done to the tables."""
    file.execute("DELETE FROM audited")
    file.execute(
        "INSERT INTO audited VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            mark.head.seq, mark.head.hash, mark.compared_to, utc_text(mark.at), utc_text(mark.full_at),
            mark.histories, STATE,
        ),
    )  # fmt: skip
    file.execute("COMMIT")


def _read(file: sqlite3.Connection) -> Mark | None:
    """Begin a transaction and return the mark; None for another layout, a damaged file, or another audit that
    has it.
    """
    try:
        file.execute("PRAGMA cache_size = -65536")
        file.execute("BEGIN IMMEDIATE")
        row = file.execute(
            "SELECT seq, hash, compared_to, at, full_at, histories, state FROM audited"
        ).fetchone()
    except SQLITE_FAULTS:
        return None
    if row is None or row[6] != STATE:
        return None
    return Mark(
        head=Head(row[0], row[1]),
        compared_to=row[2],
        at=parse_utc(row[3]),
        full_at=parse_utc(row[4]),
        histories=row[5],
    )
