"""The whole head in a code on every sheet: read from the picture of the page, it is what the audit takes."""

from __future__ import annotations

from pathlib import Path

import pymupdf
import pytest
import zxingcpp
from PIL import Image

from fleet.audit.heads import parse_head
from fleet.base.entries import Head
from planner.paper.labels import DOT_MM, Label, labels_pdf, roll_layout, sheet_layout
from planner.paper.sheet_frame import code_of, head_code, heads_of_sheets
from tests.paper.test_labels_and_codes import SHEET
from tests.paper.test_looks_fit import BARE, FRAMED, MM, inks, pages, sheet

HEAD = f"1284:{'a3f920c1' * 8}"


def head_codes(kind: str, paper: str) -> list[tuple[int, list[Head]]]:
    """The heads in the codes of each page, drawn at 150 dots an inch as an office scanner does."""
    return [
        (page.number, [parse_head(text) for text in codes_of(page) if text.startswith("HEAD ")])
        for page in pages(kind, paper)
    ]


def codes_of(page: pymupdf.Page, *, dpi: int = 150) -> list[str]:
    drawn = page.get_pixmap(dpi=dpi, colorspace=pymupdf.csGRAY)
    picture = Image.frombytes("L", (drawn.width, drawn.height), drawn.samples)
    return [code.text for code in zxingcpp.read_barcodes(picture)]


@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.long)])
@pytest.mark.parametrize("kind", [*FRAMED, *BARE])
def test_the_code_of_every_page_holds_the_whole_head(kind: str, paper: str) -> None:
    for number, heads in head_codes(kind, paper):
        assert len(heads) == 1, f"page {number + 1}"
        assert len(heads[0].hash) == 64
        assert str(heads[0]) in pages(kind, paper)[number].get_text().replace("\n", "")


def test_a_label_itself_has_no_room_for_it() -> None:
    """What the tag, its check character and its code leave of a label is lower than the code of a head."""
    layout = roll_layout(w=70, h=37)
    data = labels_pdf([Label(tag="K-031", line="Marrow 76")], layout, head=HEAD)
    [page] = pymupdf.open(stream=data)
    below = page.rect.height - max(ink.box.y1 for ink in inks(page) if "check" in ink.text)
    modules = code_of(head_code(HEAD))[0]
    assert modules == 33
    assert below / MM < (modules + 2 * 4) * 3 * DOT_MM  # quiet zone of four modules, three dots a module
    assert not [text for text in codes_of(page) if text.startswith("HEAD ")]


@pytest.mark.parametrize(("top", "there"), [(15.1, True), (15.3, False)])
def test_a_sheet_of_labels_bears_it_where_its_margin_holds_a_code_that_can_be_read(
    top: float, *, there: bool
) -> None:
    """Seven rows of 38.1 mm leave 15.2 mm below the last, or 15.0 mm. 33 modules of 0.3 mm, their quiet zone,
    and 4 mm that the printer leaves blank make 15.1 mm.
    """
    layout = sheet_layout("A4", **SHEET | {"top": top})
    [page] = pymupdf.open(stream=labels_pdf([Label(tag="K-031", line="")], layout, head=HEAD))
    assert (f"HEAD {HEAD.upper()}" in codes_of(page, dpi=300)) is there


def test_all_sheets_are_read_in_bulk_labels_of_a_roll_too(tmp_path: Path) -> None:
    for kind in (*FRAMED, *BARE):
        (tmp_path / f"{kind}.pdf").write_bytes(sheet(kind, "A4"))
    roll = labels_pdf([Label(tag="K-031", line="")], roll_layout(w=70, h=37), head=HEAD)
    (tmp_path / "roll.pdf").write_bytes(roll)
    found = list(heads_of_sheets(tmp_path))
    assert {Path(kept.place).stem for kept in found} == {*FRAMED, *BARE, "roll"}
    assert all(len(kept.head.hash) == 64 and not kept.fault for kept in found)


def test_a_scanned_line_is_read_as_it_is_pasted() -> None:
    digest = "a3f920c1" * 8
    assert parse_head(f" HEAD 1284:{digest.upper()}\n") == Head(1284, digest)
    assert parse_head("1284:a3f920c1") == Head(1284, "a3f920c1")
