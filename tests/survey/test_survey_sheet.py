"""The survey sheet: what it tells to type is read, nothing leaves the paper, and it knows its ski."""

from __future__ import annotations

from itertools import pairwise

import pytest

from fleet.base.errors import BadInput
from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import InspectedArea, Pair, Ski
from fleet.facts.standing import Place
from planner.geometry.survey.readings import read_lines
from planner.paper.shapes import WHITE, Anchor, Box, Page, Words, width_mm
from planner.paper.sheet_frame import MARGIN, Anchors, Paper, paper_named
from planner.paper.survey_sheet import LINES, survey_pages, survey_sheet_pdf

ANCHORS = Anchors(
    shop="Our shop",
    name="survey K-1",
    head="12:abcdef01",
    plan_hash="",
    printed_at="Sun 28 Dec 2025, 18:00",
    stale_after="Sun 4 Jan 2026",
)


def pair(holes: int) -> Pair:
    return Pair(
        tag="K-1",
        model="An invented ski with a name much longer than any head of a sheet has room for, in 2026",
        kind=Kind.ALPINE,
        length_mm=1700,
        waist_um=80_000,
        construction=None,
        rack="B-01",
        place=Place.FLAT,
        skis={
            s: Ski(
                side=s,
                mark_from_tail_um=733_500,
                zone_back_um=None,
                zone_front_um=None,
                zone_half_width_um=None,
                inspected=tuple(
                    InspectedArea(from_um=-250_500, to_um=100_000 * k, how="bare", on="2025-10-06")
                    for k in (1, 2)
                ),
                holes=tuple(
                    Hole(
                        hole_id=f"K-1/{s.value}{k}",
                        x_um=-101_500 + 20_000 * k,
                        y_um=-17_500,
                        diameter_um=3_600,
                        depth_um=None,
                        state=HoleState.SCREWED,
                        knowledge=Knowledge.BINDING_DROPS_IN,
                    )
                    for k in range(1, holes + 1)
                ),
            )
            for s in Side
        },
    )


def said(page: Page) -> list[str]:
    return [shape.text for shape in page.shapes if isinstance(shape, Words)]


def test_every_line_that_the_sheet_tells_to_type_is_read() -> None:
    typed = [line[:30] if line[30:31] == " " and "four" not in line else line for line in LINES]
    readings, faults = read_lines(line for line in typed if line.strip() and line[0] != " ")
    assert not faults
    assert [type(one).__name__ for one in readings] == [
        "MarkReading",
        "HoleReading",
        "HoleReading",
        "FourReading",
        "BareReading",
    ]


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("holes", [0, 8, 24, 30, 70])
def test_nothing_leaves_the_margins_or_reaches_into_the_foot(paper: Paper, holes: int) -> None:
    for page in survey_pages(pair(holes), anchors=ANCHORS, paper=paper):
        foot = min(s.y for s in page.shapes if isinstance(s, Words) and s.text.startswith("A hole that is"))
        for shape in page.shapes:
            if isinstance(shape, Box):
                assert shape.x >= MARGIN - 0.01
                assert shape.x + shape.w <= page.width - MARGIN + 0.01
                assert shape.y + shape.h <= foot - 2
            elif isinstance(shape, Words):
                wide = width_mm(shape.text, shape.face, shape.size)
                left = {Anchor.START: 0.0, Anchor.MIDDLE: wide / 2, Anchor.END: wide}[shape.anchor]
                assert shape.x - left >= MARGIN - 0.01, shape.text
                assert shape.x - left + wide <= page.width - MARGIN + 0.01, shape.text


def boxes_of(page: Page) -> list[Box]:
    """The empty boxes to write into: drawn with a pen's room and no other box or words in them."""
    return [
        s for s in page.shapes if isinstance(s, Box) and s.h >= 5.5 and s.w >= 8 and s.fill in (None, WHITE)
    ]


@pytest.mark.parametrize("paper", list(Paper))
def test_each_ski_has_room_for_24_measured_holes(paper: Paper) -> None:
    """A row for each, numbered, with a box for x, y, drill, depth and state, none of which touches another
    row.
    """
    pages = survey_pages(pair(24), anchors=ANCHORS, paper=paper)
    for side, page in zip("AB", pages, strict=True):
        assert f"SKI {side}" in said(page)
        rows: dict[float, list[Box]] = {}
        for box in boxes_of(page):
            if box.x > page.width / 2:
                rows.setdefault(round(box.y, 2), []).append(box)
        full = sorted(y for y, boxes in rows.items() if len(boxes) >= 6)
        assert len(full) == 24
        assert all(after - before >= 6 for before, after in pairwise(full))
        numbers = [text for text in said(page) if text in map(str, range(1, 25))]
        assert sorted(map(int, numbers)) == list(range(1, 25))
        assert {"X", "Y", "DRILL", "DEPTH", "STATE"} <= set(said(page))


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("holes", [12, 24, 30, 70])
def test_the_sheet_says_all_that_the_ledger_knows_and_leaves_no_hole_out(paper: Paper, holes: int) -> None:
    pages = survey_pages(pair(holes), anchors=ANCHORS, paper=paper)
    for side in "AB":
        texts = [text for page in pages if f"SKI {side}" in said(page) for text in said(page)]
        assert f"mark 733.5 mm from the tail; holes: {holes} binding drops in" in texts
        assert [text for text in texts if text[:1] == side and text[1:].isdigit()] == [
            f"{side}{n}" for n in range(1, holes + 1)
        ]
        assert texts.count("-17.5") == holes
        assert not any("more" in text and "mountbook ski" in text for text in texts)


def test_no_line_of_what_is_known_lies_on_another_or_on_a_box() -> None:
    for page in survey_pages(pair(24), anchors=ANCHORS, paper=Paper.LETTER):
        places = [s for s in page.shapes if isinstance(s, Words)]
        known = [s for s in places if s.text.startswith(("A", "B")) and s.text[1:].isdigit()]
        assert all(after.y - before.y >= 2.9 for before, after in pairwise(known))
        for words in known:
            assert not [b for b in boxes_of(page) if b.x < words.x < b.x + b.w and b.y < words.y < b.y + b.h]


def test_an_empty_ski_is_told_as_one_that_nobody_knows() -> None:
    for page in survey_pages(pair(0), anchors=ANCHORS, paper=Paper.A4):
        assert "mark 733.5 mm from the tail; no hole on record" in said(page)


def test_it_has_a_page_for_each_ski_and_an_unknown_paper_is_refused() -> None:
    from io import BytesIO

    import pypdf

    data = survey_sheet_pdf(pair(8), anchors=ANCHORS, paper=paper_named("letter"))
    pages = [page.extract_text() for page in pypdf.PdfReader(BytesIO(data)).pages]
    assert len(pages) == 2
    for number, text in enumerate(pages, start=1):
        assert f"page {number} of 2" in text
        assert "qualified technician" in text
        assert "ledger 12:abcdef01" in text
    with pytest.raises(BadInput):
        paper_named("A5")
