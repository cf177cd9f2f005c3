"""From where a column counts and which way is plus: asked once, and answered by every door alike.

The witness is the pattern of the tests, mounted for 305 mm at the mark; ski B differs everywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook
from typer.testing import CliRunner

from fleet.base.errors import BadInput
from fleet.facts.holes import Side
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from imports.headers import Table
from imports.proposal import Proposal
from planner.cli.main import app
from planner.exchange.intake import apply, look_at, profile, write_marked
from tests.imports.books import HOLE, MOUNTED, T4H4, TODAY, clean_sheets, table_rows, write_book

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)
MARKS = {"A": 812, "B": 810}
UNEVEN = [hole | {"y_mm": -26} if (hole["x_mm"], hole["y_mm"]) == (-10, -18) else hole for hole in T4H4]
"""The pattern of the tests with one hole farther out, so that left and right can be told."""
_ON_A = [
    *((142.5, 18.0), (142.5, -26.0), (107.5, 20.0), (107.5, -20.0)),
    *((-137.5, 18.0), (-137.5, -18.0), (-97.5, 18.0), (-97.5, -18.0)),
]
MEANT = {"A": _ON_A, "B": [(x - 2, y + 0.5) for x, y in _ON_A]}
"""Places in mm, as the ledger must have them; B differs everywhere, and is not even about its middle line."""


def book(path: Path, write: Callable[[str, float, float], tuple[float, float]]) -> Path:
    """A workbook whose holes are written as ``write`` (ski, x, y) puts them."""
    rows = []
    for side, places in MEANT.items():
        for x, y in places:
            along, across = write(side, x, y)
            rows.append(HOLE | {"ski": side, "x_mm": along, "y_mm": across})
    skis = [MOUNTED | {"ski": side, "mark_from_tail_mm": mark} for side, mark in MARKS.items()]
    holes = table_rows(Table.HOLE, *rows)
    holes[0] = [{"x_mm": "x", "y_mm": "y"}.get(key, key) for key in holes[0]]
    patterns = table_rows(Table.PATTERN, *UNEVEN)
    return write_book(path, clean_sheets(Skis=table_rows(Table.SKI, *skis), Holes=holes, Patterns=patterns))


AS_WRITTEN = {
    "mirrored along": (lambda _, x, y: (-x, y), {"x": "from the mark, + to the tail"}),
    "mirrored across": (lambda _, x, y: (x, -y), {"y": "+ to the left"}),
    "mirrored both ways": (lambda _, x, y: (-x, -y), {"x": "+ to tail", "y": "+ left"}),
    "from the tail": (lambda side, x, y: (MARKS[side] + x, y), {"x": "from the tail"}),
    "swapped": (lambda _, x, y: (y, x), {"x": "x and y are swapped"}),
    "in centimetres": (lambda _, x, y: (x / 10, y / 10), {}),
}
"""How a sheet counts without a word about it, and what is answered by its columns."""


def answers_of(name: str) -> dict[str, str]:
    said = {f"direction/hole/{column}_mm/{column}": way for column, way in AS_WRITTEN[name][1].items()}
    return said or {"unit/hole/x_mm/x": "cm", "unit/hole/y_mm/y": "cm"}


def in_ledger(tmp_path: Path, proposal: Proposal) -> dict[str, list[tuple[int, int]]]:
    apply(tmp_path / "shop.db", proposal, ledger=None, by="Mara", now=NOW, shop="T", zone="UTC")
    with Ledger.open(tmp_path / "shop.db") as ledger:
        skis = read_fleet(ledger.connection).pairs["K-031"].skis
    return {side.value: sorted((h.x_um, h.y_um) for h in skis[side].holes) for side in Side}


MEANT_UM = {
    side: sorted((round(x * 1000), round(y * 1000)) for x, y in places) for side, places in MEANT.items()
}


@pytest.mark.parametrize("name", AS_WRITTEN)
def test_a_doubt_about_a_column_is_one_question_and_its_answer_puts_every_hole_where_it_is(
    name: str, tmp_path: Path
) -> None:
    path = book(tmp_path / "own.xlsx", AS_WRITTEN[name][0])
    asked = look_at(None, [path], today=TODAY)
    answers = answers_of(name)
    assert {q.id for q in asked.questions} == set(answers)
    assert {q.about for q in asked.questions} == {"direction" if AS_WRITTEN[name][1] else "unit"}
    assert {q.settles for q in asked.questions} == {16}
    said = look_at(None, [path], answers=answers, today=TODAY)
    assert said.outcome == "import", [q.text for q in said.questions]
    assert in_ledger(tmp_path, said) == MEANT_UM


@pytest.mark.parametrize("name", AS_WRITTEN)
def test_the_first_answer_that_is_offered_is_the_one_that_the_witnesses_speak_for(
    name: str, tmp_path: Path
) -> None:
    path = book(tmp_path / "own.xlsx", AS_WRITTEN[name][0])
    asked = look_at(None, [path], today=TODAY).questions
    said = look_at(None, [path], answers={q.id: q.guesses[0].answer for q in asked}, today=TODAY)
    assert in_ledger(tmp_path, said) == MEANT_UM


def test_without_an_answer_no_hole_of_it_is_in_the_ledger(tmp_path: Path) -> None:
    said = look_at(None, [book(tmp_path / "own.xlsx", AS_WRITTEN["mirrored along"][0])], today=TODAY)
    assert in_ledger(tmp_path, said) == {"A": [], "B": []}


def test_an_option_says_the_same(tmp_path: Path) -> None:
    path = book(tmp_path / "own.xlsx", AS_WRITTEN["from the tail"][0])
    said = look_at(None, [path], directions=["x=from the tail"], today=TODAY)
    assert said.outcome == "import"
    assert in_ledger(tmp_path, said) == MEANT_UM


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ("X1=from the tail", "no column of own.xlsx that counts in a direction is called 'X1'"),
        ("x=upwards", "'x=upwards' says no direction"),
        ("x", "'x' says no direction"),
        ("diameter_mm=from the tail", "no column of own.xlsx that counts in a direction is called"),
    ],
)
def test_an_option_that_does_not_apply_is_refused(option: str, words: str, tmp_path: Path) -> None:
    path = book(tmp_path / "own.xlsx", AS_WRITTEN["from the tail"][0])
    with pytest.raises(BadInput, match=words):
        look_at(None, [path], directions=[option], today=TODAY)


@pytest.mark.parametrize("answer", ["from the tip", "upwards", "12", "+ to the left", "cm"])
def test_an_answer_that_is_none_is_refused_where_it_is_given(answer: str, tmp_path: Path) -> None:
    """*From the tip* is none: no ski of the ledger says exactly how long it is."""
    path = book(tmp_path / "own.xlsx", AS_WRITTEN["from the tail"][0])
    found = look_at(None, [path], answers={"direction/hole/x_mm/x": answer}, today=TODAY)
    assert "is no answer" in next(f.message for f in found.findings if f.code == "no_answer")
    assert "direction/hole/x_mm/x" in {question.id for question in found.questions}


def test_the_marked_copy_asks_it_on_a_sheet_of_its_own_and_takes_the_answer(tmp_path: Path) -> None:
    path = book(tmp_path / "own.xlsx", AS_WRITTEN["mirrored both ways"][0])
    marked = tmp_path / "marked.xlsx"
    write_marked(look_at(None, [path], today=TODAY), marked)
    answered = load_workbook(marked)
    sheet = answered["Open questions"]
    rows = {sheet.cell(row, 5).value: row for row in range(3, sheet.max_row + 1)}
    assert set(rows) == {"direction/hole/x_mm/x", "direction/hole/y_mm/y"}
    sheet.cell(rows["direction/hole/x_mm/x"], 3).value = "from the mark, + to the tail"
    sheet.cell(rows["direction/hole/y_mm/y"], 3).value = "+ to the left"
    answered.save(marked)
    said = look_at(None, [marked], today=TODAY)
    assert said.outcome == "import", [q.text for q in said.questions]
    assert in_ledger(tmp_path, said) == MEANT_UM


def test_a_wrong_answer_in_the_marked_copy_is_said_where_it_stands(tmp_path: Path) -> None:
    path = book(tmp_path / "own.xlsx", AS_WRITTEN["mirrored along"][0])
    marked = tmp_path / "marked.xlsx"
    write_marked(look_at(None, [path], today=TODAY), marked)
    answered = load_workbook(marked)
    answered["Open questions"].cell(3, 3).value = "upwards"
    answered.save(marked)
    said = look_at(None, [marked], today=TODAY)
    [fault] = [f for f in said.findings if f.severity == "bad"]
    assert (fault.sheet, fault.row, fault.column, fault.raw) == ("Open questions", 3, "C", "upwards")
    assert in_ledger(tmp_path, said) == {"A": [], "B": []}


def test_the_answer_is_remembered_and_the_next_file_asks_nothing(tmp_path: Path) -> None:
    path = book(tmp_path / "own.xlsx", AS_WRITTEN["from the tail"][0])
    first = look_at(None, [path], answers=answers_of("from the tail"), today=TODAY)
    in_ledger(tmp_path, first)
    with Ledger.open(tmp_path / "shop.db") as ledger:
        assert [(line.question, line.answer) for line in profile(ledger)] == [
            ("direction/hole/x_mm/x", "from the tail")
        ]
        again = look_at(ledger, [path], today=TODAY)
    assert again.questions == ()
    assert again.entries == ()


def test_the_command_takes_the_option_and_repeats_it_in_the_command_to_apply(tmp_path: Path) -> None:
    path = book(tmp_path / "own.xlsx", AS_WRITTEN["from the tail"][0])
    said = CliRunner().invoke(
        app, ["--ledger", str(tmp_path / "shop.db"), "import", str(path), "--direction", "x=from the tail"]
    )
    assert said.exit_code == 0, said.output
    assert "--direction 'x=from the tail'" in said.stdout


def test_a_boot_centre_may_be_counted_the_other_way(tmp_path: Path) -> None:
    """Nothing on the sheet contradicts either way, so that nothing is asked; whoever knows says it."""
    path = write_book(
        tmp_path / "own.xlsx",
        clean_sheets(Skis=table_rows(Table.SKI, MOUNTED | {"mark_offset_mm": -5.5}), Holes=[]),
    )
    values: dict[str, Any] = {}
    for directions in ([], ["mark_offset_mm=+ to the tail"]):
        said = look_at(None, [path], directions=directions, today=TODAY).report()
        values[str(directions)] = next(r for r in said["rows"] if r["kind"] == "ski")["values"][
            "mark_offset_mm"
        ]
    assert list(values.values()) == [-5.5, 5.5]
