"""Tables as csv files: those that come with the program, and those that people made."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

from fleet.base.errors import BadInput


def csv_rows(path: Path) -> list[dict[str, str]]:
    """Return the rows of a table that comes with the program."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def typed_rows(path: Path, columns: Sequence[str], *, cure: str) -> list[dict[str, str]]:
    """Return the rows of a table that somebody made, each cell without the blanks around it, a left-out one
    empty; further columns are kept. Raises BadInput for a file that cannot be read or lacks a column.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            header = reader.fieldnames or ()
            rows = list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        why = getattr(fault, "strerror", None) or fault
        raise BadInput(f"cannot read {path}: {why}", cure="give a csv in UTF-8") from fault
    if missing := [name for name in columns if name not in header]:
        raise BadInput(f"{path} has no column {', '.join(missing)}", cure=cure)
    return [{name: (text or "").strip() for name, text in row.items() if name is not None} for row in rows]
