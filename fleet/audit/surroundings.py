"""Checks of the place of the ledger file: who may read it, the kind of disk, other names of it."""

import os
import re
import sqlite3
import stat
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from fleet.base.days import time_text
from fleet.base.entries import utc_text
from fleet.base.files import leftovers
from fleet.checks.findings import AuditFinding, note
from fleet.tables.connection import read_shop

# fmt: off
_NETWORK: Final = frozenset({
    "nfs", "nfs4", "cifs", "smb2", "smb3", "smbfs", "afpfs", "ncpfs", "9p", "afs", "ceph", "glusterfs",
    "davfs", "fuse.davfs", "fuse.sshfs", "fuse.rclone", "virtiofs", "vboxsf", "lustre", "gfs2", "ocfs2",
})
# fmt: on
_MOUNTS: Final = Path("/proc/self/mountinfo")


def surroundings(path: Path) -> Iterator[AuditFinding]:
    """Yield notes about the file's place. Nothing here is damage."""
    state = path.stat()
    if os.name == "posix" and stat.S_IMODE(state.st_mode) & 0o077:
        yield note(
            "file mode",
            f"other users of this machine may open the ledger (mode {stat.S_IMODE(state.st_mode):03o})",
            cure=f"chmod 600 {path}",
        )
    if state.st_nlink > 1:
        yield note(
            "two names",
            f"the ledger has {state.st_nlink} names on this disk;"
            " a crash under one is not mended under another",
            cure="keep one name; make backups with `mountbook backup`",
        )
    for left in leftovers(path.parent):
        cure = "delete it; the next command that writes a file there does so too"
        yield note("unfinished file", f"{left} was left by a command that was killed", cure=cure)
    if warning := network_warning(path):
        yield note("network drive", warning, cure="keep the ledger on a disk of this machine")


def opening_notes(connection: sqlite3.Connection, path: Path, *, now: datetime) -> list[str]:
    """Return the notes for whoever opens the ledger: a network drive, a clock that is behind."""
    warning = network_warning(path)
    notes = [warning] if warning else []
    newest = connection.execute("SELECT recorded_at_utc FROM entries ORDER BY seq DESC LIMIT 1").fetchone()[0]
    if newest > utc_text(now + timedelta(minutes=2)):
        zone = read_shop(connection).zone
        written, clock = (time_text(utc, zone) for utc in (newest, utc_text(now)))
        notes.append(f"the newest entry was written at {written}, and this clock says {clock}")
    return notes


def network_warning(path: Path) -> str | None:
    """Return one sentence if the file is on a network drive, where locks cannot be relied on; else None.

    So are drives that a program imitates (a phone, a desktop's connection to a server) and folders that
    a program keeps alike on several machines. Known: Linux (the kernel's table of mounts) and Windows
    shares written as ``\\\\\\\\server\\\\share``.
    """
    if os.name == "nt":
        network = str(path.absolute()).startswith("\\\\")
        return "the ledger lies on a network share, whose locks may fail" if network else None
    folder = path.resolve().parent
    for above in (folder, *folder.parents):
        if _is_synced(above):
            return (
                f"the ledger lies in {above}, which another program copies to other machines: it may put an"
                " older file in the ledger's place"
            )
    try:
        table = _MOUNTS.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return None
    kind = mounted_as(path.resolve(), table)
    if kind in _NETWORK:
        return f"the ledger lies on a network drive ({kind}), whose locks and caches may fail"
    if kind is not None and kind.startswith("fuse."):
        return f"the ledger lies on a drive that a program imitates ({kind}), whose locks may fail"
    return None


_SYNCED: Final = re.compile(r"\.(stfolder|sync[a-z_-]*)$", re.IGNORECASE)
"""Folders that programs which copy a folder to other machines leave in it (common practice, no source)."""


def _is_synced(folder: Path) -> bool:
    try:
        with os.scandir(folder) as entries:
            hidden = [entry for entry in entries if entry.name.startswith(".")]
            return any(_SYNCED.match(entry.name) and entry.is_dir() for entry in hidden)
    except OSError:
        return False


def mounted_as(path: Path, mountinfo: str) -> str | None:
    """Return the kind of file system at a path, from the text of /proc/self/mountinfo (proc(5))."""
    best, kind = -1, None
    for line in mountinfo.splitlines():
        fields, _, rest = line.partition(" - ")
        parts = fields.split(" ")
        if len(parts) < 5 or not rest:
            continue
        point = _unescaped(parts[4])
        if f"{path}/".startswith(f"{point.rstrip('/')}/") and len(point) >= best:
            best, kind = len(point), rest.split(" ")[0]
    return kind


def _unescaped(text: str) -> str:
    for code, char in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        text = text.replace(code, char)
    return text
