"""A file written whole or not at all: beside its place first, then renamed over it."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fleet.errors import BadInput


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A path to write to; on success it takes the place of ``path``, on any error nothing remains."""
    if not path.parent.is_dir():
        raise BadInput(f"there is no folder {path.parent}", cure="make it first, or name another")
    if path.is_dir():
        raise BadInput(f"{path} is a folder", cure="name a file")
    beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        yield beside
        os.replace(beside, path)  # noqa: PTH105 - Path.replace is the same call; os names it
    except OSError as fault:
        raise BadInput(
            f"cannot write {path}: {fault.strerror or fault}", cure="choose a place you may write to"
        ) from fault
    finally:
        beside.unlink(missing_ok=True)
