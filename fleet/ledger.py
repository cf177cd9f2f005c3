"""The one door to the ledger file: open, read, append. One transaction per human action.

Plain ``sqlite3`` on purpose: the counter's path must open at once, and appends need `BEGIN IMMEDIATE`
(a plain `BEGIN` lets two writers read the same head; one of them then loses its entry).
"""

from __future__ import annotations

import os
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fleet.derive import derive
from fleet.entries import GENESIS, Body, Entry, Head, canonical_json, entry_hash, note_digest, utc_text
from fleet.errors import BadInput, LedgerFault
from fleet.schema import APPLICATION_ID, ENTRIES, LAYOUT, STATE

_BUSY_SECONDS = 20.0


class Transaction:
    """One human action under way. Every `enter` is written with its state, or nothing is."""

    def __init__(self, connection: sqlite3.Connection, *, by: str, now: datetime, zone: str) -> None:
        self._connection = connection
        self._by = by
        self._recorded = utc_text(now)
        self._zone = zone
        row = connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
        self._head = Head(*row) if row else Head(0, GENESIS)

    @property
    def head(self) -> Head:
        """The newest entry as this transaction sees it."""
        return self._head

    @property
    def connection(self) -> sqlite3.Connection:
        """For reading inside the transaction (rules look at state before they append)."""
        return self._connection

    def enter(
        self, what: str, body: Body, *, stated_at: datetime | None = None, note: str = "", by: str = ""
    ) -> int:
        """Append one entry, derive its state, and return its number.

        ``stated_at`` is a time entered later than it happened; ``note`` is free text kept apart;
        ``by`` overrides the transaction's name (a second signer). Raises ValueError or MountbookError
        for nonsense, and then nothing of the whole transaction remains.
        """
        seq = self._head.seq + 1
        stated = utc_text(stated_at) if stated_at is not None else self._recorded
        body_json = canonical_json(body)
        signer = by or self._by
        salt = secrets.token_hex(16) if note else ""
        note_hash = note_digest(salt, note) if note else None
        digest = entry_hash(
            seq=seq,
            recorded_at_utc=self._recorded,
            stated_at_utc=stated,
            zone=self._zone,
            by=signer,
            what=what,
            body_json=body_json,
            note_hash=note_hash,
            prev_hash=self._head.hash,
        )
        self._connection.execute(
            "INSERT INTO entries VALUES (?,?,?,?,?,?,?,?,?,?)",
            (
                seq,
                self._recorded,
                stated,
                self._zone,
                signer,
                what,
                body_json,
                note_hash,
                self._head.hash,
                digest,
            ),
        )
        if note:
            self._connection.execute("INSERT INTO notes VALUES (?,?,?,NULL)", (seq, salt, note))
        entry = Entry(
            seq=seq,
            recorded_at_utc=self._recorded,
            stated_at_utc=stated,
            zone=self._zone,
            by=signer,
            what=what,
            body=body,
            note_hash=note_hash,
            prev_hash=self._head.hash,
            hash=digest,
        )
        derive(self._connection, entry)
        self._head = Head(seq, digest)
        return seq


class Ledger:
    """An open ledger file. Use as a context manager."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self.connection = connection

    @classmethod
    def create(cls, path: Path, *, shop: str, zone: str, by: str, now: datetime) -> Self:
        """A new ledger with its first entry. Refuses a path where something stands already."""
        if path.exists():
            raise LedgerFault(f"{path} exists already", cure="choose another name, or use the file there")
        checked_zone(zone)
        try:
            path.touch(mode=0o600)
            connection = _connect(path)
        except (OSError, sqlite3.Error) as fault:
            raise LedgerFault(
                f"cannot write {path}: {fault}", cure="choose a folder you may write to"
            ) from fault
        ledger = cls(path, connection)
        try:
            connection.execute("BEGIN IMMEDIATE")
            for statement in statements(ENTRIES + STATE):
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {LAYOUT}")
            Transaction(connection, by=by, now=now, zone=zone).enter(
                "ledger opened", {"shop": shop, "zone": zone, "layout": LAYOUT}
            )
            connection.execute("COMMIT")
        except BaseException:
            connection.close()
            path.unlink(missing_ok=True)
            raise
        return ledger

    @classmethod
    def open(cls, path: Path) -> Self:
        """Open what must be a ledger. Raises LedgerFault with one sentence for anything else."""
        if not path.exists():
            raise LedgerFault(
                f"there is no ledger at {path}",
                cure="name one with --ledger, or begin one with `mountbook import FILE --apply`",
            )
        try:
            with path.open("rb") as file:
                magic = file.read(16)
        except OSError as fault:
            raise LedgerFault(f"cannot read {path}: {fault}", cure="check the path and its rights") from fault
        if magic != b"SQLite format 3\0":
            raise LedgerFault(f"{path} is not a mountbook ledger", cure="name the right file with --ledger")
        connection = _connect(path)
        try:
            application = connection.execute("PRAGMA application_id").fetchone()[0]
            layout = connection.execute("PRAGMA user_version").fetchone()[0]
        except sqlite3.DatabaseError as fault:
            connection.close()
            raise LedgerFault(f"{path} is damaged: {fault}", cure="restore the newest backup") from fault
        if application != APPLICATION_ID:
            connection.close()
            raise LedgerFault(
                f"{path} is a database of another program", cure="name the right file with --ledger"
            )
        if layout > LAYOUT:
            connection.close()
            raise LedgerFault(
                f"{path} was written by a newer mountbook (layout {layout}, this program knows {LAYOUT})",
                cure="update mountbook on this machine",
            )
        return cls(path, connection)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.connection.close()

    @property
    def zone(self) -> str:
        """The shop's time zone name."""
        return str(self.connection.execute("SELECT zone FROM shop").fetchone()[0])

    @property
    def head(self) -> Head:
        """The newest entry."""
        row = self.connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
        return Head(row[0], row[1])

    @contextmanager
    def transaction(self, *, by: str, now: datetime) -> Iterator[Transaction]:
        """One human action: all of its entries or none. ``now`` is the caller's clock, aware."""
        if not by.strip():
            raise BadInput("every entry needs a name", cure="say who acts with --by NAME")
        try:
            self.connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as fault:
            raise LedgerFault(
                f"the ledger cannot be written now: {fault}",
                cure="another program holds it, or the folder is read-only; try again",
            ) from fault
        try:
            yield Transaction(self.connection, by=by.strip(), now=now, zone=self.zone)
            self.connection.execute("COMMIT")
        except BaseException as fault:
            if self.connection.in_transaction:
                self.connection.execute("ROLLBACK")
            if isinstance(fault, sqlite3.OperationalError):
                raise LedgerFault(
                    f"the ledger could not be written: {fault}", cure="nothing was changed; free some space"
                ) from fault
            raise

    def entries(self, *, after: int = 0, until: int | None = None) -> Iterator[Entry]:
        """Entries in order, from ``after + 1`` to ``until`` (the newest if None)."""
        import json

        top = until if until is not None else self.head.seq
        for row in self.connection.execute(
            "SELECT seq, recorded_at_utc, stated_at_utc, zone, by, what, body, note_hash, prev_hash, hash"
            " FROM entries WHERE seq > ? AND seq <= ? ORDER BY seq",
            (after, top),
        ):
            yield Entry(
                seq=row[0],
                recorded_at_utc=row[1],
                stated_at_utc=row[2],
                zone=row[3],
                by=row[4],
                what=row[5],
                body=json.loads(row[6]),
                note_hash=row[7],
                prev_hash=row[8],
                hash=row[9],
            )


def checked_zone(zone: str) -> ZoneInfo:
    """The zone, or BadInput with an example."""
    try:
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError) as fault:
        raise BadInput(f"{zone!r} is not a time zone", cure="write it like Europe/Vienna") from fault


def statements(script: str) -> Iterator[str]:
    """The single statements of a script; trigger bodies hold semicolons, so splitting is not enough."""
    pending = ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            if pending.strip():
                yield pending.strip().removesuffix(";")
            pending = ""


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(os.fspath(path), timeout=_BUSY_SECONDS, isolation_level=None)
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA recursive_triggers = ON")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection
