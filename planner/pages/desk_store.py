"""The file of desks, PINs and badges, beside the server: in no entry, backup, export or case.

It stands with the user's settings and not with the ledger, so that whoever copies the ledger's folder copies
no key. It holds hashes only. Lost, it is made anew: desks are let in again and PINs set again.
"""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

from fleet.base.entries import name_key
from fleet.base.errors import MountbookError

_TABLES: Final = (
    "CREATE TABLE IF NOT EXISTS desk (name TEXT NOT NULL, key_hash TEXT PRIMARY KEY, since TEXT NOT NULL,"
    " wrong INTEGER NOT NULL DEFAULT 0, wait_until TEXT NOT NULL DEFAULT '') STRICT",
    "CREATE TABLE IF NOT EXISTS pin (person TEXT PRIMARY KEY, hash TEXT NOT NULL, set_by TEXT NOT NULL,"
    " since TEXT NOT NULL, wrong INTEGER NOT NULL DEFAULT 0, wait_until TEXT NOT NULL DEFAULT '') STRICT",
    "CREATE TABLE IF NOT EXISTS badge (id INTEGER PRIMARY KEY AUTOINCREMENT, person TEXT NOT NULL UNIQUE,"
    " name TEXT NOT NULL, hash TEXT NOT NULL, set_by TEXT NOT NULL, since TEXT NOT NULL) STRICT",
)


def desks_file(settings: Path, ledger: Path) -> Path:
    """Return the place of a ledger's desks and PINs, in the user's settings."""
    return settings / f"desks_{short_hash(ledger)}.db"


def short_hash(ledger: Path) -> str:
    """Return what tells a ledger's files from another's where both lie in one folder."""
    return hash_of(str(ledger.resolve()))[:16]


def open_desks(file: Path | None) -> sqlite3.Connection:
    """Open the file, or make it, for this user only; None is one in memory. Raises MountbookError."""
    try:
        if file is not None:
            file.parent.mkdir(parents=True, exist_ok=True)
            file.touch(mode=0o600)
        opened = sqlite3.connect(file or ":memory:", isolation_level=None, check_same_thread=False)
        opened.execute("PRAGMA secure_delete = ON")
        for table in _TABLES:
            opened.execute(table)
    except (OSError, sqlite3.Error) as fault:
        raise MountbookError(
            f"the desks and PINs in {file} cannot be used: {fault}",
            cure="delete that file: desks are let in anew, and PINs set anew; the ledger is not touched",
        ) from fault
    return opened


def forget_person(settings: Path, ledger: Path, name: str, *, mark: str) -> tuple[str, ...]:
    """Forget PIN and badge of a person whose name was taken out, and the name where it set another's; return
    what was done in words.
    """
    file = desks_file(settings, ledger)
    if not file.is_file():
        return ()
    key, told = name_key(name), []
    with closing(open_desks(file)) as store:
        for table, words in (("pin", "PIN"), ("badge", "badge")):
            if store.execute(f"DELETE FROM {table} WHERE person = ?", (key,)).rowcount:
                told.append(f"  the {words} is deleted")
            for (by,) in store.execute(f"SELECT DISTINCT set_by FROM {table}").fetchall():
                if name_key(by) == key:
                    store.execute(f"UPDATE {table} SET set_by = ? WHERE set_by = ?", (mark, by))
        called = [each for (each,) in store.execute("SELECT name FROM desk") if name_key(each) == key]
    told += [f"  a desk is called {each}: give it another name, or it signs with this one" for each in called]
    return tuple(told)


def hash_of(text: str) -> str:
    """Return the SHA-256 of a text, hex."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
