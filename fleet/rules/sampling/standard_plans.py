"""Single sampling by attributes, as an alternative: MIL-STD-105E (1989), ISO 2859-1. Tables are data.

Standing: the cells come from one public transcription; the original scan was not read. Arrow cells are
resolved: ``down`` uses the next plan below (a larger sample), ``up`` the next above (a smaller one).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fleet.base.csv_rows import csv_rows
from fleet.base.errors import BadInput

_FOLDER = Path(__file__).parent
LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardPlan:
    """Take ``size``; accept at up to ``accept`` bad ones, reject from ``reject``.

    ``arrow`` is ``up``, ``down`` or empty: whether the cell pointed to ``plan_letter``. ``all_of_them``:
    the sample is not smaller than the lot, so every unit is looked at.
    """

    letter: str
    plan_letter: str
    arrow: str
    size: int
    accept: int
    reject: int
    all_of_them: bool


def standard_plan(lot: int, *, aql: str, level: str = "II", tightened: bool = False) -> StandardPlan:
    """Return the plan for a lot. Raises BadInput for a lot, level or AQL that the tables here do not hold."""
    if level not in LEVELS:
        raise BadInput(f"there is no inspection level {level!r}", cure=f"one of: {', '.join(LEVELS)}")
    letter = next(
        (
            row[level]
            for row in csv_rows(_FOLDER / "code_letters.csv")
            if int(row["lot_min"]) <= lot <= int(row["lot_max"])
        ),
        None,
    )
    if letter is None:
        raise BadInput(f"the tables hold no lot of {lot}", cure="a lot has at least 2 units")
    table = csv_rows(_FOLDER / ("single_tightened.csv" if tightened else "single_normal.csv"))
    row = next((r for r in table if r["code_letter"] == letter and float(r["aql"]) == _aql(aql)), None)
    if row is None:
        known = sorted({r["aql"] for r in table}, key=float)
        raise BadInput(
            f"the tables here hold no plan for letter {letter} at AQL {aql}",
            cure=f"AQL {', '.join(known)}; letters A to K",
        )
    size = int(row["n"])
    return StandardPlan(
        letter=letter,
        plan_letter=row["plan_letter"],
        arrow=row["arrow"],
        size=min(size, lot),
        accept=int(row["Ac"]),
        reject=int(row["Re"]),
        all_of_them=size >= lot,
    )


def _aql(text: str) -> float:
    try:
        return float(text)
    except ValueError as fault:
        raise BadInput(f"{text!r} is not an AQL", cure="write it like 1.5") from fault
