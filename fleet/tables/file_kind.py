"""The kind of a file, found before it is opened as a ledger."""

import contextlib
import os
import sqlite3
from pathlib import Path
from typing import Final

from fleet.base.errors import LedgerFault
from fleet.tables.layout import APPLICATION_ID, LAYOUT, marks_of
from fleet.tables.sqlite_faults import SQLITE_FAULTS

_MAGIC = b"SQLite format 3\0"


def check_kind(path: Path) -> int:
    """The layout number of a ledger file. Raises LedgerFault, one sentence, for anything else.

    The marks are read through SQLite in its ``immutable`` mode, which neither locks nor recovers nor
    writes: nothing of a foreign database can change. Opening the file by hand would be simpler and
    wrong: POSIX drops all locks of a process on a file as soon as it closes *any* handle to it, also
    those of another thread that is just entering something.
    """
    application, layout = _marks(path)
    if application != APPLICATION_ID:
        raise _no_ledger(path, _first_bytes(path))
    if layout > LAYOUT:
        raise LedgerFault(
            f"{path} was written by a newer mountbook (layout {layout}, this program knows {LAYOUT})",
            cure="update mountbook on this machine",
        )
    if layout < 1:
        raise LedgerFault(f"{path} is damaged: there is no ledger layout {layout}", cure=_RESTORE)
    return layout


def is_ledger(path: Path) -> bool:
    """Return whether it is a ledger, of any layout, sound or not."""
    return _marks(path)[0] == APPLICATION_ID


_RESTORE = "mountbook restore the newest good backup"


def _marks(path: Path) -> tuple[int, int]:
    uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
    try:
        with contextlib.closing(sqlite3.connect(uri, uri=True)) as connection:
            return marks_of(connection)
    except SQLITE_FAULTS:
        return _marks_in(_first_bytes(path))


def _marks_in(head: bytes) -> tuple[int, int]:
    """From the first bytes: where they stand in the SQLite file format, section 1.3.

    Needed while another process is in the middle of a commit, or was killed there: the first page may
    then speak of pages that the file does not have yet, and SQLite without locks calls that damage.
    """
    if len(head) < 100 or not head.startswith(_MAGIC):
        return 0, 0
    return int.from_bytes(head[68:72], "big"), int.from_bytes(head[60:64], "big")


def _no_ledger(path: Path, head: bytes) -> LedgerFault:
    """Return what the file is instead. The offset is that of the SQLite file format, section 1.3."""
    name_right = "name the ledger with --ledger"
    if not head:
        return LedgerFault(f"{path} is an empty file, not a mountbook ledger", cure=name_right)
    if head.startswith(b"PK\x03\x04"):
        return LedgerFault(
            f"{path} is a workbook or a zip file, not a mountbook ledger",
            cure=f"to read an inventory: mountbook import {path}; to use a ledger: {name_right}",
        )
    if not head.startswith(_MAGIC):
        return LedgerFault(f"{path} is not a mountbook ledger", cure=name_right)
    if len(head) < 100:
        return LedgerFault(f"{path} is damaged: it ends after {len(head)} bytes", cure=_RESTORE)
    return LedgerFault(f"{path} is a database of another program", cure=name_right)


_KEPT: Final[list[int]] = []
"""Handles to ledgers opened by hand, never closed: closing one would drop this process's locks."""


def _first_bytes(path: Path) -> bytes:
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
        try:
            head = os.read(handle, 100)
        except OSError:
            os.close(handle)
            raise
        if _marks_in(head)[0] == APPLICATION_ID:
            _KEPT.append(handle)
        else:
            os.close(handle)
        return head
    except FileNotFoundError:
        if path.is_symlink():
            raise LedgerFault(
                f"{path} is a link to a file that is not there",
                cure="mend the link, or name the ledger itself",
            ) from None
        raise LedgerFault(
            f"there is no ledger at {path}",
            cure="name one with --ledger, or put its newest copy there with `mountbook restore COPY`,"
            " or begin one with `mountbook import FILE --apply`",
        ) from None
    except IsADirectoryError:
        raise LedgerFault(
            f"{path} is a folder, not a ledger", cure="name the file in it with --ledger"
        ) from None
    except (OSError, ValueError) as fault:
        raise LedgerFault(
            f"cannot read {path}: {getattr(fault, 'strerror', None) or fault}",
            cure="check the path and its rights",
        ) from fault
