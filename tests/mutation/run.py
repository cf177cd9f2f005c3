"""Small faults put into each room by mutmut, which its own tests have to see.

    python -m tests.mutation.run [--most N] [ROOM ...]

``rooms.toml`` says which modules are a room, which tests own it and how many faults they must see. At most
`MOST` mutants a room are tried by `warm.py`, drawn with a fixed seed. ``equivalent.csv`` lists mutants that
no test can see, each with its reason; it is kept under `MOST_EQUIVALENT` of the mutants of a room.
"""

from __future__ import annotations

import argparse
import csv
import json
import random
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from contextlib import chdir, closing
from dataclasses import dataclass
from difflib import ndiff
from functools import cache
from itertools import islice
from pathlib import Path

import libcst as cst
from mutmut.mutation.diff_apply import read_mutant_function, read_original_function
from mutmut.mutation.file_mutation import mutate_file_contents
from mutmut.utils.format_utils import get_mutant_name

from fleet.tables.layout import STATE

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
MOST, MOST_EQUIVALENT, SEED = 400, 0.03, 20261125
PACKAGES = ("fleet", "imports", "planner", "sample_fleet")
_SETTINGS = "[mutmut]\nsource_paths =\n    fleet\n"
_SQL = re.compile(r"\b(SELECT|FROM|WHERE|JOIN|UPDATE|DELETE|INSERT|ORDER BY|GROUP BY)\b")
_SQL_ALONE = {"and", "or", "max", "case", "when", "then", "else", "end"}  # where no verb of SQL stands
_KILLED = ("killed", "never ended")

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


def score(room: str, spec: dict, *, most: int, only: str) -> Score:
    """Try the room's mutants in a copy of the repository; print each that survives, once known."""
    known = _equivalent()
    killed = equivalent = 0
    survived = []
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        for name in (*PACKAGES, "tests"):
            shutil.copytree(ROOT / name, name, ignore=shutil.ignore_patterns("__pycache__"))
        for file in [f for f in ROOT.iterdir() if f.is_file()] + [ROOT / ".pictures", ROOT / ".ci"]:
            (shutil.copytree if file.is_dir() else shutil.copy)(file, file.name)
        Path("setup.cfg").write_text(_SETTINGS, encoding="utf-8")  # a process that a test starts reads it
        mutated = _mutate(spec["modules"])
        names = [name for name in mutated if re.search(only, name)]
        drawn = random.Random(SEED).sample(names, len(names))
        faults = ((name, _fault(name, mutated[name])) for name in drawn)
        tried = dict(islice(((name, fault) for name, fault in faults if not _only_sql_case(fault)), most))
        for name, became in _tried(sorted(tried), spec["tests"]):
            if became in _KILLED:
                killed += 1
                continue
            fault = tried[name]
            if fault in known:
                equivalent += 1
                continue
            survived.append((name, fault))
            print(f"survived: {name}\n    - {fault[1]}\n    + {fault[2]}", flush=True)
    return Score(
        room=room, target=spec["target"], killed=killed, equivalent=equivalent, survived=tuple(survived)
    )


def _mutate(patterns: list[str]) -> dict[str, str]:
    """Each module of the room in the copy becomes itself with all its faults; the code by name of mutant."""
    code_of = {}
    for file in sorted({file for pattern in patterns for file in Path().glob(pattern)}):
        mutated = mutate_file_contents(str(file), file.read_text(encoding="utf-8"))
        file.write_text(mutated.code, encoding="utf-8")
        code_of |= {get_mutant_name(file, name): mutated.code for name in mutated.mutant_names}
    return code_of


def _tried(names: list[str], tests: list[str]) -> Iterator[tuple[str, str]]:
    """What became of each, as it becomes known."""
    run = [sys.executable, "-m", "tests.mutation.warm", *tests]
    known = 0
    with subprocess.Popen(run, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        process.stdin.write("\n".join(names))
        process.stdin.close()
        for line in process.stdout:
            answer = json.loads(line)
            if "stop" in answer:
                sys.exit(answer["stop"])
            known += 1
            yield answer["name"], answer["became"]
    if known < len(names):
        sys.exit(f"only {known} of {len(names)} mutants were tried\n{Path('warm.log').read_text()[-5000:]}")


def _fault(name: str, code: str) -> Fault:
    module = _parsed(code)
    before, after = (
        cst.Module([read(module, name)]).code.strip().splitlines()
        for read in (read_original_function, read_mutant_function)
    )
    changed = list(ndiff(before, after))
    line, becomes = (" ".join(each[2:].strip() for each in changed if each[0] == sign) for sign in "-+")
    return name.partition("__mutmut_")[0], line, becomes


@cache
def _parsed(code: str) -> cst.Module:
    return cst.parse_module(code)


def _only_sql_case(fault: Fault) -> bool:
    """Whether only capitals of SQL change, which reads the same: such a fault is not drawn.

    That is a statement whose values in quotes stay, or the name of a table or column that is handed to one;
    not a name by which Python looks a value up.
    """
    _, before, after = fault
    if before.casefold() != after.casefold():
        return False
    if _SQL.search(before):
        return re.findall("'[^']*'", before) == re.findall("'[^']*'", after)
    changed = {
        now
        for then, now in zip(*(re.findall(r"\w+", text) for text in (before, after)), strict=True)
        if then != now
    }
    return {name.lower() for name in changed} <= _names() | _SQL_ALONE and not any(
        f'["{name}"]' in after for name in changed
    )


@cache
def _names() -> frozenset[str]:
    """Every table of the ledger's state and every column, as `fleet.tables.layout` calls them."""
    with closing(sqlite3.connect(":memory:")) as state:
        state.executescript(STATE)
        tables = [name for (name,) in state.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        columns = [row[1] for table in tables for row in state.execute(f"PRAGMA table_info({table})")]
    return frozenset(tables) | frozenset(columns)


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
    args = asked.parse_args()
    scores = []
    for room in args.rooms or rooms:
        scores.append(score(room, rooms[room], most=args.most, only=args.only))
    print("\n| room | mutants | killed | survived | equivalent | score | target |")
    print("|---|---|---|---|---|---|---|")
    for s in scores:
        counts = f"{s.mutants} | {s.killed} | {len(s.survived)} | {s.equivalent}"
        print(f"| {s.room} | {counts} | {s.percent:.1f} % | {s.target} % |")
    return 0 if all(s.good for s in scores) else 1


if __name__ == "__main__":
    sys.exit(main())
