"""Copies of files of which something stayed open, kept beside the ledger until nothing is open any more.

So that a doubt can be answered from the worklist, without the file being found again. Nothing of them is in
the ledger: the folder may be deleted, and then the file must be brought again.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

from fleet.base.errors import BadInput, nearest
from fleet.ledger.ledger import Ledger
from imports.reading import IGNORED_FILES
from planner.exchange.export.whole_file import write_whole
from planner.exchange.intake import Intake, open_doubts

_SAID: Final = "import.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """The options that a file was looked at with, as they were typed."""

    columns: tuple[str, ...] = ()
    all_rows: tuple[str, ...] = ()
    leave_out: tuple[str, ...] = ()
    directions: tuple[str, ...] = ()

    def and_also(self, other: Stated) -> Stated:
        """These options, and the others after them."""
        return Stated(
            columns=self.columns + other.columns,
            all_rows=self.all_rows + other.all_rows,
            leave_out=self.leave_out + other.leave_out,
            directions=self.directions + other.directions,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenFile:
    """A file with open doubts: its copies in the order that they were named, and what was said about it.

    ``answers``: question id -> answer. ``folder``: where the copies are.
    """

    file: str
    sha256: str
    paths: tuple[Path, ...]
    folder: Path
    answers: Mapping[str, str] = field(default_factory=dict)
    stated: Stated = Stated()


def folder_beside(ledger: Path) -> Path:
    """The folder of the copies of a ledger's open files."""
    return ledger.with_name(f"{ledger.stem}_open_files")


def kept_copies(ledger: Path) -> list[Path]:
    """All files of that folder: they hold what a sheet held, names too, and no redaction reaches them."""
    return [each for each in sorted(folder_beside(ledger).rglob("*")) if each.is_file()]


def keep_or_forget(ledger: Path, done: Intake, paths: Sequence[Path], stated: Stated) -> OpenFile | None:
    """Keep copies of the files of which something stayed open; forget those of which nothing is.

    Returns what was kept now. Files that are copies already stay where they are.
    """
    if not done.applied:
        return None
    reading = done.proposal.reading
    folder = folder_beside(ledger) / reading.sha256[:16]
    for known in _all(ledger):
        if known.file == reading.name and (known.folder != folder or not done.proposal.questions):
            shutil.rmtree(known.folder, ignore_errors=True)
    if not done.proposal.questions:
        if folder.parent.is_dir() and not any(folder.parent.iterdir()):
            folder.parent.rmdir()
        return None
    members = []
    for number, path in enumerate(paths):
        at = folder / str(number) / (path.name or "folder")
        members.append(f"{number}/{at.name}")
        if path.resolve() != at.resolve():
            _copy(path, at)
    given = {i: answer.text for i, answer in reading.answers.by_id.items() if not answer.since}
    said = {"file": reading.name, "sha256": reading.sha256, "members": members, "answers": given}
    text = json.dumps(said | {"stated": asdict(stated)}, ensure_ascii=False, indent=1)
    write_whole(folder / _SAID, text.encode())
    return _read(folder)


def _copy(path: Path, at: Path) -> None:
    at.parent.mkdir(parents=True, exist_ok=True)
    if not path.is_dir():
        shutil.copyfile(path, at)
        return
    at.mkdir(exist_ok=True)
    for member in path.iterdir():
        if member.suffix.lower() in (".csv", ".json") and member.name.lower() not in IGNORED_FILES:
            shutil.copyfile(member, at / member.name)


def _all(ledger: Path) -> Iterator[OpenFile]:
    folder = folder_beside(ledger)
    for each in sorted(folder.iterdir()) if folder.is_dir() else ():
        found = _read(each)
        if found is not None:
            yield found


def _read(folder: Path) -> OpenFile | None:
    """The open file of a folder; None where a part of it is gone, or cannot be read."""
    try:
        said: dict[str, Any] = json.loads((folder / _SAID).read_text(encoding="utf-8"))
        found = OpenFile(
            file=str(said["file"]),
            sha256=str(said["sha256"]),
            paths=tuple(folder / str(member) for member in said["members"]),
            folder=folder,
            answers={str(key): str(value) for key, value in said["answers"].items()},
            stated=Stated(**{key: tuple(map(str, value)) for key, value in said["stated"].items()}),
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return found if found.paths and all(path.exists() for path in found.paths) else None


def open_files(ledger: Ledger, path: Path) -> dict[str, OpenFile]:
    """The kept files of which the ledger has open doubts, by name."""
    names = {doubt.file for doubt in open_doubts(ledger)}
    return {each.file: each for each in _all(path) if each.file in names}


def one_open_file(ledger: Ledger, path: Path, name: str) -> OpenFile:
    """The kept file of that name, or the only one. Raises BadInput where that is none, or not sure."""
    doubts = list(dict.fromkeys(doubt.file for doubt in open_doubts(ledger)))
    if not doubts:
        raise BadInput("nothing is open", cure="every question of every import is answered")
    if not name and len(doubts) > 1:
        raise BadInput(
            f"{len(doubts)} files are open: {', '.join(doubts)}",
            cure=f"name one: mountbook import open {doubts[0]!r} --ask",
        )
    wanted = name or doubts[0]
    if wanted not in doubts:
        near = nearest(wanted, doubts)
        raise BadInput(
            f"nothing is open of {wanted!r}",
            cure=f"did you mean {near!r}?" if near else f"open are: {', '.join(doubts)}",
        )
    found = open_files(ledger, path).get(wanted)
    if found is None:
        raise BadInput(
            f"the copy of {wanted} is not in {folder_beside(path)} any more",
            cure="bring the file again: mountbook import FILE --ask",
        )
    return found
