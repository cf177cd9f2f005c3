"""Titles between the rows of a list are a column of it, where every block has one that can be read so."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from planner.exchange.intake import look_at
from tests.imports.books import TODAY, Rows, write_book

HEAD = ["tag", "model", "kind", "length_cm"]


def looked(tmp_path: Path, rows: Rows, sheet: str = "Skis", **options: Any) -> dict[str, Any]:
    book = write_book(tmp_path / "own.xlsx", {sheet: rows})
    return look_at(None, [book], today=TODAY, **options).report()


def values(said: dict[str, Any], key: str) -> dict[str, Any]:
    return {row["tag"]: row["values"].get(key) for row in said["rows"]}


def blocks(titles: list[str], *, without: str, above: bool = False) -> list[list[Any]]:
    """Two blocks of skis under a title each; the list has no column ``without``."""
    keep = [n for n, key in enumerate(HEAD) if key != without]
    skis = [["K-1", "Larch 96", "telemark", 178], ["K-2", "Gneiss 88", "alpine", 170]]
    head, one, two = ([row[n] for n in keep] for row in (HEAD, *skis))
    return [[titles[0]], head, one, [titles[1]], two] if above else [head, [titles[0]], one, [titles[1]], two]


@pytest.mark.parametrize("above", [False, True])
@pytest.mark.parametrize(
    ("key", "titles", "meant"),
    [
        ("kind", ["Telemark", "ALPINE"], ["telemark", "alpine"]),
        ("kind", ["Telemark skis", "Tourenski"], ["telemark", "touring"]),
        ("length_cm", ["178 cm", "Länge 170 cm"], [178, 170]),
    ],
)
def test_titles_that_can_be_read_are_the_column_that_the_list_lacks(
    key: str, titles: list[str], meant: list[Any], above: bool, tmp_path: Path
) -> None:
    said = looked(tmp_path, blocks(titles, without=key, above=above))
    assert said["outcome"] == "import", said["questions"]
    assert values(said, key) == {"K-1": meant[0], "K-2": meant[1]}
    assert "section_titles" in {f["code"] for f in said["findings"]}


def test_a_rack_over_its_skis_is_their_rack(tmp_path: Path) -> None:
    said = looked(tmp_path, blocks(["Rack 4", "Rack 5"], without=""))
    assert values(said, "rack") == {"K-1": "Rack 4", "K-2": "Rack 5"}


def test_a_column_that_is_there_stands_above_a_title(tmp_path: Path) -> None:
    said = looked(tmp_path, blocks(["Alpine", "Telemark"], without=""))
    assert values(said, "kind") == {"K-1": "telemark", "K-2": "alpine"}


def test_titles_stay_a_column_where_another_column_is_read_anew(tmp_path: Path) -> None:
    """An answer about a direction, or values that tell what *ski* means, read all columns once more."""
    rows: Rows = [["tag", "model", "length_cm", "binding", "boot centre"]]
    rows += [["Telemark"], ["K-1", "Larch 96", 178, "Sennhof 75", -10]]
    rows += [["Alpine"], ["K-2", "Gneiss 88", 170, "Sennhof 75", -5]]
    said = looked(tmp_path, rows, directions=["boot centre=from the mark, + to the tail"])
    assert values(said, "kind") == {"K-1": "telemark", "K-2": "alpine"}
    assert values(said, "mark_offset_mm") == {"K-1": 10, "K-2": 5}
    rows = [["tag", "ski", "length_cm"]]
    rows += [["Telemark"], ["K-1", "Larch 96", 178], ["Alpine"], ["K-2", "Gneiss 88", 170]]
    said = looked(tmp_path, rows)
    assert values(said, "kind") == {"K-1": "telemark", "K-2": "alpine"}
    assert values(said, "model") == {"K-1": "Larch 96", "K-2": "Gneiss 88"}


def test_a_column_of_titles_makes_no_row_of_a_csv_longer_than_its_header(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text("tag,model,length_cm\nTelemark\nK-1,Larch 96,178\nAlpine\nK-2,Gneiss 88,170\n")
    said = look_at(None, [path], today=TODAY).report()
    assert values(said, "kind") == {"K-1": "telemark", "K-2": "alpine"}
    assert not {"ragged_row", "column_without_header"} & {f["code"] for f in said["findings"]}
    assert said["outcome"] == "import", said["questions"]


def test_a_title_stands_above_the_name_of_the_sheet(tmp_path: Path) -> None:
    said = looked(tmp_path, blocks(["Telemark", "Alpine"], without="kind"), sheet="Telemark skis")
    assert values(said, "kind") == {"K-1": "telemark", "K-2": "alpine"}


def test_titles_that_nobody_can_read_are_one_question_and_its_answer_is_the_column(tmp_path: Path) -> None:
    rows = blocks(["Larch 96", "Gneiss 88"], without="model")
    asked = looked(tmp_path, rows)["questions"]
    [question] = [q for q in asked if q["id"] == "column/ski/section%20titles"]
    assert question["proposals"][0]["answer"] == "model"
    said = looked(tmp_path, rows, answers={question["id"]: "model"})
    assert said["outcome"] == "import", said["questions"]
    assert values(said, "model") == {"K-1": "Larch 96", "K-2": "Gneiss 88"}
    said = looked(tmp_path, rows, columns=["section titles=model"])
    assert values(said, "model") == {"K-1": "Larch 96", "K-2": "Gneiss 88"}


def test_one_block_without_a_title_that_can_be_read_takes_none(tmp_path: Path) -> None:
    """The first block has no title: what it is would be a guess."""
    rows = blocks(["Telemark", "Alpine"], without="kind")
    said = looked(tmp_path, [rows[0], rows[2], rows[3], rows[4]])
    assert values(said, "kind") == {"K-1": None, "K-2": None}
    assert said["outcome"] == "questions"


@pytest.mark.parametrize("titles", [["170-180 cm", "160-170 cm"], ["178 cm", "170/178 cm"]])
def test_a_range_is_no_length(titles: list[str], tmp_path: Path) -> None:
    said = looked(tmp_path, blocks(titles, without="length_cm"))
    assert values(said, "length_cm") == {"K-1": None, "K-2": None}


@pytest.mark.parametrize(("above", "kind"), [(1, "telemark"), (2, "telemark"), (3, None)])
def test_a_title_far_above_the_header_is_that_of_the_sheet(
    above: int, kind: str | None, tmp_path: Path
) -> None:
    first, *rows = blocks(["Telemark", "Alpine"], without="kind", above=True)
    said = looked(tmp_path, [first, *[[None]] * (above - 1), *rows])
    assert values(said, "kind")["K-1"] == kind


def test_a_title_that_says_sold_is_asked_about_and_is_no_value(tmp_path: Path) -> None:
    said = looked(tmp_path, blocks(["Telemark", "Verkauft"], without="kind"))
    assert values(said, "kind") == {"K-1": None, "K-2": None}
    assert "says_gone" in {f["code"] for f in said["findings"]}


def test_a_title_of_one_of_two_tables_side_by_side_is_heard_for_its_own_rows(tmp_path: Path) -> None:
    """The title's row holds a ski of the other table, so that it is no lone text of the sheet."""
    gap = [None]
    left = [["K-5", "Gneiss 88", "alpine", 170], ["Verkauft"], ["K-2", "Gneiss 88", "alpine", 170]]
    right = [[f"K-{n}", "Larch 96", "telemark", 178] for n in (6, 7, 8)]
    rows = [HEAD + gap + HEAD] + [
        one + [None] * (4 - len(one)) + gap + two for one, two in zip(left, right, strict=True)
    ]
    said = looked(tmp_path, rows)
    assert {f["tag"] for f in said["findings"] if f["code"] == "says_gone"} == {"K-2"}


def test_the_title_of_the_whole_sheet_is_no_value(tmp_path: Path) -> None:
    """A lone text above the header alone titles no block."""
    rows = blocks(["Telemark", "x"], without="kind", above=True)
    said = looked(tmp_path, [rows[0], rows[1], rows[2], rows[4]])
    assert values(said, "kind") == {"K-1": None, "K-2": None}
