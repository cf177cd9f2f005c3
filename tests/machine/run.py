"""`python -m tests.machine.run STEPS SEED [MINUTES]`: so many steps, for so long at most, and the counts."""

from __future__ import annotations

import sys
import time

from tests.machine.driver import Mismatch, machine, table


def main(steps: int, seed: int, minutes: float = 24 * 60) -> int:
    began = time.monotonic()
    with machine(seed) as run:
        try:
            while run.steps < steps and time.monotonic() - began < minutes * 60:
                run.step()
        except Mismatch as found:
            print(found)
            print(f"found after {run.steps} steps, {run.outs} outs")
            return 1
        finally:
            took = time.monotonic() - began
            print("\n".join(table(run)))
            print(f"{run.steps / took:.0f} steps a second")
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2]), *map(float, sys.argv[3:])))
