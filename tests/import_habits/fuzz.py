"""``python -m tests.import_habits.fuzz [FIRST LAST] > figures.md``: 5,000 files of many habits, and what went wrong.

A seed is 100 files; the seeds are those of the long test. Each harm is counted by values and by files, whether or
not its habit stands in ``still_open.csv``; what no row of that list explains is shown.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from tests.import_habits.judging import Found, Harm, mixed_cases, run_all
from tests.import_habits.test_habits import still_open

SEEDS = range(100, 150)
SHOWN = 40


def main() -> None:
    first, last = (int(text) for text in sys.argv[1:3]) if len(sys.argv) > 2 else (SEEDS[0], SEEDS[-1])
    values: Counter[Harm] = Counter()
    files: Counter[Harm] = Counter()
    new: list[tuple[str, Found]] = []
    many, begun = 0, time.process_time()
    for seed in range(first, last + 1):
        for at, result in enumerate(run_all(mixed_cases(100, seed=seed))):
            many += 1
            values.update(found.harm for found in result.found)
            files.update({found.harm for found in result.found})
            known = {
                harm for habit in result.case.habits for name, harm in still_open() if name == habit.name
            }
            bad = [f for f in result.found if f.harm <= Harm.FAULT and f.harm.name not in known]
            new += [
                (f"seed {seed}, {result.case.name.replace('mixed', 'file')} [{at}]", found)
                for found in bad[:1]
            ]
        print(f"seed {seed}: {len(new)} not known to be open", file=sys.stderr)
    print(f"{many} files, {time.process_time() - begun:.0f} s processor time.\n")
    print("| harm | values or things | files |\n|---|---|---|")
    for harm in Harm:
        print(f"| {harm.name} | {values[harm]} | {files[harm]} |")
    print(f"\nFiles with a harm down to FAULT that no row of `still_open.csv` explains: {len(new)}\n")
    for where, found in new[:SHOWN]:
        print(
            f"- {where}: {found.harm.name}, {found.thing} {found.key}: sheet says {found.shown!r}, true {found.truth!r},"
        )
        print(f"  got {found.got!r}; said: {found.said[:200] or '(nothing)'}")


if __name__ == "__main__":
    main()
