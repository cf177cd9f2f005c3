"""Redaction beyond the ledger: files kept beside it, and the copies that still hold a blanked text."""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from fleet.audit.backup import BESIDE, default_folder, folder_named
from fleet.audit.checkpoint import checkpoint_of, is_checkpoint
from fleet.audit.entry_tree import tree_file
from fleet.audit.name_removal import RemovedName, take_out
from fleet.base.errors import MountbookError
from fleet.base.files import leftovers
from fleet.base.kept_names import KeptName, read_names
from fleet.ledger.ledger import Ledger, Transaction


@dataclass(frozen=True, slots=True, kw_only=True)
class RedactionReach:
    """A redaction beyond the ledger. ``stays``: what it cannot reach within it, in words.

    ``blanked``: kept files where it is blanked too; ``dropped``: files that only served the program;
    ``still``: copies that hold the text, or may: what cannot be read, such as the journal of a file that was
    too damaged.
    """

    stays: str
    blanked: tuple[Path, ...]
    dropped: tuple[Path, ...]
    still: tuple[Path, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the parts as paths."""
        return {name: [str(path) for path in getattr(self, name)] for name in ("blanked", "dropped", "still")}

    def lines(self) -> Iterator[str]:
        """Yield a line for each file, and what is not reached."""
        yield from (f"  blanked in {path} too" for path in self.blanked)
        yield from (f"  deleted: {path}, {_served(path)}" for path in self.dropped)
        yield from (f"  still holds the text: {path}; delete it where that matters" for path in self.still)
        yield "  exported files, cases and printed sheets are not looked at"
        yield f"  {self.stays}"


def _served(path: Path) -> str:
    return "from which the next audit would have gone on" if is_checkpoint(path) else "an unfinished file"


def reach(
    ledger: Ledger, seq: int, *, by: str, why: str, now: datetime, beside: Sequence[Path] = ()
) -> RedactionReach:
    """Blank the text of an entry, blanked in the ledger already, wherever it can be, and name the rest.

    ``beside``: other files that may hold it.
    """
    row = ledger.connection.execute("SELECT hash FROM entries WHERE seq = ?", (seq,)).fetchone()
    query = "SELECT 1 FROM entries JOIN notes USING (seq) WHERE seq = ? AND hash = ? AND text IS NOT NULL"
    stays = (
        f"who signed entry {seq} stays; mountbook redact --person NAME takes a person's name out of every"
        " entry"
    )
    return _reached(
        ledger,
        holds=lambda file: file.execute(query, (seq, str(row[0]))).fetchone() is not None,
        blank=lambda _, transaction: transaction.blank_note(seq, why=why),
        by=by,
        now=now,
        stays=stays,
        beside=beside,
    )


def reach_name(
    ledger: Ledger, removed: RemovedName, *, by: str, why: str, now: datetime, beside: Sequence[Path] = ()
) -> RedactionReach:
    """Take a name, taken out of the ledger already, out wherever it can be, and name the rest.

    ``beside``: other files that may hold it.
    """
    digests = {row.digest for row in removed.rows}

    def kept(file: sqlite3.Connection) -> tuple[KeptName, ...]:
        return tuple(row for row in read_names(file) if row.digest in digests and row.text is not None)

    return _reached(
        ledger,
        holds=lambda file: bool(kept(file)),
        blank=lambda one, transaction: (
            take_out(transaction, one.path, kept(one.connection), why=why)[0].entry
        ),
        by=by,
        now=now,
        stays="a copy that is not named here, on another disk or stick, still holds it",
        checkpoints=True,
        beside=beside,
    )


def _reached(
    ledger: Ledger,
    *,
    holds: Callable[[sqlite3.Connection], bool],
    blank: Callable[[Ledger, Transaction], int],
    by: str,
    now: datetime,
    stays: str,
    checkpoints: bool = False,
    beside: Sequence[Path] = (),
) -> RedactionReach:
    path = ledger.path.resolve()
    kept = sorted(path.parent.glob(f"{path.name}.before-*"))
    blanked = [each for each in kept if _holds(each, holds) and _blank(each, blank, by=by, now=now)]
    folders = _folders(ledger)
    dropped = [left for each in (path.parent, *folders) for left in leftovers(each) if left.is_file()]
    if checkpoints:  # the tables of the state stand there, with names
        dropped += [checkpoint_of(each) for each in (path, *kept) if checkpoint_of(each).is_file()]
    for left in dropped:
        left.unlink(missing_ok=True)
    copies = [*kept, *(each for folder in folders for each in sorted(folder.glob("*.db*")))]
    others = [each for each in dict.fromkeys(copies) if each.resolve() != path and each.exists()]
    derived = {place(path) for place in (checkpoint_of, tree_file)}  # they hold no texts
    still = [each for each in others if each.resolve() not in derived and _holds(each, holds)]
    return RedactionReach(
        stays=stays,
        blanked=tuple(blanked),
        dropped=tuple(dict.fromkeys(dropped)),
        still=(*still, *beside),
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


def _holds(path: Path, holds: Callable[[sqlite3.Connection], bool]) -> bool:
    """Return whether a file holds the text; one that cannot be read may hold it."""
    address = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True)) as file:
            file.execute("SELECT 1 FROM entries LIMIT 1")  # a ledger, whatever its layout
            return holds(file)
    except (sqlite3.Error, UnicodeDecodeError):
        return True


def _blank(path: Path, blank: Callable[[Ledger, Transaction], int], *, by: str, now: datetime) -> bool:
    """Blank it in a kept file by an entry there; False where that file is too damaged to be opened."""
    try:
        with Ledger.open(path) as kept, kept.transaction(by=by, now=now) as transaction:
            blank(kept, transaction)
    except MountbookError:
        return False
    return True
