"""A survey as a csv: one hole a row (ski, x_mm or tail_mm, y_mm, diameter_mm, depth_mm, state)."""

from pathlib import Path

from fleet.base.errors import BadInput
from fleet.base.files import typed_rows

_KNOWN = {"ski", "x_mm", "tail_mm", "y_mm", "diameter_mm", "depth_mm", "state"}


def lines_of_csv(path: Path) -> list[str]:
    """Return the rows of a csv as survey lines, so that typed lines and files share one reader and one set of
    doubts.

    The first line stands for the header and is empty: line numbers then match the file's. Raises BadInput
    for a file that is not a survey table.
    """
    cure = f"use the columns {', '.join(sorted(_KNOWN))}"
    rows = typed_rows(path, ("ski", "y_mm"), cure=cure)
    header = set(rows[0]) if rows else _KNOWN
    if not header & {"x_mm", "tail_mm"} or header - _KNOWN:
        raise BadInput(
            f"{path} is not a survey table: its columns are {', '.join(sorted(header))}", cure=cure
        )
    return ["", *(_line(row) for row in rows)]


def _line(cell: dict[str, str]) -> str:
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
