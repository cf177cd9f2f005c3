"""The whole head in a code on every sheet: read from the picture of the page, it is what the audit takes."""

from __future__ import annotations

import pymupdf
import pytest
import zxingcpp
from PIL import Image

from fleet.audit.anchor import parse_head
from fleet.base.entries import Head
from tests.paper.test_looks_fit import BARE, FRAMED, pages


def head_codes(kind: str, paper: str) -> list[tuple[int, list[Head]]]:
    """The heads in the codes of each page, drawn at 150 dots an inch as an office scanner does."""
    found = []
    for page in pages(kind, paper):
        drawn = page.get_pixmap(dpi=150, colorspace=pymupdf.csGRAY)
        picture = Image.frombytes("L", (drawn.width, drawn.height), drawn.samples)
        texts = [code.text for code in zxingcpp.read_barcodes(picture)]
        found.append((page.number, [parse_head(text) for text in texts if text.startswith("HEAD ")]))
    return found


@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.long)])
@pytest.mark.parametrize("kind", FRAMED)
def test_the_code_of_every_page_holds_the_whole_head(kind: str, paper: str) -> None:
    for number, heads in head_codes(kind, paper):
        assert len(heads) == 1, f"page {number + 1}"
        assert len(heads[0].hash) == 64
        assert str(heads[0]) in pages(kind, paper)[number].get_text().replace("\n", "")


@pytest.mark.parametrize("kind", BARE)
def test_what_hangs_or_sticks_on_a_ski_has_no_room_for_it(kind: str) -> None:
    assert all(heads == [] for _, heads in head_codes(kind, "A4"))


def test_a_scanned_line_is_read_as_it_is_pasted() -> None:
    digest = "a3f920c1" * 8
    assert parse_head(f" HEAD 1284:{digest.upper()}\n") == Head(1284, digest)
    assert parse_head("1284:a3f920c1") == Head(1284, "a3f920c1")
