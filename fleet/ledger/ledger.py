"""The ledger file: create, open, read, append. One transaction per human action.

Plain ``sqlite3`` on purpose: the counter's path must open at once, and appends need `BEGIN IMMEDIATE`
(a plain `BEGIN` lets two writers read the same head; one of them then loses its entry).
"""

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, Final, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fleet.base.entries import Entry, Head
from fleet.base.errors import LedgerFault, or_bad_input
from fleet.base.files import drop, fresh_beside, name_new
from fleet.base.kept_names import NamesSaid, written_body
from fleet.base.program import program
from fleet.checks.chain import quick_check
from fleet.events.event import Tap
from fleet.events.settings import LedgerOpened, new_sealing_key
from fleet.ledger.desk import Desk, EnteredBefore, entries_of_tap
from fleet.ledger.transaction import Transaction
from fleet.tables.connection import (
    LedgerConnection,
    connect,
    connect_copy,
    in_words,
    read_shop,
    reading,
    rolled_back,
    trust,
)
from fleet.tables.file_kind import check_kind
from fleet.tables.layout import APPLICATION_ID, LAYOUT, layout_statements
from fleet.tables.sqlite_faults import SQLITE_FAULTS, ledger_fault

__all__ = ["Ledger", "Transaction", "checked_zone", "named_entries", "read_entries"]


class Ledger:
    """An open ledger file. Use as a context manager."""

    def __init__(self, path: Path, connection: LedgerConnection) -> None:
        self.path = path
        self.connection = connection

    @classmethod
    def create(
        cls,
        path: Path,
        *,
        shop: str,
        zone: str,
        by: str,
        now: datetime,
        first: Callable[[Transaction], object] | None = None,
    ) -> Self:
        """Make a new ledger with its first entry. Refuses a path where something is already.

        ``first`` enters more in the same transaction (a first import): if it raises, no file appears.
        The file is made beside its place and then linked into it, so that nobody ever sees half of it.
        """
        checked_zone(zone)
        if os.path.lexists(path):
            raise LedgerFault(f"{path} exists already", cure="choose another name, or use the file there")
        beside = fresh_beside(path)
        try:
            _fill(beside, shop=shop, zone=zone, by=by, now=now, first=first)
            name_new(beside, path)
        finally:
            drop(beside)
        return cls.open(path)

    @classmethod
    def open(cls, path: Path, *, say: Callable[[str], object] | None = None) -> Self:
        """Open a ledger after its quick check (`fleet.checks.chain`).

        A ledger of an older layout is brought up first, which ``say`` hears; one that may not be written
        is brought up in memory, for reading. Raises LedgerFault with one sentence for anything else; a
        file that is no ledger of ours is not even opened with SQLite.
        """
        layout = check_kind(path)
        with in_words(path):
            connection = connect(path)
        try:
            if layout < LAYOUT:
                from fleet.ledger.migrations import brought_up

                connection = brought_up(connection, path, say=say)
            with in_words(path):
                quick_check(connection, path)
                trust(connection)
        except BaseException:
            connection.close()
            raise
        return cls(path, connection)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.connection.close()

    def copied(self) -> Self:
        """The ledger as it is now, in memory: what is entered there is tried, and never kept."""
        with in_words(self.path):
            memory = connect_copy(self.connection)
        trust(memory)
        return type(self)(self.path, memory)

    @property
    def shop(self) -> str:
        """The shop's name."""
        return read_shop(self.connection).name

    @property
    def zone(self) -> str:
        """The shop's time zone name."""
        with in_words(self.path):
            return read_shop(self.connection).zone

    @property
    def head(self) -> Head:
        """The newest entry."""
        with in_words(self.path):
            row = self.connection.execute(
                "SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1"
            ).fetchone()
        return Head(row[0], row[1])

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Yield one moment of the ledger for several reads; other counters' entries come after it."""
        with in_words(self.path), reading(self.connection):
            yield self.connection

    @contextmanager
    def transaction(self, *, by: str, now: datetime, tap: Tap | None = None) -> Iterator[Transaction]:
        """Yield one human action: all of its entries are kept, or none. ``now`` is the caller's clock,
        aware; ``tap`` stands in each entry of an action on a page. Raises EnteredBefore where that action has
        its entries already.
        """
        try:
            self.connection.execute("BEGIN IMMEDIATE")
            if tap is not None and entries_of_tap(self.connection, tap.id):
                raise EnteredBefore
            yield Transaction(self.connection, by=by, now=now, zone=self.zone, tap=tap)
            self.connection.execute("COMMIT")
        except SQLITE_FAULTS as fault:
            rolled_back(self.connection)
            raise ledger_fault(fault, self.path) from fault
        except BaseException:
            rolled_back(self.connection)
            raise

    @contextmanager
    def desk(self, *, by: str, now: datetime, stated: datetime | None = None) -> Iterator[Desk]:
        """Yield the desk of one human action."""
        with self.transaction(by=by, now=now) as tx:
            yield Desk(tx=tx, by=by, now=now, zone=self.zone, stated=stated)

    def entries(self, *, after: int = 0, until: int | None = None) -> Iterator[Entry]:
        """Yield entries in order, from ``after + 1`` to ``until`` (the newest if None)."""
        with in_words(self.path):
            yield from read_entries(self.connection, after=after, until=until)


def read_entries(
    connection: sqlite3.Connection, *, after: int = 0, until: int | None = None, as_written: bool = False
) -> Iterator[Entry]:
    """Yield entries of a connection in order, from ``after + 1`` to ``until`` (the newest if None).

    ``as_written``: with the places of names, as their hashes are made over them.
    """
    names = None if as_written else NamesSaid(connection)
    top = until if until is not None else _NEWEST
    query = f"SELECT {_COLUMNS} FROM entries WHERE seq > ? AND seq <= ? ORDER BY seq"
    for row in connection.execute(query, (after, top)):
        yield _entry(row, names)


def named_entries(
    connection: sqlite3.Connection, name: str, *, until: int | None = None
) -> Iterator[tuple[Entry, str | None, int | None]]:
    """Yield entries that name a pair or binding, in order, each with its note and the entry that blanked
    it.
    """
    query = (
        f"SELECT {_COLUMNS}, text, redacted_by FROM naming JOIN entries ON entries.seq = naming.entry"
        " LEFT JOIN notes USING (seq) WHERE name = ? AND entry <= ? ORDER BY entry"
    )
    names = NamesSaid(connection)
    for row in connection.execute(query, (name, until if until is not None else _NEWEST)):
        yield _entry(row, names), row[10], row[11]


_NEWEST: Final = 2**62
_COLUMNS: Final = "seq, recorded_at_utc, stated_at_utc, zone, by, what, body, note_hash, prev_hash, hash"


def _entry(row: tuple[Any, ...], names: NamesSaid | None) -> Entry:
    """Return the entry in the first ten columns of a row, with the names that it says or their places."""
    return Entry(
        seq=row[0],
        recorded_at_utc=row[1],
        stated_at_utc=row[2],
        zone=row[3],
        by=names.of(row[4]) if names else row[4],
        what=row[5],
        body=names.body(row[6]) if names else written_body(row[6]),
        note_hash=row[7],
        prev_hash=row[8],
        hash=row[9],
    )


def checked_zone(zone: str) -> ZoneInfo:
    """Return the zone. Raises BadInput with an example."""
    with or_bad_input(
        f"{zone!r} is not a time zone",
        cure="write it like Europe/Vienna",
        of=(ZoneInfoNotFoundError, ValueError, OSError),
    ):
        return ZoneInfo(zone)


def _fill(
    path: Path,
    *,
    shop: str,
    zone: str,
    by: str,
    now: datetime,
    first: Callable[[Transaction], object] | None,
) -> None:
    with in_words(path), contextlib.closing(connect(path)) as connection:
        trust(connection)
        connection.execute("BEGIN IMMEDIATE")
        for statement in layout_statements():
            connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {LAYOUT}")
        transaction = Transaction(connection, by=by, now=now, zone=zone)
        opened = LedgerOpened(shop=shop, zone=zone, layout=LAYOUT, program=program())
        transaction.enter(opened, note=new_sealing_key())
        if first is not None:
            first(transaction)
        connection.execute("COMMIT")
