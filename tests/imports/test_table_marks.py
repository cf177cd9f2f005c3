"""Places counted from the tail become places from the mark, where the mark of that ski is known.

Skis A and B have their marks at 812 and 810 mm from the tail; the figures are invented.
"""

from __future__ import annotations

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from fleet.facts.holes import Side
from imports.cells import Cell
from imports.findings import Severity
from imports.headers import Table
from imports.hole_witness import measure_from_mark
from imports.rows import Row, TableContext

WORDS = "{} mm is counted from the tail, and nobody knows where the mark of this ski is"
CURE = "enter mark_from_tail_mm of the ski, or the place from the mark"


def row(table: Table, *, from_tail: bool = False, **values: Any) -> Row:
    return Row(
        table=table,
        sheet="Sheet",
        number=2,
        file="own.xlsx",
        values=values,
        cells={"x_mm": (3, Cell(str(values.get("x_mm"))))},
        place=TableContext(from_tail=from_tail),
    )


def ski(mark: int | None, side: str | None = None, tag: str = "K-031") -> Row:
    return row(Table.SKI, tag=tag, ski=side, mark_from_tail_mm=None if mark is None else Decimal(mark))


def side(mark: int, letter: str) -> Row:
    """A row of a list that has one ski a row, in which the pair is named by ``pair_tag``."""
    return row(Table.SIDE, pair_tag="K-031", ski=letter, mark_from_tail_mm=Decimal(mark))


def hole(x: str, letter: str | None, tag: str = "K-031", *, from_tail: bool = True) -> Row:
    return row(Table.HOLE, from_tail=from_tail, pair_tag=tag, ski=letter, x_mm=Decimal(x))


BOTH = [ski(812, "A"), ski(810, "B")]


@pytest.mark.parametrize(
    ("marks", "letter", "x"),
    [
        (BOTH, "A", "105"),
        (BOTH, "B", "107"),
        ([side(812, "A"), side(810, "B")], "A", "105"),
        ([side(812, "A"), side(810, "B")], "B", "107"),
        # one row for the pair speaks of both skis
        ([ski(812)], "A", "105"),
        ([ski(812)], "B", "105"),
        ([ski(812, "both")], "A", "105"),
        ([ski(812, "both")], "B", "105"),
        # a hole of both skis, where both have their mark in one place
        ([ski(812)], "both", "105"),
        ([ski(812)], None, "105"),
        ([ski(812, "A"), ski(812, "B")], "both", "105"),
        # the later row of a ski counts, if it says a mark
        ([ski(812), ski(810, "B")], "B", "107"),
        ([ski(812), ski(810, "B")], "A", "105"),
        ([ski(812), ski(None)], "A", "105"),
        ([ski(812), ski(900, tag="K-032")], "A", "105"),
        # other lists say no mark of a ski
        ([ski(812), row(Table.BOOT, tag="K-031", mark_from_tail_mm=Decimal(700))], "A", "105"),
    ],
)
def test_a_place_from_the_tail_is_taken_from_the_mark_of_its_own_ski(
    marks: list[Row], letter: str | None, x: str
) -> None:
    found = hole("917", letter)
    measure_from_mark([found, *marks])
    assert found.values["x_mm"] == Decimal(x)
    assert found.findings == []


@pytest.mark.parametrize(
    ("marks", "letter"),
    [
        ([], "A"),
        ([ski(None)], "A"),
        ([ski(812, "B")], "A"),
        ([ski(812, "A")], "B"),
        ([ski(812, tag="K-032")], "A"),
        ([row(Table.BOOT, tag="K-031", mark_from_tail_mm=Decimal(812))], "A"),
        # of both skis: one mark is not known, or they differ
        ([ski(812, "A")], "both"),
        ([ski(812, "B")], "both"),
        ([ski(812, "A")], None),
        (BOTH, "both"),
        (BOTH, None),
    ],
)
def test_without_the_mark_it_is_asked_and_nothing_is_made_of_the_place(
    marks: list[Row], letter: str | None
) -> None:
    found = hole("917.5", letter)
    measure_from_mark([*marks, found])
    [said] = found.findings
    assert (said.severity, said.code) == (Severity.QUESTION, "mark_for_tail_unknown")
    assert (said.message, said.fix, said.key) == (WORDS.format("917.5"), CURE, "x_mm")
    assert (said.column, said.raw) == ("C", "917.5")
    assert found.values["x_mm"] is None


def test_holes_that_count_from_the_mark_or_have_no_place_stay_and_hold_up_no_other() -> None:
    near = hole("105", "A", from_tail=False)
    blank = row(Table.HOLE, from_tail=True, pair_tag="K-031", ski="A", x_mm=None)
    last = hole("917", "A")
    measure_from_mark([near, ski(812), blank, last])
    assert [one.values["x_mm"] for one in (near, blank, last)] == [Decimal(105), None, Decimal(105)]
    assert not near.findings
    assert not blank.findings


def test_a_mark_that_nobody_can_read_takes_none_away_that_was_read() -> None:
    doubtful = ski(None)
    doubtful.ask("length", "'81?' is no length", "write it again", key="mark_from_tail_mm")
    found = hole("917", "A")
    measure_from_mark([ski(812), doubtful, found])
    assert found.values["x_mm"] == Decimal(105)


def test_the_ledger_knows_the_mark_of_a_pair_by_the_tag_that_it_had_before() -> None:
    skis = {each: SimpleNamespace(mark_from_tail_um=812_000) for each in Side}
    fleet: Any = SimpleNamespace(pairs={"N-001": SimpleNamespace(skis=skis)}, renamed={"K-031": "N-001"})
    found = hole("917", "both")
    measure_from_mark([found], fleet)
    assert found.values["x_mm"] == Decimal(105)
    [said] = found.findings
    words = "917 mm is counted from the tail: the mark of K-031 A and B is 812 mm from the tail in the ledger"
    assert (said.severity, said.code, said.message) == (Severity.NOTE, "mark_from_ledger", words)
    assert (said.column, said.raw) == ("C", "917")
