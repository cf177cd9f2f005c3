"""A dry run of 20,000 rows against a bare openpyxl read-only pass of the same file: time and memory.

Run: python -m tests.bench.imports_speed   Prints processor seconds, their ratio and peak memory.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.rows import row
from tests.imports.books import BOOT, MOUNTED, SKI, T4H4, table_rows, write_book

ROWS = 20_000

_BARE = """
import sys, time
from openpyxl import load_workbook
began = time.process_time()
book = load_workbook(sys.argv[1], read_only=True, data_only=True)
cells = sum(1 for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None)
print(time.process_time() - began, cells)
"""
_DRY = """
import json, sys, time
from datetime import date
from pathlib import Path
from imports.proposal import propose
from imports.reading import read_files
began = time.process_time()
proposal = propose(read_files([Path(sys.argv[1])], today=date(2026, 11, 25)), None)
said = json.dumps(proposal.report())
print(time.process_time() - began, len(proposal.rows), proposal.outcome)
"""


def make(path: Path) -> None:
    """8,000 pairs, 4,000 boots, 8,000 holes less the pattern's rows: 20,000 rows, about 240,000 cells."""
    from imports.headers import Table
    from tests.imports.books import HOLE

    pairs = [MOUNTED | {"tag": f"K-{i:05d}", "rack": f"R{i % 40}-{i % 12}"} for i in range(8000)]
    boots = [BOOT | {"tag": f"B-{i:05d}"} for i in range(4000)]
    holes = [HOLE | {"pair_tag": f"K-{i:05d}", "x_mm": 100 + i % 7} for i in range(8000 - len(T4H4))]
    assert set(SKI) <= set(MOUNTED)
    write_book(
        path,
        {
            "Skis": table_rows(Table.SKI, *pairs),
            "Boots": table_rows(Table.BOOT, *boots),
            "Holes": table_rows(Table.HOLE, *holes),
            "Patterns": table_rows(Table.PATTERN, *T4H4),
        },
    )


def run(code: str, path: Path) -> tuple[float, str, float]:
    """(processor seconds inside, what it said, peak MiB of the child)."""
    out = subprocess.run(
        [
            sys.executable,
            "-c",
            f"{code}\nimport resource; print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)",
            str(path),
        ],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split("\n")
    seconds, _, said = out[0].partition(" ")
    return float(seconds), said, int(out[1]) / 1024


def main() -> None:
    """Three rounds of each, the best counts."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.xlsx"
        make(path)
        bare = min(run(_BARE, path) for _ in range(3))
        dry = min(run(_DRY, path) for _ in range(3))
        out = sys.stdout.write
        out(f"{ROWS} rows, {path.stat().st_size / 1e6:.1f} MB\n")
        out(f"bare openpyxl pass  {bare[0]:6.2f} s  {bare[2]:6.0f} MiB  cells {bare[1]}\n")
        out(f"dry run with report {dry[0]:6.2f} s  {dry[2]:6.0f} MiB  rows {dry[1]}\n")
        out(f"ratio               {dry[0] / bare[0]:6.2f}    (to stay under 4; 15 s; 300 MiB)\n")
        row(
            f"dry run of {ROWS:,} rows, processor time",
            f"{dry[0]:.1f} s, {dry[2]:.0f} MiB",
            f"bare openpyxl pass {bare[0]:.1f} s, {bare[2]:.0f} MiB",
            f"{dry[0] / bare[0]:.1f} x",
        )


if __name__ == "__main__":
    main()
