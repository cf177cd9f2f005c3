"""``python -m tests.import_habits.open_list > still_open.csv``: which habits are not read as their shop means them."""

from __future__ import annotations

from tests.import_habits.judging import Harm, alone_cases, run_all


def main() -> None:
    print("habit,harm,seen")
    rows = {
        (r.case.name, f.harm.name) for r in run_all(alone_cases()) for f in r.found if f.harm <= Harm.FAULT
    }
    for name, harm in sorted(rows):
        print(f'"{name}",{harm},alone')


if __name__ == "__main__":
    main()
