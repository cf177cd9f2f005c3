"""A file written whole or not at all: beside its place first, then renamed over it."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.files import unfinished_beside
from fleet.tables.file_kind import is_ledger


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A path to write to; on success it takes the place of ``path``, on any error nothing remains.

    Raises BadInput where no file can be put there: a device would be replaced by it, for everybody, and a
    ledger, a letter or another's PDF would be lost.
    """
    beside: Path | None = None
    try:
        place = path.resolve()
        if not place.parent.is_dir():
            raise BadInput(
                f"cannot write {path}: there is no folder {path.parent}",
                cure="make it first, or name another",
            )
        if place.exists() and not place.is_file():
            what = "a folder" if place.is_dir() else "a device, no file"
            raise BadInput(f"{path} is {what}", cure="name a file")
        if place.exists() and is_ledger(place):
            raise BadInput(f"{path} is a ledger: nothing is written over it", cure="name another file")
        beside = unfinished_beside(place)
        yield beside
        _is_of_its_kind(place, beside, path)
        beside.replace(place)
    except OSError as fault:
        raise BadInput(
            f"cannot write {path}: {fault.strerror or fault}", cure="choose a place you may write to"
        ) from fault
    finally:
        with suppress(OSError):  # a disk that may only be read refuses this too
            if beside is not None:
                beside.unlink()


_KINDS: Final = (b"%PDF", b"PK", b"SQLite format 3", b"\x89PNG")
"""Beginnings of the files that are no text: a PDF, a workbook, a database, a picture."""
_OURS: Final = b"/Creator (mountbook)"


def _is_of_its_kind(old: Path, new: Path, path: Path) -> None:
    """Raise BadInput where the file that stands there is another kind of file, or a PDF of somebody else."""
    if not old.exists() or not old.stat().st_size:
        return
    (was, is_now), pdf = map(_beginning, (old, new)), _KINDS[0]
    if was != is_now or (was == pdf and _OURS not in old.read_bytes()):
        raise BadInput(
            f"{path} is there already and was not made by mountbook: nothing is written over it",
            cure="name another file, or move that one away",
        )


def _beginning(path: Path) -> bytes:
    with path.open("rb") as file:
        first = file.read(max(map(len, _KINDS)))
    return next((kind for kind in _KINDS if first.startswith(kind)), b"")


def write_whole(path: Path, data: bytes) -> None:
    """Write beside the target, then rename: a reader never sees half a sheet."""
    with whole_file(path) as beside:
        beside.write_bytes(data)


def not_over_a_workbook(path: Path) -> None:
    """Raise BadInput where a workbook stands: it may be the inventory that somebody filled in all week."""
    if path.is_file() and not is_ledger(path):
        raise BadInput(f"{path} is there already, and may be filled in", cure="give it a new name")


def part_of_a_name(text: str) -> str:
    """A tag as part of a file's name: ``../x`` is a tag, and no way out of the folder. No two are alike."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-.") else f"_{ord(c):x}_" for c in text)
