"""Redaction beyond the ledger: files kept beside it, and the copies that still hold a blanked text."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from fleet.audit.backup import BESIDE, default_folder, folder_named
from fleet.audit.checkpoint import checkpoint_of
from fleet.audit.entry_tree import tree_file
from fleet.base.errors import MountbookError
from fleet.base.files import leftovers
from fleet.ledger.ledger import Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class RedactionReach:
    """A redaction of entry ``seq`` beyond the ledger.

    ``blanked``: kept files where it is blanked too; ``dropped``: files that only served the program;
    ``still``: copies that hold the text, or may: what cannot be read, such as the journal of a file that was
    too damaged.
    """

    seq: int
    blanked: tuple[Path, ...]
    dropped: tuple[Path, ...]
    still: tuple[Path, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the parts as paths."""
        return {name: [str(path) for path in getattr(self, name)] for name in ("blanked", "dropped", "still")}

    def lines(self) -> Iterator[str]:
        """Yield a line for each file, and what is not reached."""
        yield from (f"  blanked in {path} too" for path in self.blanked)
        yield from (f"  deleted: {path}, an unfinished file" for path in self.dropped)
        yield from (f"  still holds the text: {path}; delete it where that matters" for path in self.still)
        yield "  exported files, cases and printed sheets are not looked at"
        yield (
            f"  who signed entry {self.seq} stays: the chain is made over the name, and whoever can open the"
            " file reads it"
        )


def reach(ledger: Ledger, seq: int, *, by: str, why: str, now: datetime) -> RedactionReach:
    """Blank the text of an entry, blanked in the ledger already, wherever it can be, and name the rest."""
    row = ledger.connection.execute("SELECT hash FROM entries WHERE seq = ?", (seq,)).fetchone()
    digest, folder = str(row[0]), ledger.path.resolve().parent
    kept = sorted(folder.glob(f"{ledger.path.resolve().name}.before-*"))
    blanked = [
        path for path in kept if _holds(path, seq, digest) and _blank(path, seq, by=by, why=why, now=now)
    ]
    folders = _folders(ledger)
    dropped = [left for each in (folder, *folders) for left in leftovers(each) if left.is_file()]
    for left in dropped:
        left.unlink(missing_ok=True)
    copies = [*kept, *(path for each in folders for path in sorted(each.glob("*.db*")))]
    others = [path for path in dict.fromkeys(copies) if path.resolve() != ledger.path.resolve()]
    derived = {place(ledger.path.resolve()) for place in (checkpoint_of, tree_file)}  # they hold no texts
    still = [path for path in others if path.resolve() not in derived and _holds(path, seq, digest)]
    return RedactionReach(
        seq=seq, blanked=tuple(blanked), dropped=tuple(dict.fromkeys(dropped)), still=tuple(still)
    )


def _folders(ledger: Ledger) -> list[Path]:
    """Return every folder that copies ever went to, as far as the ledger knows."""
    named = ledger.connection.execute(
        "SELECT DISTINCT json_extract(body, '$.value') FROM entries WHERE what = 'policy set'"
        " AND json_extract(body, '$.name') = 'backup_folder'"
    )
    folders = [default_folder(ledger), folder_named(ledger, BESIDE)]
    folders += [folder_named(ledger, name) for (name,) in named if name]
    return [each for each in dict.fromkeys(folder.resolve() for folder in folders) if each.is_dir()]


def _holds(path: Path, seq: int, digest: str) -> bool:
    """Return whether a file holds that entry's text; one that cannot be read may hold it."""
    address = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True)) as file:
            query = (
                "SELECT 1 FROM entries JOIN notes USING (seq) WHERE seq = ? AND hash = ? AND text IS NOT NULL"
            )
            return file.execute(query, (seq, digest)).fetchone() is not None
    except (sqlite3.Error, UnicodeDecodeError):
        return True


def _blank(path: Path, seq: int, *, by: str, why: str, now: datetime) -> bool:
    """Blank it in a kept file by an entry there; False where that file is too damaged to be opened."""
    try:
        with Ledger.open(path) as kept, kept.transaction(by=by, now=now) as transaction:
            transaction.blank_note(seq, why=why)
    except MountbookError:
        return False
    return True
