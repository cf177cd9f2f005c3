"""The single-sampling tables against the standard's own structure and known cells."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from fleet.base.errors import BadInput
from fleet.rules.sampling.rule import standard_plan

SIZES = dict(zip("ABCDEFGHJK", (2, 3, 5, 8, 13, 20, 32, 50, 80, 125), strict=True))
LOTS = dict(zip("ABCDEFGHJK", (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200), strict=True))
AQLS = ("0.65", "1.0", "1.5", "2.5", "4.0", "6.5", "10")


@pytest.mark.parametrize(
    ("lot", "aql", "arrow", "size", "accept"),
    [
        # MIL-STD-105E (1989) table II-A; letter F: an up-arrow, then a down-arrow, between Ac 0 and Ac 1.
        (150, "1.0", "up", 13, 0),
        (150, "1.5", "down", 32, 1),
        # J 80 at AQL 1.0: 2/3; K 125 at AQL 1.0: 3/4; H 50 at 2.5: 3/4 [from memory, widely printed].
        (1200, "1.0", "", 80, 2),
        (3200, "1.0", "", 125, 3),
        (500, "2.5", "", 50, 3),
    ],
)
def test_known_cells(lot: int, aql: str, arrow: str, size: int, accept: int) -> None:
    plan = standard_plan(lot, aql=aql)
    assert (plan.arrow, plan.size, plan.accept, plan.reject) == (arrow, size, accept, accept + 1)


def test_level_two_letters_and_sizes() -> None:
    """Lots and sizes of level II, letters A to K [from memory, agrees with one public transcription]."""
    for letter, top in LOTS.items():
        plan = standard_plan(top, aql="2.5")
        assert plan.letter == letter
        if not plan.arrow:
            assert plan.size == min(SIZES[letter], top)


def test_the_table_by_lot_gives_the_same_plans() -> None:
    """A second table of the same standard, keyed by lot, arrows resolved."""
    with (Path(__file__).parent / "aql_level2_by_lot.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        lot = int(row["lot_max"])
        plan = standard_plan(lot, aql=row["aql"])
        assert (plan.letter, plan.arrow, plan.accept, plan.reject) == (
            row["code_letter_II"],
            row["arrow"],
            int(row["Ac"]),
            int(row["Re"]),
        )
        assert plan.size == min(int(row["n"]), lot)
    assert len(rows) > 40


def test_acceptance_numbers_run_along_the_diagonals() -> None:
    """The master table's own build: one letter further at one AQL less gives the same acceptance number."""
    with (Path(__file__).parents[2] / "fleet/rules/sampling/single_normal.csv").open(
        encoding="utf-8"
    ) as file:
        cells = {(row["code_letter"], float(row["aql"])): row for row in csv.DictReader(file)}
    letters = [letter for letter in "ABCDEFGHJK" if (letter, 1.0) in cells]
    aqls = sorted({aql for _, aql in cells})
    for i in range(len(letters) - 1):
        for j in range(1, len(aqls)):
            here, there = cells[letters[i], aqls[j]], cells[letters[i + 1], aqls[j - 1]]
            if not here["arrow"] and not there["arrow"]:
                assert here["Ac"] == there["Ac"]


def test_tightened_inspection_never_accepts_more() -> None:
    for top in LOTS.values():
        for aql in ("0.65", "1.0", "1.5", "2.5", "4.0"):
            normal, tight = standard_plan(top, aql=aql), standard_plan(top, aql=aql, tightened=True)
            assert tight.accept / tight.size <= normal.accept / normal.size


def test_a_sample_as_large_as_the_lot_is_all_of_it() -> None:
    assert standard_plan(8, aql="0.65").all_of_them
    assert standard_plan(8, aql="0.65").size == 8


@pytest.mark.parametrize(
    ("lot", "aql", "level"), [(1, "1.0", "II"), (100, "7", "II"), (100, "x", "II"), (9, "1.0", "IV")]
)
def test_what_the_tables_do_not_hold_is_refused(lot: int, aql: str, level: str) -> None:
    with pytest.raises(BadInput):
        standard_plan(lot, aql=aql, level=level)
