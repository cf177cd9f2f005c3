"""`python -m tests.machine.run STEPS SEED [MINUTES [TABLE ...]]`: so many steps, for so long at most, and the counts.

TABLE: what runs before this one printed, or `COUNTS.md`; what is missing there is typed more often. A mismatch ends its ledger, not the run: what was found is printed, and the next ledger begins.
"""

from __future__ import annotations

import gc
import re
import sys
import time
from collections import Counter
from pathlib import Path

from tests.machine.driver import machine, table

_SAY_EVERY = 2_000


def counts_in(files: list[str]) -> Counter[tuple[str, str]]:
    """How often each command was taken and refused, added up over the tables in these files."""
    found: Counter[tuple[str, str]] = Counter()
    for file in files:
        for line in Path(file).read_text("utf-8").splitlines():
            row = re.fullmatch(r"(?:\| )?([a-z][a-z ]+?) +\|? *([\d,]+) +\|? *([\d,]+)(?: \|)?", line)
            if row is not None:
                found[row[1], "taken"] += int(row[2].replace(",", ""))
                found[row[1], "refused"] += int(row[3].replace(",", ""))
    return found


def main(steps: int, seed: int, minutes: float = 24 * 60, *tables: str) -> int:
    began = time.monotonic()
    gc.set_threshold(50_000, 20, 20)
    with machine(seed, going_on=True) as run:
        run.before_this = counts_in(list(tables))
        while run.steps < steps and time.monotonic() - began < minutes * 60:
            known = len(run.mismatches)
            run.step()
            for found in run.mismatches[known:]:
                print(f"step {run.steps}: {found}", flush=True)
            if run.steps % _SAY_EVERY == 0:
                few = sum(max(run.lack(n, "taken"), run.lack(n, "refused")) > 0 for n in run.names)
                wrong = len(run.mismatches)
                print(f"{run.steps} steps, {run.outs} outs, {wrong} mismatches, {few} commands", flush=True)
        run.audit(full=True)
        took = time.monotonic() - began
        print("\n".join(table(run)))
        print(f"{run.steps / took:.0f} steps a second, {len(run.mismatches)} mismatches")
    return 1 if run.mismatches else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2]), *map(float, sys.argv[3:4]), *sys.argv[4:]))
