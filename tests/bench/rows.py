"""The one form in which a benchmark states a ratio, so that `python -m tests.bench` can collect them all."""

from __future__ import annotations

START = "| "


def row(what: str, ours: str, reference: str, ratio: str) -> None:
    """Print one row of the table: what was measured, ours, the reference of the same run, their ratio."""
    cells = (what, ours, reference, ratio)
    assert not any("|" in cell or "\n" in cell for cell in cells), cells
    print(START + " | ".join(cells) + " |", flush=True)


def cells(line: str) -> tuple[str, ...]:
    """The four cells of a printed row; nothing for any other line."""
    found = tuple(cell.strip() for cell in line.strip().strip("|").split("|"))
    return found if line.startswith(START) and len(found) == 4 else ()
