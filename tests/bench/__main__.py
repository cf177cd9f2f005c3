"""Every benchmark in one run, one table of ratios.

    python -m tests.bench [--quick] [NAME ...]

``--quick`` takes small sizes (a few minutes in all): to see that everything runs, not to quote. A NAME is
a script's name or its beginning. What the scripts print goes to stderr as it comes, the table to stdout.
The sizes of `KEPT` make the table that is kept in BENCHMARKS.md.
"""

from __future__ import annotations

import argparse
import os
import platform
import re
import resource
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter

from tests.bench.rows import cells

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
QUICK = {
    "assign_scale": ["300"],
    "bench_weeks_orders": ["200"],
    "chain_growth": ["3", "--pairs", "20"],
    "counter_season": ["300", "5000", "40"],
    "hard_families": ["60"],
    "ledger_growth": ["5000"],
    "life_bench": ["200", "6"],
    "naming_bench": ["40"],
    "paper_work_orders": ["40"],
    "plan_scale": ["300"],
    "proofs_bench": ["60", "--seeds", "2"],
    "season_plan_bench": ["300"],
    "serve_load": ["600", "5000", "4", "10", "200"],
    "winters": ["--fleets", "2", "--tune", "1", "--pairs", "20"],
}
"""Small sizes, as the script's own arguments; a script that is not named here has one size."""
KEPT = {
    "assign_scale": ["300", "5000", "20000", "--reference-seconds", "60"],
    "bench_weeks_orders": ["200", "1000", "5000"],
    "hard_families": ["240", "900", "5000"],
    "plan_scale": ["5000", "100000"],
    "season_plan_bench": ["300", "--pasts", "6"],
    "serve_load": ["5000", "600000", "12", "60", "1200"],
}
"""Sizes of the kept table, where they are not the script's own."""


def scripts() -> list[str]:
    """The names of all scripts of this folder that can be run."""
    return sorted(
        path.stem
        for path in HERE.glob("*.py")
        if path.stem != "__main__" and re.search(r"^if __name__ == ", path.read_text("utf-8"), re.MULTILINE)
    )


def machine() -> str:
    """Processor, cores, system, Python, load and day, as measured figures need them beside themselves."""
    info = Path("/proc/cpuinfo")
    named = re.search(r"model name\s*: (.+)", info.read_text("utf-8")) if info.exists() else None
    load = f", load {os.getloadavg()[0]:.1f} at the start" if hasattr(os, "getloadavg") else ""
    return (
        f"{named[1] if named else platform.processor()}, {os.cpu_count()} cores, {platform.system()}"
        f" {platform.release()}, Python {platform.python_version()}{load}, {datetime.now(tz=UTC).date()}"
    )


def processor_seconds() -> float:
    """Processor time of the scripts so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def run(name: str, sizes: list[str]) -> list[tuple[str, ...]]:
    """The rows that one script prints; everything it prints is passed on."""
    child = subprocess.Popen(
        [sys.executable, "-m", f"tests.bench.{name}", *sizes], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    found = []
    assert child.stdout is not None
    for line in child.stdout:
        sys.stderr.write(line)
        found.append(cells(line))
    if child.wait():
        raise SystemExit(f"tests.bench.{name} stopped with exit code {child.returncode}")
    return [row for row in found if row]


def main() -> None:
    """Run what was asked for, then print the table."""
    ask = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__.splitlines()[0])
    ask.add_argument("names", nargs="*", metavar="NAME")
    ask.add_argument("--quick", action="store_true", help="small sizes: to see that everything runs")
    given = ask.parse_args()
    chosen = [n for n in scripts() if not given.names or n.startswith(tuple(given.names))]
    if not chosen:
        ask.error(f"no such benchmark; there are {', '.join(scripts())}")
    head = machine()
    rows = []
    for name in chosen:
        sys.stderr.write(f"--- {name}\n")
        started, used = perf_counter(), processor_seconds()
        found = run(name, (QUICK if given.quick else KEPT).get(name, []))
        took = f"{perf_counter() - started:.0f} s, {processor_seconds() - used:.0f} s of processor time"
        sys.stderr.write(f"--- {name}: {took}\n")
        rows += [(name, *row) for row in found or [("states no ratio", "-", "-", "-")]]
    print(f"{head}{', SMALL SIZES' if given.quick else ''}\n")
    print("| script | what | ours | reference, same run | ratio |\n|---|---|---|---|---|")
    for row in rows:
        print("| " + " | ".join(row) + " |")


if __name__ == "__main__":
    main()
