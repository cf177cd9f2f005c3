"""What a file is, before it is opened as a ledger."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from fleet.errors import LedgerFault
from fleet.schema import APPLICATION_ID, LAYOUT

_MAGIC = b"SQLite format 3\0"


def check_kind(path: Path) -> int:
    """The layout number of a ledger file. Raises LedgerFault, one sentence, for anything else.

    The marks are read through SQLite in its ``immutable`` mode, which neither locks nor recovers nor
    writes: nothing of a foreign database can change. Opening the file by hand would be simpler and
    wrong: POSIX drops all locks of a process on a file as soon as it closes *any* handle to it, also
    those of another thread that is just entering something.
    """
    try:
        application, layout = _marks(path)
    except sqlite3.Error:
        application, layout = 0, 0
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


_RESTORE = "mountbook restore the newest good backup"


def _marks(path: Path) -> tuple[int, int]:
    uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
    with contextlib.closing(sqlite3.connect(uri, uri=True)) as connection:
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        layout = connection.execute("PRAGMA user_version").fetchone()[0]
    return int(application), int(layout)


def _no_ledger(path: Path, head: bytes) -> LedgerFault:
    """What the file is instead. The offset is that of the SQLite file format, section 1.3."""
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
    if len(head) == 100 and int.from_bytes(head[68:72], "big") != APPLICATION_ID:
        return LedgerFault(f"{path} is a database of another program", cure=name_right)
    return LedgerFault(f"{path} is damaged: its first page cannot be read", cure=_RESTORE)


def _first_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(100)
    except FileNotFoundError:
        if path.is_symlink():
            raise LedgerFault(
                f"{path} is a link to a file that is not there",
                cure="mend the link, or name the ledger itself",
            ) from None
        raise LedgerFault(
            f"there is no ledger at {path}",
            cure="name one with --ledger, or begin one with `mountbook import FILE --apply`",
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
