"""The survey sheet: what it tells to type is read, nothing leaves the paper, and it knows its ski."""

from __future__ import annotations

import pytest

from fleet.base.errors import BadInput
from fleet.facts.equipment import InspectedArea, Kind, Pair, Place, Ski
from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from planner.geometry.survey.readings import read_lines
from planner.paper.shapes import Anchor, Box, Page, Words
from planner.paper.sheet_frame import MARGIN, Anchors, Paper, paper_named
from planner.paper.survey_sheet import LINES, survey_page, survey_sheet_pdf
from planner.paper.typeface import width_mm

ANCHORS = Anchors(
    shop="Our shop",
    name="survey K-1",
    head="12:abcdef01",
    plan_hash="",
    printed_at="Sun 28 Dec 2025, 18:00",
    stale_after="Sun 4 Jan 2026",
    proposal=False,
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
@pytest.mark.parametrize("holes", [0, 8, 30])
def test_nothing_leaves_the_margins_or_reaches_into_the_foot(paper: Paper, holes: int) -> None:
    page = survey_page(pair(holes), anchors=ANCHORS, paper=paper)
    foot = min(s.y for s in page.shapes if isinstance(s, Words) and s.text.startswith("A hole that is not"))
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


def test_the_sheet_says_what_the_ledger_knows_and_how_many_it_leaves_out() -> None:
    page = said(survey_page(pair(12), anchors=ANCHORS, paper=Paper.A4))
    assert page.count("mark 733.5 mm from the tail; holes: 12 binding drops in") == 2
    assert page.count("-81.5") == 2
    assert page.count("-17.5") == 20
    assert page.count("and 2 more: `mountbook ski` lists them") == 2


def test_an_empty_ski_is_told_as_one_that_nobody_knows() -> None:
    page = said(survey_page(pair(0), anchors=ANCHORS, paper=Paper.A4))
    assert page.count("mark 733.5 mm from the tail; no hole on record") == 2


def test_it_is_one_page_and_an_unknown_paper_is_refused() -> None:
    from io import BytesIO

    import pypdf

    data = survey_sheet_pdf(pair(8), anchors=ANCHORS, paper=paper_named("letter"))
    assert len(pypdf.PdfReader(BytesIO(data)).pages) == 1
    with pytest.raises(BadInput):
        paper_named("A5")
