"""A dry run of 20,000 rows against a bare openpyxl read-only pass of the same file: time and memory.

The same where every row is asked, each about a word of its own, and the applying; each in a process of
its own. And of small files that are odd, hostile or broken against a clean one: none may keep a shop waiting.

Run: python -m tests.bench.imports_speed   Prints processor seconds, their ratio and peak memory.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
from pathlib import Path
from time import process_time

from tests.bench.rows import row
from tests.imports.books import BOOT, MOUNTED, SKI, T4H4, report, table_rows, write_book
from tests.imports.corpus.cases import CASES

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
from planner.exchange.intake import look_at
began = time.process_time()
proposal = look_at(None, [Path(sys.argv[1])], today=date(2026, 11, 25))
said = json.dumps(proposal.report())
print(time.process_time() - began, len(proposal.rows), proposal.outcome)
"""

_APPLY = """
import sys, time
from datetime import UTC, date, datetime
from pathlib import Path
from planner.exchange import intake
path = Path(sys.argv[1])
proposal = intake.look_at(None, [path], today=date(2026, 11, 25))
began = time.process_time()
intake.apply(
    path.with_suffix(".db"), proposal, ledger=None, by="Wim", now=datetime(2026, 11, 25, 8, tzinfo=UTC),
    shop="The shop", zone="Europe/Vienna",
)
print(time.process_time() - began, len(proposal.entries))
path.with_suffix(".db").unlink()
"""


def make(path: Path, *, asked: bool = False) -> None:
    """8,000 pairs, 4,000 boots, 8,000 holes less the pattern's rows: 20,000 rows, about 240,000 cells.

    ``asked``: every row holds a word that nobody knows, and no two the same.
    """
    from imports.headers import Table
    from tests.imports.books import HOLE

    pairs = [MOUNTED | {"tag": f"K-{i:05d}", "rack": f"R{i % 40}-{i % 12}"} for i in range(8000)]
    boots = [BOOT | {"tag": f"B-{i:05d}"} for i in range(4000)]
    holes = [HOLE | {"pair_tag": f"K-{i:05d}", "x_mm": 100 + i % 7} for i in range(8000 - len(T4H4))]
    assert set(SKI) <= set(MOUNTED)
    if asked:
        pairs = [pair | {"construction": f"core {i}"} for i, pair in enumerate(pairs)]
        boots = [boot | {"bsl_mm": f"c. 3{i % 100:02}, {i}"} for i, boot in enumerate(boots)]
        holes = [hole | {"state": f"as seen {i}"} for i, hole in enumerate(holes)]
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


CLEAN = "contra_clean_shop.xlsx"
SPLICED = 300


def odd_files(folder: Path) -> dict[str, Path]:
    """Every file of the importer's corpus, and copies of the clean one with bytes changed, cut and put in."""
    files = {}
    for name, case in CASES.items():
        case.make(folder / name)
        files[name] = folder / name
    rng = random.Random(7)
    for number in range(SPLICED):
        data = bytearray(files[CLEAN].read_bytes())
        for _ in range(rng.randint(1, 6)):
            place = rng.randrange(len(data))
            data[place : place + rng.choice((0, 1, 8, 400))] = rng.randbytes(rng.choice((0, 1, 40)))
        path = folder / f"spliced_{number}.xlsx"
        path.write_bytes(data)
        files[path.name] = path
    return files


def dry_seconds(path: Path) -> float:
    """Processor seconds of one dry run in this process, the best of three."""
    took = []
    for _ in range(3):
        began = process_time()
        report(path)
        took.append(process_time() - began)
    return min(took)


def time_odd_files(folder: Path) -> None:
    files = odd_files(folder)
    took = {name: dry_seconds(path) for name, path in files.items()}
    slowest = max(took, key=took.__getitem__)
    row(
        f"{len(CASES)} odd files and {SPLICED} broken ones, dry run, processor time: the slowest",
        f"{1000 * took[slowest]:.0f} ms ({slowest})",
        f"a small clean shop {1000 * took[CLEAN]:.0f} ms",
        f"{took[slowest] / took[CLEAN]:.0f} x",
    )


def main() -> None:
    """Three rounds of each, the best counts."""
    with tempfile.TemporaryDirectory() as folder:
        time_odd_files(Path(folder))
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
        applied = min(run(_APPLY, path) for _ in range(3))
        row(
            f"applying {applied[1]} entries of {ROWS:,} rows",
            f"{applied[0]:.1f} s, {applied[2]:.0f} MiB",
            "",
            "",
        )
        make(path, asked=True)
        bare, dry = (min(run(code, path) for _ in range(2)) for code in (_BARE, _DRY))
        row(
            f"dry run of {ROWS:,} rows, every row asked about a word of its own",
            f"{dry[0]:.1f} s, {dry[2]:.0f} MiB",
            f"bare openpyxl pass {bare[0]:.1f} s, {bare[2]:.0f} MiB",
            f"{dry[0] / bare[0]:.1f} x",
        )


if __name__ == "__main__":
    main()
