"""Files appear whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from fleet.errors import BadInput


def write_whole(path: Path, data: bytes) -> None:
    """Write beside the target, then rename: a reader never sees half a sheet."""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent or Path(), prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            Path(name).chmod(0o644)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as fault:
        raise BadInput(
            f"cannot write {path}: {fault.strerror}", cure="choose a folder you may write to"
        ) from fault
