"""`python -m tests.machine.run STEPS SEED [MINUTES]`: so many steps, for so long at most, and the counts.

A mismatch ends its ledger, not the run: what was found is printed, and the next ledger begins.
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
            known = len(run.mismatches)
            run.step()
            for found in run.mismatches[known:]:
                print(f"step {run.steps}: {found}", flush=True)
            if run.steps % _SAY_EVERY == 0:
                few = sum(min(run.taken[n], run.refused[n]) < run.aims for n in run.names)
                wrong = len(run.mismatches)
                print(f"{run.steps} steps, {run.outs} outs, {wrong} mismatches, {few} commands", flush=True)
        run.audit(full=True)
        took = time.monotonic() - began
        print("\n".join(table(run)))
        print(f"{run.steps / took:.0f} steps a second, {len(run.mismatches)} mismatches")
    return 1 if run.mismatches else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2]), *map(float, sys.argv[3:])))
