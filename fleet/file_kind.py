"""What a file is, from its first hundred bytes, before SQLite is let near it."""

from __future__ import annotations

from pathlib import Path

from fleet.errors import LedgerFault
from fleet.schema import APPLICATION_ID, LAYOUT

_MAGIC = b"SQLite format 3\0"


def check_kind(path: Path) -> int:
    """The layout number of a ledger file. Raises LedgerFault, one sentence, for anything else.

    The offsets are those of the SQLite file format, section 1.3: user version at 60, application id
    at 68, both big-endian. A foreign database is thus never opened, so nothing of it can change.
    """
    head = _first_bytes(path)
    name_right = "name the ledger with --ledger"
    if not head:
        raise LedgerFault(f"{path} is an empty file, not a mountbook ledger", cure=name_right)
    if head.startswith(b"PK\x03\x04"):
        raise LedgerFault(
            f"{path} is a workbook or a zip file, not a mountbook ledger",
            cure=f"to read an inventory: mountbook import {path}; to use a ledger: {name_right}",
        )
    if not head.startswith(_MAGIC):
        raise LedgerFault(f"{path} is not a mountbook ledger", cure=name_right)
    if len(head) < 100:
        raise LedgerFault(
            f"{path} is damaged: it ends after {len(head)} bytes",
            cure="mountbook restore the newest good backup",
        )
    if int.from_bytes(head[68:72], "big") != APPLICATION_ID:
        raise LedgerFault(f"{path} is a database of another program", cure=name_right)
    layout = int.from_bytes(head[60:64], "big")
    if layout > LAYOUT:
        raise LedgerFault(
            f"{path} was written by a newer mountbook (layout {layout}, this program knows {LAYOUT})",
            cure="update mountbook on this machine",
        )
    if layout < 1:
        raise LedgerFault(
            f"{path} is damaged: there is no ledger layout {layout}",
            cure="mountbook restore the newest good backup",
        )
    return layout


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
