"""A file written whole or not at all: beside its place first, then renamed over it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fleet.base.errors import BadInput
from fleet.base.files import unfinished_beside
from fleet.tables.file_kind import is_ledger


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A path to write to; on success it takes the place of ``path``, on any error nothing remains.

    Raises BadInput where no file can be put there: a device would be replaced by it, for everybody, and a
    ledger would be lost.
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
        beside.replace(place)
    except OSError as fault:
        raise BadInput(
            f"cannot write {path}: {fault.strerror or fault}", cure="choose a place you may write to"
        ) from fault
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)


def write_whole(path: Path, data: bytes) -> None:
    """Write beside the target, then rename: a reader never sees half a sheet."""
    with whole_file(path) as beside:
        beside.write_bytes(data)


def part_of_a_name(text: str) -> str:
    """A tag as part of a file's name: ``../x`` is a tag, and no way out of the folder. No two are alike."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-.") else f"_{ord(c):x}_" for c in text)
