"""The connection behind the one door: its settings and its latch.

Every guard of a ledger file asks ``only_mountbook_writes_here()``. That function lives in this program
and not in the file: a database browser, a script or another tool that tries to write finds *no such
function*, and our own code finds it saying no unless an entry is being made.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, NamedTuple

from fleet.tables.held_state import HeldState
from fleet.tables.layout import LATCH
from fleet.tables.sqlite_faults import SQLITE_FAULTS, ledger_fault

BUSY_SECONDS: Final = 20.0
"""The time that an action waits for another counter's to finish before it gives up."""

_PRAGMAS: Final = (
    "foreign_keys = ON",
    "recursive_triggers = ON",  # else REPLACE deletes without asking the delete triggers
    "synchronous = EXTRA",
    "secure_delete = ON",
    "trusted_schema = OFF",
)


class LedgerConnection(HeldState):
    """A connection whose writes are latched: they pass only while `unlatched` is entered."""

    holds = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._unlatched: list[None] = []
        # asked for every row of a guarded table: a list counts itself without a call into Python
        self.create_function(LATCH, 0, self._unlatched.__len__)

    @contextmanager
    def unlatched(self) -> Iterator[None]:
        """While an entry and what follows from it are written."""
        self._unlatched.append(None)
        try:
            yield
        finally:
            self._unlatched.pop()


def connect(path: Path) -> LedgerConnection:
    """Open the file with the ledger's settings; nothing is read yet.

    ``synchronous=EXTRA`` also syncs the folder after the rollback journal is unlinked, which is the
    moment of the commit: with FULL a power cut just after an acknowledged entry may take it back.
    ``secure_delete`` overwrites what a redaction blanks. ``trusted_schema`` stays off until the
    schema was compared (`trust`), since a foreign schema may call functions.
    """
    return _connect(f"{path.absolute().as_uri()}?mode=rw")  # never makes a file that is not there


def connect_copy(file: sqlite3.Connection) -> LedgerConnection:
    """A copy of an open ledger in memory, with the ledger's settings."""
    memory = _connect("file::memory:")
    file.backup(memory)
    return memory


def _connect(uri: str) -> LedgerConnection:
    connection = sqlite3.connect(
        uri,
        uri=True,
        timeout=BUSY_SECONDS,
        isolation_level=None,
        cached_statements=256,
        factory=LedgerConnection,
    )
    try:
        for pragma in _PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")
    except SQLITE_FAULTS:  # the first of them reads the file, which may be ruined
        connection.close()
        raise
    return connection


def trust(connection: sqlite3.Connection) -> None:
    """Let the guards call the latch: only after the schema was found to be ours, word for word."""
    connection.execute("PRAGMA trusted_schema = ON")


def rolled_back(connection: sqlite3.Connection) -> None:
    """Take back what is under way, if SQLite has not done so already; never hides the first fault."""
    if connection.in_transaction:
        try:
            connection.execute("ROLLBACK")
        except SQLITE_FAULTS:
            connection.close()  # closing rolls back too, and the next open recovers from the journal


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Any SQLite error inside becomes a LedgerFault about this file."""
    try:
        yield
    except SQLITE_FAULTS as fault:
        raise ledger_fault(fault, path) from fault


@contextmanager
def reading(connection: sqlite3.Connection) -> Iterator[None]:
    """One moment of the file for several reads: what another counter enters meanwhile is not seen."""
    if connection.in_transaction:
        yield
        return
    connection.execute("BEGIN")
    try:
        yield
    finally:
        rolled_back(connection)


AMONG: Final = "IN (SELECT value FROM json_each(?))"
"""The condition in SQL that a column has one of these names; `among` makes its argument."""


class Shop(NamedTuple):
    """The shop as its ledger names it, and its time zone's name."""

    name: str
    zone: str


def read_shop(connection: sqlite3.Connection) -> Shop:
    """Return the shop whose ledger this is."""
    return Shop(*connection.execute("SELECT name, zone FROM shop").fetchone())


def among(names: Iterable[str]) -> tuple[str]:
    """Return the argument of one `AMONG`. A name with a NUL stands in no ledger, and would be read only up to
    there.
    """
    return (json.dumps([name for name in names if "\0" not in name]),)
