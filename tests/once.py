"""What several workers of one test run need is made by the first of them; the others wait, and read it."""

from __future__ import annotations

import fcntl
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

T = TypeVar("T")
_shared: list[Path] = []


def share_in(folder: Path) -> None:
    """The folder that all workers of this run see; never called where there is one worker only."""
    _shared[:] = [folder]


def once(name: str, make: Callable[[], T]) -> T:
    """Return what ``make`` returns; ``name`` is its own among all that is shared."""
    if not _shared:
        return make()
    file = _shared[0] / f"{name}.pickle"
    with file.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not file.exists():
            made = make()
            file.write_bytes(pickle.dumps(made))
            return made
    return pickle.loads(file.read_bytes())  # the other worker wrote it
