"""Headers with what they say of units and directions, and places of holes judged as a column."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from imports.header_match import read_header
from imports.headers import Table
from tests.imports.books import BOOT, HOLE, MOUNTED, SKI, clean_sheets, report, table_rows, write_book


@pytest.mark.parametrize(
    ("table", "text", "key", "unit", "turned", "from_tail"),
    [
        (Table.HOLE, "x from mark (mm, + to tip)", "x_mm", "mm", False, False),
        (Table.HOLE, "x (cm, + to tail)", "x_mm", "cm", True, False),
        (Table.HOLE, "y (mm, + left)", "y_mm", "mm", True, False),
        (Table.HOLE, "y (mm, + right, looking at the tail)", "y_mm", "mm", True, False),
        (Table.HOLE, "y (+ left, looking at the tail)", "y_mm", "", False, False),
        (Table.HOLE, "x from tail (mm)", "x_mm", "mm", False, True),
        (Table.HOLE, "x ab Marke (mm, + zur Spitze)", "x_mm", "mm", False, False),
        (Table.SKI, "mm behind mark", "mark_offset_mm", "mm", True, False),
        (Table.SKI, "Mark from tail (cm)", "mark_from_tail_mm", "cm", False, False),
        (Table.SKI, "Ski (A or B)", "ski", "", False, False),
        (Table.SKI, "D\u0142ugo\u015b\u0107 (cm)", "length_cm", "cm", False, False),
        (Table.SKI, "\u30bd\u30fc\u30eb\u9577 (mm)", "bsl_mm", "mm", False, False),
    ],
)
def test_a_header_is_read_as_what_it_says(
    table: Table, text: str, key: str, unit: str, turned: bool, from_tail: bool
) -> None:
    found = read_header(text, table)
    assert found is not None
    assert (found.key, found.unit, found.turned, found.from_tail) == (key, unit, turned, from_tail)


def holes(tmp_path: Path, head: dict[str, str], *rows: dict[str, Any], **sheets: Any) -> dict[str, Any]:
    grid = table_rows(Table.HOLE, *rows)
    grid[0] = [head.get(key, key) for key in grid[0]]
    skis = table_rows(Table.SKI, MOUNTED)
    return report(write_book(tmp_path / "own.xlsx", clean_sheets(Skis=skis, Holes=grid) | sheets))


TOE_AND_HEEL = [
    *((142.5, 18), (142.5, -18), (107.5, 20), (107.5, -20)),
    *((-137.5, 18), (-137.5, -18), (-97.5, 18), (-97.5, -18)),
]
"""The pattern of the tests, mounted for 305 mm at the mark: toe end 152.5 mm ahead, heel end behind."""


def listed(turn_x: int = 1, turn_y: int = 1, factor: float = 1, add: float = 0) -> list[dict[str, Any]]:
    return [
        HOLE | {"ski": side, "x_mm": x * turn_x * factor + add, "y_mm": y * turn_y * factor}
        for side in "AB"
        for x, y in TOE_AND_HEEL
    ]


def asked(said: dict[str, Any]) -> set[str]:
    return {f["code"] for f in said["findings"] if f["severity"] == "question" and f["sheet"] == "Holes"}


def test_places_as_they_should_be_raise_no_doubt(tmp_path: Path) -> None:
    assert asked(holes(tmp_path, {}, *listed())) == set()


def test_places_turned_along_the_ski_are_a_doubt_for_the_whole_column(tmp_path: Path) -> None:
    said = holes(tmp_path, {}, *listed(turn_x=-1))
    assert asked(said) == {"places_mirrored"}
    assert len([f for f in said["findings"] if f["code"] == "places_mirrored"]) == 16


def test_a_header_that_turns_them_is_believed(tmp_path: Path) -> None:
    said = holes(tmp_path, {"x_mm": "x (mm, + to tail)"}, *listed(turn_x=-1))
    assert asked(said) == set()
    assert [r["values"]["x_mm"] for r in said["rows"] if r["kind"] == "hole"][:3] == [142.5, 142.5, 107.5]


def test_places_from_the_tail_become_places_from_the_mark(tmp_path: Path) -> None:
    """The mark of the pair stands 812 mm from the tail."""
    said = holes(tmp_path, {"x_mm": "x from tail (mm)"}, *listed(add=812))
    assert asked(said) == set()
    assert [r["values"]["x_mm"] for r in said["rows"] if r["kind"] == "hole"][:3] == [142.5, 142.5, 107.5]


def test_places_in_centimetres_that_nothing_says_are_a_doubt(tmp_path: Path) -> None:
    assert asked(holes(tmp_path, {}, *listed(factor=0.1))) == {"places_in_cm"}


def test_a_dragged_series_of_soles_is_asked_from_five_rows_on(tmp_path: Path) -> None:
    for many, rows in ((4, 0), (5, 5)):
        boots = [BOOT | {"tag": f"B-{n}", "bsl_mm": 310 + n} for n in range(many)]
        sheets = clean_sheets(Skis=table_rows(Table.SKI, SKI), Boots=table_rows(Table.BOOT, *boots))
        said = report(write_book(tmp_path / "own.xlsx", sheets))
        assert len([f for f in said["findings"] if f["code"] == "dragged_series"]) == rows


@pytest.mark.parametrize(("tag", "doubt"), [("K-035/036", True), ("26/031", False), ("R4/12", False)])
def test_a_second_tag_may_be_written_short(tmp_path: Path, tag: str, doubt: bool) -> None:
    skis = table_rows(Table.SKI, SKI | {"tag": tag})
    said = report(write_book(tmp_path / "own.xlsx", {"Skis": skis}))
    assert ("several_tags" in {f["code"] for f in said["findings"]}) is doubt
