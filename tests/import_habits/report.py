"""``python -m tests.import_habits.report [MIXED] > report.md``: what the importer makes of every habit."""

from __future__ import annotations

import sys
import time
from collections import Counter, defaultdict

from tests.import_habits.judging import Found, Harm, Result, alone_cases, mixed_cases, run_all


def _example(found: Found) -> str:
    return f"{found.thing} {found.key}: sheet says {found.shown!r}, true {found.truth!r}, got {found.got!r}\n    said: {found.said or '(nothing)'}"


def main() -> None:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    begun = time.process_time()
    results: list[Result] = list(run_all([*alone_cases(), *mixed_cases(many)]))
    seconds = time.process_time() - begun
    total: Counter[Harm] = Counter()
    files: Counter[Harm] = Counter()
    worst: dict[str, list[Result]] = defaultdict(list)
    for result in results:
        harms = {found.harm for found in result.found}
        total.update(found.harm for found in result.found)
        files.update(harms)
        worst[min(harms).name if harms else "clean"].append(result)
    print("# What the importer makes of the habits\n")
    print(
        f"{len(results)} files ({len(results) - many} of one habit, {many} mixed), {seconds:.0f} s processor time."
    )
    print(
        f"Applied at once: {sum(r.applied for r in results)} files. Questions and bad findings in all: {sum(r.questions for r in results)}.\n"
    )
    print("| harm | values or things | files |\n|---|---|---|")
    for harm in Harm:
        print(f"| {harm.name} | {total[harm]} | {files[harm]} |")
    print("\nWhat plain values are asked about, by what is said:\n")
    asked = Counter(
        found.said.split("]")[0].strip("[") or found.thing.split()[0]
        for r in results
        for found in r.found
        if found.harm is Harm.NEEDLESS
    )
    for code, count in asked.most_common(25):
        print(f"- {count} x {code}")
    for harm in Harm:
        print(f"\n## {harm.value}. {harm.name}\n")
        shown = 0
        for result in results:
            first = [found for found in result.found if found.harm is harm]
            if harm is Harm.NEEDLESS:
                first = [f for f in first if "bsl_is_shell_size" not in f.said]
            if first and not result.case.name.startswith("mixed"):
                keys = Counter(found.key for found in first)
                print(f"- **{result.case.name}** ({len(first)}: {dict(keys)})\n  - {_example(first[0])}")
                shown += 1
        alone = {
            habit.name
            for r in results
            if not r.case.name.startswith("mixed") and any(f.harm is harm for f in r.found)
            for habit in r.case.habits
        }
        for result in results:
            first = [found for found in result.found if found.harm is harm]
            if (
                first
                and result.case.name.startswith("mixed")
                and not ({h.name for h in result.case.habits} & alone)
                and shown < 60
            ):
                print(f"- {result.case.name} ({len(first)})\n  - {_example(first[0])}")
                shown += 1
    print(f"\nClean files: {len(worst['clean'])}")


if __name__ == "__main__":
    main()
