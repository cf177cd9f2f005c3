"""`python -m tests.machine.run STEPS SEED [MINUTES]`: so many steps, for so long at most, and the counts.

A mismatch ends its ledger, not the run: the next ledger begins, and what was found is printed at the end.
"""

from __future__ import annotations

import gc
import sys
import time

from tests.machine.driver import machine, table

_SAY_EVERY = 2_000


def main(steps: int, seed: int, minutes: float = 24 * 60) -> int:
    began = time.monotonic()
    gc.set_threshold(50_000, 20, 20)
    with machine(seed, going_on=True) as run:
        while run.steps < steps and time.monotonic() - began < minutes * 60:
            run.step()
            if run.steps % _SAY_EVERY == 0:
                few = sum(min(run.taken[n], run.refused[n]) < run.aims for n in run.names)
                found = len(run.mismatches)
                print(f"{run.steps} steps, {run.outs} outs, {found} mismatches, {few} commands", flush=True)
        run.audit(full=True)
        took = time.monotonic() - began
        print("\n".join(run.mismatches))
        print("\n".join(table(run)))
        print(f"{run.steps / took:.0f} steps a second, {len(run.mismatches)} mismatches")
    return 1 if run.mismatches else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2]), *map(float, sys.argv[3:])))
