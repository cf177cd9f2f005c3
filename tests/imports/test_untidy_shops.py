"""Sheets as untidy shops keep them: what is out of use is heard wherever it stands, and no table is lost."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import PatternFill

from imports.words import says_gone
from tests.imports.books import Rows, write_book
from tests.odd_data.front_door import FrontDoor

HEAD = ("Nr", "Model", "Kind", "Length cm")
PAIR = ("K-031", "Larch 96", "alpine", 170)
OTHER = ("K-032", "Larch 96", "alpine", 177)
LEGEND = ("Legende:", "grün = ok", "rot = verkauft", "gelb = Werkstatt", "durchgestrichen = weg")


def dry(folder: Path, *more: str) -> Any:
    return FrontDoor(folder)("import", "own.xlsx", *more, "--json").json


@pytest.mark.parametrize(("fill", "asked"), [("FFFF7070", True), ("FFFFF2A0", True), ("FFC6E0B4", False)])
def test_a_legend_in_one_row_says_what_the_colours_mean(tmp_path: Path, fill: str, asked: bool) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for line in (LEGEND, HEAD, PAIR, OTHER):
        sheet.append(line)
    sheet.title = "Skis"
    sheet["B1"].fill = PatternFill("solid", fgColor="FFC6E0B4")
    sheet["C1"].fill = PatternFill("solid", fgColor="FFFF7070")
    for cell in sheet[3]:
        cell.fill = PatternFill("solid", fgColor=fill)
    book.save(tmp_path / "own.xlsx")
    gone = [f["tag"] for f in dry(tmp_path)["findings"] if f["code"] == "says_gone"]
    assert gone == (["K-031"] if asked else [])


def test_a_fault_under_a_header_that_nobody_knows_keeps_its_pair_out_of_plans(tmp_path: Path) -> None:
    rows: Rows = ((*HEAD, "Befinden"), (*PAIR, "toe loose!!"), (*OTHER, "fine"))
    write_book(tmp_path / "own.xlsx", {"Skis": rows})
    alarms = [f["message"] for f in dry(tmp_path)["findings"] if f["code"] == "alarm_word"]
    assert alarms == ["K-031: 'Befinden: toe loose!!' - hold? It is in no plan until that is answered"]


def test_a_fault_in_a_comment_does_so_too(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for line in (HEAD, PAIR, OTHER):
        sheet.append(line)
    sheet["B2"].comment = Comment("Kante hinten ausgebrochen", "Gerlinde")
    book.save(tmp_path / "own.xlsx")
    assert [f["tag"] for f in dry(tmp_path)["findings"] if f["code"] == "alarm_word"] == ["K-031"]


def test_a_sheet_whose_header_nobody_knows_is_read_by_one_answer(tmp_path: Path) -> None:
    """The words are of no language: only the name of the sheet and its values tell."""
    rows: Rows = (
        ("Qab", "Zorf", "Plim", "Vust"),
        *((f"V{n}", "Sarrio", 24.5 + n, 285 + 10 * n) for n in range(4)),
    )
    write_book(tmp_path / "own.xlsx", {"Boots": rows, "Skis": (HEAD, PAIR)})
    (question,) = (q for q in dry(tmp_path)["questions"] if q["id"].startswith("table/"))
    assert question["id"] == "table/boots/-"
    assert question["proposals"][0]["answer"] == "boot", "what the sheet is called comes first"
    (tmp_path / "a.txt").write_text("table/boots/- boot\n")
    asked = {
        q["id"]: [p["answer"] for p in q["proposals"]]
        for q in dry(tmp_path, "--answers", "a.txt")["questions"]
    }
    assert asked["column/boot/qab"][0] == "tag"
    assert "mondopoint" in asked["column/boot/plim"]
    assert "bsl_mm" in asked["column/boot/vust"]
    (tmp_path / "a.txt").write_text(
        "table/boots/- boot\ncolumn/boot/qab tag\ncolumn/boot/zorf model\ncolumn/boot/plim mondopoint\n"
        "column/boot/vust bsl_mm\n"
    )
    boots = [row for row in dry(tmp_path, "--answers", "a.txt")["rows"] if row["kind"] == "boot"]
    assert [(b["tag"], b["values"]["mondopoint"], b["values"]["bsl_mm"]) for b in boots] == [
        ("V0", 24.5, 285), ("V1", 25.5, 295), ("V2", 26.5, 305), ("V3", 27.5, 315),
    ]  # fmt: skip


def test_an_item_column_that_says_ski_makes_a_list_of_skis_and_is_no_kind(tmp_path: Path) -> None:
    rows: Rows = (("Item", "No.", "Model", "Size", "Condition"), ("ski", "R11", "Corrie", 170, "ok"),
                  ("ski", "R12", "Corrie", 177, "ok"))  # fmt: skip
    write_book(tmp_path / "own.xlsx", {"Stock": rows})
    said = dry(tmp_path)
    assert [(row["kind"], row["values"]["length_cm"]) for row in said["rows"]] == [("ski", 170), ("ski", 177)]
    assert [q["id"].split("/")[:3] for q in said["questions"]] == [["all", "ski", "kind"]]


@pytest.mark.parametrize(
    "head", [("Tag", "Model", "Kind", "Taille", "Länge"), ("Tag", "Model", "Kind", "Länge", "Taille")]
)
def test_a_plain_word_stands_above_one_of_several_meanings_in_any_order(
    tmp_path: Path, head: tuple[str, ...]
) -> None:
    """*Taille* is a length in one language and the waist in another; a waist of 90 is a likely length too."""
    values = {"Tag": "K-031", "Model": "Larch 90", "Kind": "alpine", "Taille": 90, "Länge": 170}
    rows = (head, tuple(values[word] for word in head))
    write_book(tmp_path / "own.xlsx", {"Skis": rows})
    (row,) = dry(tmp_path)["rows"]
    assert (row["values"]["length_cm"], row["values"]["waist_mm"]) == (170, 90)


@pytest.mark.parametrize("said", ["w naprawie", "ødelagt", "en el taller", "in der Werkstatt"])
def test_out_of_use_is_heard_in_the_words_of_shops(said: str) -> None:
    assert says_gone(said)
