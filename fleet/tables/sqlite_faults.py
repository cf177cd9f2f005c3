"""The words for SQLite's errors: one sentence each, and a cure."""

import sqlite3
from pathlib import Path
from typing import Final

from fleet.base.errors import LedgerFault

SQLITE_FAULTS: Final = (sqlite3.Error, UnicodeDecodeError)
"""The exceptions of a damaged file: Python cannot even decode some of SQLite's messages about it."""

_SENTENCES: Final = (
    ("SQLITE_BUSY", "another program is writing to {path}", "wait a moment and do it again"),
    ("SQLITE_LOCKED", "another program is writing to {path}", "wait a moment and do it again"),
    (
        "SQLITE_READONLY_DBMOVED",
        "{path} was moved or replaced while it was open",
        "do it again, on the file that is there now",
    ),
    (
        "SQLITE_READONLY",
        "{path} or its folder may not be written by you",
        "ask for the right to write there, or choose another folder",
    ),
    ("SQLITE_FULL", "the disk that holds {path} is full", "free some space and do it again"),
    (
        "SQLITE_IOERR",
        "the disk that holds {path} failed to write or read",
        "check the disk, its space and the cable or network to it, then do it again",
    ),
    (
        "SQLITE_CANTOPEN",
        "{path} or the journal beside it cannot be opened",
        "check that the folder is there and may be written",
    ),
    (
        "SQLITE_CORRUPT",
        "{path} is damaged: {fault}",
        "see `mountbook audit`, then `mountbook restore` the newest good backup",
    ),
    (
        "SQLITE_NOTADB",
        "{path} is damaged: {fault}",
        "see `mountbook audit`, then `mountbook restore` the newest good backup",
    ),
    (
        "SQLITE_CONSTRAINT_TRIGGER",
        "{path} refused to be changed: {fault}",
        "enter what happened as a new entry",
    ),
)


def ledger_fault(fault: Exception, path: Path) -> LedgerFault:
    """Return what went wrong with the file, as one sentence and a cure. Nothing was changed in every case."""
    code = getattr(fault, "sqlite_errorname", None) or ""
    if isinstance(fault, UnicodeDecodeError) or "Could not decode" in str(fault):
        code, fault = "SQLITE_CORRUPT", ValueError("text in it is no text any more")
    said = " ".join(str(fault).split())[:200]  # SQLite may quote a whole statement, line breaks and all
    for start, sentence, cure in _SENTENCES:
        if code.startswith(start):
            return LedgerFault(sentence.format(path=path, fault=said), cure=f"{cure}; nothing was changed")
    return LedgerFault(f"{path} could not be used: {said}", cure="nothing was changed; see `mountbook audit`")
