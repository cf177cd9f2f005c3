"""The marked copy: the same values, the doubtful cells coloured, answers read back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from imports.headers import Table
from imports.marked_copy import write_marked_copy
from imports.sheet_prepared import ANSWER, REASON
from tests.imports.books import BOOT, SKI, look, report, table_rows, write_book
from tests.imports.corpus.cases import CASES

_UNSURE = BOOT | {"bsl_mm": 275}


def marked(source: Path, tmp_path: Path) -> Path:
    path = tmp_path / "marked.xlsx"
    write_marked_copy(look(source), path)
    return path


def with_answer(path: Path, sheet: str, row: int, answer: str) -> Path:
    """Type an answer as a person would, with another program."""
    book = load_workbook(path)
    page = book[sheet]
    column = next(c.column for line in page.iter_rows() for c in line if c.value == ANSWER)
    page.cell(row=row, column=column).value = answer
    book.save(path)
    return path


def test_the_copy_colours_the_cell_and_says_why_beside_it(tmp_path: Path) -> None:
    source = write_book(
        tmp_path / "x.xlsx", {"Boots": table_rows(Table.BOOT, BOOT | {"tag": "B-1"}, _UNSURE)}
    )
    page = load_workbook(marked(source, tmp_path))["Boots"]
    header = {cell.value: cell.column for cell in page[1]}
    assert "[bsl_is_shell_size]" in page.cell(row=3, column=header[REASON]).value
    assert page.cell(row=3, column=header["bsl_mm"]).fill.fgColor.rgb == "FFFFD27F"
    assert page.cell(row=2, column=header[REASON]).value is None
    assert page.cell(row=2, column=header["bsl_mm"]).fill.fgColor.rgb == "00000000"


ANSWERS = [
    ("307", "note", 307, False),
    ("bsl_mm=307", "note", 307, False),
    ("ok", "note", 275, False),
    ("leave out", "question", 275, True),
    ("who knows", "question", None, False),
    ("", "question", 275, False),
]


@pytest.mark.parametrize(
    ("answer", "verdict", "bsl", "left_out"), ANSWERS, ids=[a[0] or "nothing" for a in ANSWERS]
)
def test_an_answer_is_read_back(tmp_path: Path, answer: str, verdict: str, bsl: Any, left_out: bool) -> None:
    source = write_book(tmp_path / "x.xlsx", {"Boots": table_rows(Table.BOOT, _UNSURE)})
    said = report(with_answer(marked(source, tmp_path), "Boots", 2, answer))
    (row,) = said["rows"]
    assert (row["verdict"], row["values"]["bsl_mm"], row["left_out"]) == (verdict, bsl, left_out)


def test_ok_does_not_make_nonsense_right(tmp_path: Path) -> None:
    source = write_book(tmp_path / "x.xlsx", {"Skis": table_rows(Table.SKI, SKI | {"length_cm": -178})})
    said = report(with_answer(marked(source, tmp_path), "Skis", 2, "ok"))
    assert said["rows"][0]["verdict"] == "bad"


def test_a_hidden_row_is_shown_in_the_copy_and_still_asked_until_answered(
    tmp_path: Path, corpus_file: Callable[[str], Path]
) -> None:
    copy = marked(corpus_file("shape_hidden_row.xlsx"), tmp_path)
    assert not load_workbook(copy)["Skis"].row_dimensions[3].hidden
    assert [r["verdict"] for r in report(copy)["rows"]] == ["good", "question"]
    assert [r["verdict"] for r in report(with_answer(copy, "Skis", 3, "ok"))["rows"]] == ["good", "note"]


_QUESTIONED = [name for name in CASES if name.startswith(("shape_", "value_", "contra_", "csv_"))]


@pytest.mark.parametrize("name", _QUESTIONED)
def test_a_copy_without_answers_asks_no_less_than_the_file_did(
    tmp_path: Path, corpus_file: Callable[[str], Path], name: str
) -> None:
    """Nothing doubtful becomes certain by being copied: every row keeps its verdict or a worse one."""
    before = report(corpus_file(name))
    if not before["rows"]:
        return
    after = report(marked(corpus_file(name), tmp_path))
    rank = ["good", "note", "question", "bad"]
    old = {(r["kind"], r["row"]): r for r in before["rows"]}
    new = {(r["kind"], r["row"]): r for r in after["rows"]}
    assert set(new) == set(old)
    for place, row in old.items():
        if rank.index(row["verdict"]) >= 2:
            assert rank.index(new[place]["verdict"]) >= 2, (place, row["verdict"], new[place]["verdict"])
        else:
            assert rank.index(new[place]["verdict"]) < 2, (place, after["findings"])
            assert new[place]["tag"] == row["tag"]


def test_answers_beside_two_tables_of_one_row_keep_to_their_own(tmp_path: Path) -> None:
    """The skis' answer falls on no boot, and the boots' on no ski, though they stand in one row."""
    skis = table_rows(Table.SKI, SKI | {"length_cm": "long"})
    boots = table_rows(Table.BOOT, _UNSURE)
    beside = [[*left, None, *right] for left, right in zip(skis, boots, strict=True)]
    copy = marked(write_book(tmp_path / "x.xlsx", {"Stock": beside}), tmp_path)
    book = load_workbook(copy)
    places = [cell.column for cell in book["Stock"][1] if cell.value == ANSWER]
    for column, answer in zip(places, ["170", "307"], strict=True):
        book["Stock"].cell(row=2, column=column).value = answer
    book.save(copy)
    rows = {row["kind"]: row for row in report(copy)["rows"]}
    assert (rows["ski"]["values"]["length_cm"], rows["boot"]["values"]["bsl_mm"]) == (170, 307)
    assert {row["verdict"] for row in rows.values()} == {"note"}
