"""Sheets as shops keep them, and the tables that are found in each, with all that is said about it.

`sheets_read.txt` holds the cases: the name, what is given beside the sheet (after ``?``), the sheet with
its cells parted by ``|``, and below ``=>`` what is read: a line for each table (the rows of its header, its
columns by letter, its data rows), then one for each remark, its question and the answers that are proposed in
brackets. ``SHAPE`` stands for the short name of a header.
"""

from __future__ import annotations

from ast import literal_eval
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from imports.answers import Answers, GivenAnswer, shape
from imports.cells import Cell, Content, Sheet, column_letter
from imports.rows import FAR_RIGHT, FoundTable, SheetReading
from imports.tables import read_sheet

CASES = dict(
    block.split("\n", 1)
    for block in Path(__file__).with_name("sheets_read.txt").read_text(encoding="utf-8").split("## ")[1:]
)


def sheet(text: str, name: str, **more: Any) -> Sheet:
    rows: dict[int, dict[int, Cell]] = {}
    for number, line in enumerate(text.strip("\n").splitlines(), start=1):
        cells = {n: a_cell(part.strip()) for n, part in enumerate(line.split("|"), start=1) if part.strip()}
        if cells:
            rows[number] = cells
    return Sheet(name=name, rows=rows, **more)


def a_cell(text: str) -> Cell:
    """A number as a spreadsheet has it; ``^`` before a text that was filled in from a merged cell above."""
    if text.replace(".", "", 1).isdigit():
        return Cell(text, Content.NUMBER)
    return Cell(text.removeprefix("^"), merged=text.startswith("^"))


def read(text: str, name: str = "Sheet1", **options: Any) -> SheetReading:
    of_sheet = {key: options.pop(key) for key in ("hidden_columns",) if key in options}
    found = sheet(text, name, **of_sheet)
    header = options.pop("header", 1)
    short = shape([cell.text for cell in found.rows[header].values()]) if header in found.rows else ""
    given = {
        identity.replace("SHAPE", short): GivenAnswer(answer)
        for identity, answer in options.pop("answers", {}).items()
    }
    return read_sheet(found, options.pop("chosen", None), answers=Answers(given), **options)


def in_words(reading: SheetReading) -> Iterator[str]:
    for table in reading.tables:
        yield "; ".join(table_in_words(table))
    if reading.skipped_rows:
        yield f"skipped {' '.join(map(str, reading.skipped_rows))}"
    for number, text in sorted(reading.titles.items()):
        yield f"title {number} {text}"
    rows = [[cell.text for cell in cells.values()] for cells in reading.sheet.rows.values()]
    shapes = {shape(texts) for texts in rows} | {table.shape for table in reading.tables}
    for f in reading.findings:
        where = "" if f.row is None else f" {f.row}{f.column or ''}"
        question = f.question
        for short in shapes:
            question = question.replace(short, "SHAPE")
        proposed = f": {' / '.join(f.guesses)}" if f.guesses else ""
        asks = f" [{question}{proposed}]" if f.question or proposed else ""
        yield f"{f.severity.value} {f.code}{where}: {f.message}{asks}"


def table_in_words(table: FoundTable) -> Iterator[str]:
    rows = {table.header_first, table.header_row}
    head = "-".join(map(str, sorted(rows)))
    columns = (
        f"{c.key} {column_letter(c.number)}{f' {c.unit}' if c.unit else ''}{' turned' if c.turned else ''}"
        for c in table.columns
    )
    yield f"{table.table.value} {head}: {', '.join(columns)}"
    assert [n for n, _ in table.rows] == [n for n, _ in table.raw]
    for (_, by_key), (_, cells) in zip(table.rows, table.raw, strict=True):
        own = {c.key: c.number for c in table.columns if c.number in cells}
        assert {key: number for key, (number, _) in by_key.items()} == own
    yield f"rows {' '.join(str(n) for n, _ in table.rows)}".rstrip()
    if table.missing:
        yield f"missing {' '.join(table.missing)}"
    yield from (f"{key} = {value}" for key, value in table.context.items())
    yield from (f"holes' {key} = {value}" for key, value in table.of_holes.items())
    if table.left > 1:
        yield f"from {column_letter(table.left)}"
    if table.right < FAR_RIGHT:
        yield f"to {column_letter(table.right)}"
    if table.ragged:
        yield f"longer {' '.join(map(str, sorted(table.ragged)))}"
    yield from (f"title {number} {text}" for number, text in table.titles.items())


@pytest.mark.parametrize("name", CASES)
def test_a_sheet_is_read_as_a_person_would_read_it(name: str) -> None:
    text, _, expected = CASES[name].partition("=>\n")
    given, _, below = text.partition("\n")
    options = literal_eval(given.removeprefix("? ")) if given.startswith("? ") else {}
    found = read(below if options else text, **options)
    assert list(in_words(found)) == expected.strip("\n").splitlines()


def test_a_hole_on_either_side_is_two_rows_with_its_distance_and_the_same_turned() -> None:
    rows = ("pair | ski | x | y", "K-1 | A | 105 | ±18", "K-1 | A | 70 | 17", "K-1 | B | 71 | ± 19")
    [table] = read("\n".join(rows)).tables
    assert [(n, cells["x_mm"][1].text, cells["y_mm"][1].text) for n, cells in table.rows] == [
        (2, "105", "18"),
        (2, "105", "-18"),
        (3, "70", "17"),
        (4, "71", "19"),
        (4, "71", "-19"),
    ]


def test_a_column_that_an_answer_names_is_one_of_the_table_that_was_asked_about() -> None:
    """Two lists of skis side by side with the same headers; the tag of the right one has another name."""
    half = "Zettel | model | kind | length_cm"
    sides = ("K-1 | Larch 96 | telemark | 178", "K-2 | Gneiss 88 | alpine | 170")
    text = "\n".join((f"{half} | | | {half}", f"{sides[0]} | | | {sides[1]}"))
    left, right = (f.question for f in read(text).findings if f.code == "missing_column")
    for answered, tags in (
        ((), (None, None)),
        ((right,), (None, 7)),
        ((left,), (1, None)),
        ((left, right), (1, 7)),
    ):
        found = read(text, answers=dict.fromkeys(answered, "Zettel"))
        numbers = (next((c.number for c in t.columns if c.key == "tag"), None) for t in found.tables)
        assert tuple(numbers) == tags


@pytest.mark.parametrize(("columns", "said"), [(200, False), (201, True)])
def test_a_header_of_more_columns_than_the_limit_is_read_up_to_it(columns: int, said: bool) -> None:
    header = " | ".join(["tag", "model", "kind", *["rack"] * (columns - 4), "length_cm"])
    reading = read(f"{header}\nK-1 | Larch | alpine")
    [table] = reading.tables
    assert max(table.headers) == 200
    assert ("length_cm" in {c.key for c in table.columns}) != said
    first, *_ = in_words(SheetReading(sheet=reading.sheet, findings=reading.findings))
    assert (first == "bad too_many_columns 1: the header has 201 columns; the limit is 200") == said
