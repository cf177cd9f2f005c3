"""Small faults put into each room by mutmut, which its own tests have to see.

    python -m tests.mutation.run [--most N] [ROOM ...]

``rooms.toml`` says which modules are a room, which tests own it and how many faults they must see. At most
`MOST` mutants a room are tried, drawn with a fixed seed. ``equivalent.csv`` lists mutants that no test can
see, each with its reason; it is kept under `MOST_EQUIVALENT` of a room's mutants.
"""

from __future__ import annotations

import argparse
import csv
import json
import random
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

from mutmut.configuration import reset_config
from mutmut.mutation.diff_apply import get_diff_for_mutant
from mutmut.mutation.file_mutation import mutate_file_contents
from mutmut.stats import status_by_exit_code
from mutmut.utils.format_utils import get_mutant_name

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
MOST, MOST_EQUIVALENT, SEED = 400, 0.03, 20261125
PACKAGES = ("fleet", "imports", "planner", "sample_fleet")

Fault = tuple[str, str, str]
"""The function that the mutant is in, the line before and the line after."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """What became of one room's mutants."""

    room: str
    target: float
    killed: int
    equivalent: int
    survived: tuple[tuple[str, Fault], ...]

    @property
    def mutants(self) -> int:
        return self.killed + self.equivalent + len(self.survived)

    @property
    def percent(self) -> float:
        return 100 * self.killed / max(1, self.mutants - self.equivalent)

    @property
    def good(self) -> bool:
        return self.percent >= self.target and self.equivalent <= MOST_EQUIVALENT * self.mutants


def score(room: str, spec: dict, *, most: int, only: str, jobs: int) -> Score:
    """Try the room's mutants in a copy of the repository."""
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        for name in (*PACKAGES, "tests"):
            shutil.copytree(ROOT / name, name, ignore=shutil.ignore_patterns("__pycache__"))
        for file in [f for f in ROOT.iterdir() if f.is_file()] + [ROOT / ".pictures", ROOT / ".ci"]:
            (shutil.copytree if file.is_dir() else shutil.copy)(file, file.name)
        Path("setup.cfg").write_text(_settings(spec), encoding="utf-8")
        reset_config()
        names = [name for name in _mutants(spec["modules"]) if re.search(only, name)]
        if len(names) > most:
            names = sorted(random.Random(SEED).sample(names, most))
        became = _tried(names, jobs)
        late = [name for name in names if became[name] == "timeout"]
        became |= _tried(late, 1)  # a busy machine is late too: what is late alone is a loop without end
        left = [name for name in names if became[name] not in ("killed", "timeout")]
        faults = [(name, _fault(name)) for name in left]
    known = _equivalent()
    return Score(
        room=room,
        target=spec["target"],
        killed=len(names) - len(left),
        equivalent=sum(fault in known for _, fault in faults),
        survived=tuple((name, fault) for name, fault in faults if fault not in known),
    )


def _tried(names: list[str], jobs: int) -> dict[str, str]:
    """What became of each, in the words of the tool."""
    if not names:
        return {}
    run = [Path(sys.executable).with_name("mutmut"), "run", "--max-children", str(jobs), *names]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    if done.returncode:
        sys.exit(f"mutmut could not run\n{done.stdout[-5000:]}\n{done.stderr[-2000:]}")
    found: dict[str, int | None] = {}
    for meta in Path("mutants").rglob("*.meta"):
        found |= json.loads(meta.read_text(encoding="utf-8"))["exit_code_by_key"]
    return {name: status_by_exit_code[found[name]] for name in names}


def _settings(spec: dict) -> str:
    lists = {
        "source_paths": PACKAGES,
        "only_mutate": spec["modules"],
        "also_copy": [
            ".ci",
            ".pictures",
            "README.md",
            "DEVELOPERS.md",
            "CHANGELOG.md",
            "LICENSE",
            ".gitignore",
        ],
        "pytest_add_cli_args": ["-p", "no:xdist", "-p", "no:cacheprovider"],
        "pytest_add_cli_args_test_selection": spec["tests"],
    }
    words = {"timeout_multiplier": 8, "timeout_constant": 4}
    text = [f"{key} =\n" + "\n".join(f"    {each}" for each in value) for key, value in lists.items()]
    return "\n".join(["[mutmut]", *text, *(f"{key} = {value}" for key, value in words.items())])


def _mutants(patterns: list[str]) -> list[str]:
    files = sorted({file for pattern in patterns for file in Path().glob(pattern)})
    return [
        get_mutant_name(file, name)
        for file in files
        for name in mutate_file_contents(str(file), file.read_text(encoding="utf-8")).mutant_names
    ]


def _fault(name: str) -> Fault:
    diff = get_diff_for_mutant(name).splitlines()
    before, after = (
        " ".join(line[1:].strip() for line in diff if line[:1] == sign and line[:3] != 3 * sign)
        for sign in "-+"
    )
    return name.partition("__mutmut_")[0], before, after


def _equivalent() -> set[Fault]:
    with (HERE / "equivalent.csv").open(encoding="utf-8", newline="") as file:
        return {(row["function"], row["line"], row["becomes"]) for row in csv.DictReader(file)}


def main() -> int:
    """Print the table and what survived; 1 where a room is under its target."""
    rooms = tomllib.loads((HERE / "rooms.toml").read_text(encoding="utf-8"))
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("rooms", nargs="*", choices=[*rooms, []], help="all if none is named")
    asked.add_argument("--most", type=int, default=MOST, help="mutants a room, drawn with a fixed seed")
    asked.add_argument("--only", default="", help="regular expression for names of mutants")
    asked.add_argument("--jobs", type=int, default=2)
    args = asked.parse_args()
    scores = []
    for room in args.rooms or rooms:
        scores.append(score(room, rooms[room], most=args.most, only=args.only, jobs=args.jobs))
        for name, (_, before, after) in scores[-1].survived:
            print(f"survived: {name}\n    - {before}\n    + {after}", flush=True)
    print("\n| room | mutants | killed | survived | equivalent | score | target |")
    print("|---|---|---|---|---|---|---|")
    for s in scores:
        counts = f"{s.mutants} | {s.killed} | {len(s.survived)} | {s.equivalent}"
        print(f"| {s.room} | {counts} | {s.percent:.1f} % | {s.target} % |")
    return 0 if all(s.good for s in scores) else 1


if __name__ == "__main__":
    sys.exit(main())
