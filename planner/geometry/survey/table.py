"""A survey as a csv: one hole a row (ski, x_mm or tail_mm, y_mm, diameter_mm, depth_mm, state)."""

from __future__ import annotations

import csv
from pathlib import Path

from fleet.base.errors import BadInput

_KNOWN = {"ski", "x_mm", "tail_mm", "y_mm", "diameter_mm", "depth_mm", "state"}


def lines_of_csv(path: Path) -> list[str]:
    """Return the rows of a csv as survey lines, so that typed lines and files share one reader and one set of
    doubts.

    The first line stands for the header and is empty: line numbers then match the file's. Raises BadInput
    for a file that is not a survey table.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            header = set(reader.fieldnames or ())
            rows = list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise BadInput(f"cannot read {path}: {fault}", cure="give a csv in UTF-8") from fault
    if not {"ski", "y_mm"} <= header or not header & {"x_mm", "tail_mm"} or header - _KNOWN:
        raise BadInput(
            f"{path} is not a survey table: its columns are {', '.join(sorted(header)) or 'none'}",
            cure=f"use the columns {', '.join(sorted(_KNOWN))}",
        )
    return ["", *(_line(row) for row in rows)]


def _line(row: dict[str, str | None]) -> str:
    cell = {name: (value or "").strip() for name, value in row.items()}
    parts = [cell["ski"]]
    x, tail = cell.get("x_mm", ""), cell.get("tail_mm", "")
    parts += ["tail", tail, cell["y_mm"]] if tail else [x, cell["y_mm"]]
    if tail and x:
        parts += ["x", x]
    for letter, name in (("d", "diameter_mm"), ("t", "depth_mm")):
        if cell.get(name):
            parts.append(letter + cell[name])
    if cell.get("state"):
        parts.append(cell["state"])
    return " ".join(parts)
