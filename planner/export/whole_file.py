"""A file written whole or not at all: beside its place first, then renamed over it."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fleet.errors import BadInput


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A path to write to; on success it takes the place of ``path``, on any error nothing remains.

    Raises BadInput where no file can be put there: a device would be replaced by the file, for everybody.
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
        beside = place.with_name(f".{secrets.token_hex(8)}.part")
        yield beside
        beside.replace(place)
    except OSError as fault:
        raise BadInput(
            f"cannot write {path}: {fault.strerror or fault}", cure="choose a place you may write to"
        ) from fault
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)
