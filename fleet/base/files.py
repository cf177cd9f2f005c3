"""Files that appear whole or not at all: made beside their place, synced, then named. Tables as csv files."""

import contextlib
import csv
import os
import secrets
import shutil
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from fleet.base.errors import BadInput, LedgerFault, or_bad_input

SQLITE_BESIDE: Final = ("-journal", "-wal", "-shm")
"""Endings of the files that SQLite keeps beside an open one, and leaves there when it is killed."""
_UNFINISHED: Final = ".mountbook-unfinished"
_KILLED_AFTER_SECONDS: Final = 3600
"""No command writes one file for so long: what is older was left by one that was killed."""


def unfinished_beside(path: Path) -> Path:
    """A free name beside ``path`` for what is not finished; what killed commands left there goes."""
    for left in leftovers(path.parent):
        with contextlib.suppress(OSError):
            shutil.rmtree(left) if left.is_dir() and not left.is_symlink() else left.unlink()
    return path.with_name(f".{secrets.token_hex(8)}{_UNFINISHED}")


def leftovers(folder: Path) -> Iterator[Path]:
    """The files and folders that killed commands left unfinished there."""
    with contextlib.suppress(OSError):
        for path in sorted(folder.glob(f".*{_UNFINISHED}*")):
            if time.time() - path.lstat().st_mtime > _KILLED_AFTER_SECONDS:
                yield path


def fresh_beside(path: Path) -> Path:
    """An empty file in the folder of ``path``, for this user only, to be filled and then named.

    Raises LedgerFault where the folder is not there or may not be written.
    """
    beside = unfinished_beside(path)
    try:
        os.close(os.open(beside, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    except OSError as fault:
        raise LedgerFault(
            f"cannot write {path}: {fault.strerror}", cure="choose a folder that is there and may be written"
        ) from fault
    return beside


@contextlib.contextmanager
def in_settings(file: Path) -> Iterator[None]:
    """Make the folder of a file of this user's settings, for this user only. Raises BadInput where the file
    cannot be used, and where no home folder is known: ``~`` stands in its place then.
    """
    cure = "set XDG_CONFIG_HOME to a folder of your own that may be written"
    if not file.is_absolute():
        raise BadInput("no home folder is known for this user", cure=cure)
    with or_bad_input(f"{file} cannot be used:", cure=cure, of=OSError):
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        yield


def drop(beside: Path) -> None:
    """Remove an unfinished file and what SQLite left beside it."""
    for ending in ("", *SQLITE_BESIDE):
        beside.with_name(beside.name + ending).unlink(missing_ok=True)


def name_new(beside: Path, path: Path) -> None:
    """Give the finished file its name, never over something that came to stand there meanwhile."""
    taken = LedgerFault(f"{path} exists already", cure="choose another name, or use the file there")
    sync_file(beside)
    try:
        os.link(beside, path)
        beside.unlink()
    except FileExistsError as fault:
        raise taken from fault
    except OSError:  # a file system without links (a stick from a camera)
        if os.path.lexists(path):
            raise taken from None
        beside.rename(path)
    sync_folder(path.parent)


def sync_file(path: Path, flags: int = os.O_RDWR) -> None:
    """Wait until the file's content is on the disk, as far as the disk is honest."""
    handle = os.open(path, flags)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Make a new or renamed file's name survive a power cut, where the system can do that."""
    if os.name == "nt":  # Windows opens no folders
        return
    with contextlib.suppress(OSError):
        sync_file(folder, os.O_RDONLY)


def csv_rows(path: Path) -> list[dict[str, str]]:
    """Return the rows of a table that comes with the program."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def typed_rows(path: Path, columns: Sequence[str], *, cure: str) -> list[dict[str, str]]:
    """Return the rows of a table that somebody made, each cell without the blanks around it, a left-out one
    empty; further columns are kept. Raises BadInput for a file that cannot be read or lacks a column.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            header = reader.fieldnames or ()
            rows = list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        why = getattr(fault, "strerror", None) or fault
        raise BadInput(f"cannot read {path}: {why}", cure="give a csv in UTF-8") from fault
    if missing := [name for name in columns if name not in header]:
        raise BadInput(f"{path} has no column {', '.join(missing)}", cure=cure)
    return [{name: (text or "").strip() for name, text in row.items() if name is not None} for row in rows]
