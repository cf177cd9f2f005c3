"""Files appear whole or not at all."""

from __future__ import annotations

from pathlib import Path

from planner.export.whole_file import whole_file


def write_whole(path: Path, data: bytes) -> None:
    """Write beside the target, then rename: a reader never sees half a sheet."""
    with whole_file(path) as beside:
        beside.write_bytes(data)
