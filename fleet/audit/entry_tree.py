"""The tree of a ledger's entries, from which any one of them is proved to belong to a head.

Each entry is a leaf: the digest of what it says, sealed part by part with the ledger's own key, so that a
case proves an entry without its names. The tree is derived: a file beside the ledger keeps its whole
subtrees, so that a head or a case costs what was entered since; whoever drops that file costs one reading of
all entries. Like the checkpoint it is no proof against a person who may write there; signed heads that lie
elsewhere are.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from fleet.base.entries import Entry
from fleet.base.merkle import consistency_proof, inclusion_proof, leaf_hash, made_whole, root_hash
from fleet.base.sealed_parts import Opening, opening, part_key, sealed
from fleet.events.settings import SEALING_KEY, LedgerOpened, SealingBegun
from fleet.ledger.ledger import Ledger, read_entries
from fleet.tables.sqlite_faults import SQLITE_FAULTS

_TABLES: Final = """
CREATE TABLE IF NOT EXISTS node (
    height INTEGER, place INTEGER, hash BLOB, PRIMARY KEY (height, place)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS kept (size INTEGER, newest TEXT);
"""
_BATCH: Final = 5000


def sealing_key(connection: sqlite3.Connection) -> bytes | None:
    """Return the key by which the entries are sealed; None in a ledger that was begun without one."""
    row = connection.execute(
        "SELECT text FROM notes JOIN entries USING (seq) WHERE text GLOB ? AND what IN (?, ?)"
        " ORDER BY seq LIMIT 1",
        (f"{SEALING_KEY}*", LedgerOpened.WHAT, SealingBegun.WHAT),
    ).fetchone()
    return bytes.fromhex(row[0].removeprefix(SEALING_KEY)) if row else None


def entry_parts(entry: Entry) -> dict[str, Any]:
    """Return what an entry says as it was written, under the names that a case gives to it."""
    return {
        "seq": entry.seq,
        "at": entry.stated_at_utc,
        "written_at": entry.recorded_at_utc,
        "zone": entry.zone,
        "by": entry.by,
        "what": entry.what,
        "body": entry.body,
        "note_hash": entry.note_hash,
        "hash": entry.hash,
    }


def entry_opening(entry: Entry, shown: dict[str, Any], key: bytes) -> Opening:
    """Return what opens as much of the leaf of an entry as is shown of it."""
    return opening(entry_parts(entry), shown, part_key(key, str(entry.seq)))


def tree_file(ledger: Path) -> Path:
    """Return the place of a ledger's kept tree: beside it."""
    return ledger.with_name(f"{ledger.name}.tree")


class EntryTree:
    """The tree of the entries; ``size`` of them are in it."""

    def __init__(self, kept: sqlite3.Connection, ledger: Ledger, key: bytes) -> None:
        self._kept, self._entries, self._key = kept, ledger.connection, key
        kept.execute("BEGIN IMMEDIATE")
        row = kept.execute("SELECT size, newest FROM kept").fetchone() or (0, "")
        found = self._entries.execute("SELECT hash FROM entries WHERE seq = ?", (row[0],)).fetchone()
        self.size: int = row[0] if found is not None and found[0] == row[1] else 0
        if not self.size:
            self.begin_again()

    def begin_again(self) -> None:
        """Forget what was kept."""
        self.size = 0
        self._kept.execute("DELETE FROM node")
        self._kept.execute("DELETE FROM kept")

    def grow(self, *, most: int | None = None) -> bool:
        """Add the entries since, ``most`` of them where that is given; return whether the tree has all."""
        head = self._entries.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
        until = head[0] if most is None else min(head[0], self.size + most)
        newest = ""
        for entry in read_entries(self._entries, after=self.size, until=until, as_written=True):
            rows = list(made_whole(self._whole, self.size, self._leaf(entry)))
            self._kept.executemany("INSERT INTO node VALUES (?, ?, ?)", rows)
            self.size, newest = entry.seq, entry.hash
        if newest:
            self._kept.execute("DELETE FROM kept")
            self._kept.execute("INSERT INTO kept VALUES (?, ?)", (self.size, newest))
        return self.size == int(head[0])

    def root(self, size: int) -> str:
        """Return the root of the first ``size`` entries, hexadecimal."""
        return root_hash(self._whole, size).hex()

    def inclusion(self, seq: int, size: int) -> list[str]:
        """Return the hashes that lead from an entry to the root of the first ``size``."""
        return [each.hex() for each in inclusion_proof(self._whole, seq - 1, size)]

    def consistency(self, first: int, size: int) -> list[str]:
        """Return the hashes that show the first entries to be the beginning of the first ``size``."""
        return [each.hex() for each in consistency_proof(self._whole, first, size)]

    def holds(self, entry: Entry) -> bool:
        """Return whether the kept leaf is that of the entry."""
        return self._whole(0, entry.seq - 1) == self._leaf(entry)

    def _leaf(self, entry: Entry) -> bytes:
        return leaf_hash(sealed(entry_parts(entry), part_key(self._key, str(entry.seq))))

    def _whole(self, height: int, place: int) -> bytes:
        row = self._kept.execute("SELECT hash FROM node WHERE height = ? AND place = ?", (height, place))
        return bytes(row.fetchone()[0])


@contextmanager
def entry_tree(ledger: Ledger) -> Iterator[EntryTree | None]:
    """Yield the kept tree, to be grown; None in a ledger without a sealing key.

    Where its file cannot be used (damaged, locked, a folder that may not be written) it is made in memory.
    """
    key = sealing_key(ledger.connection)
    if key is None:
        yield None
        return
    path = tree_file(ledger.path)
    with closing(_opened(path)) as kept:
        yield EntryTree(kept, ledger, key)
        kept.execute("COMMIT")


def _opened(path: Path) -> sqlite3.Connection:
    try:
        file = sqlite3.connect(os.fspath(path), isolation_level=None, timeout=2.0)
        file.executescript(_TABLES)
        file.execute("BEGIN IMMEDIATE")
        file.execute("ROLLBACK")
    except SQLITE_FAULTS:
        memory = sqlite3.connect(":memory:", isolation_level=None)
        memory.executescript(_TABLES)
        return memory
    with suppress(OSError):  # another user's, who shares it
        path.chmod(0o600)
    return file
