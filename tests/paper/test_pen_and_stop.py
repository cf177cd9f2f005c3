"""Every box of a work order takes a value written with a pen; what stops the work is read at arm's length.

The least box, 8 by 14 mm, is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pymupdf
import pytest

from fleet.facts.holes import HoleState
from planner.paper.shapes import READ
from planner.paper.work_order import work_order_pdf
from planner.paper.work_order_facts import work_order_sheet
from tests.paper.invented_shop import PRINTED_AT, crowded
from tests.paper.sample_sheets import sheets
from tests.paper.test_sheets_as_pdf import CASES, make_orders

MM = 72 / 25.4
WHITE = (1.0, 1.0, 1.0)


@cache
def every_order(paper: str) -> pymupdf.Document:
    return pymupdf.open(stream=work_order_pdf([*make_orders(*CASES), *sheets("recorded")], paper))


def boxes(page: pymupdf.Page) -> list[pymupdf.Rect]:
    """The white boxes to write in: square ones, and round ones on the loud ground."""
    return [
        path["rect"]
        for path in page.get_drawings()
        if path["fill"] == WHITE
        and ("".join(kind for kind, *_ in path["items"]) in ("re", "qu") or len(path["items"]) == 8)
        and path["rect"].width > 5 * MM
    ]


@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.long)])
def test_every_box_of_a_work_order_is_big_enough_for_a_pen(paper: str) -> None:
    for number, page in enumerate(every_order(paper), start=1):
        found = boxes(page)
        assert found, number
        for box in found:
            assert box.height / MM >= 7.99, (number, box)
            assert box.width / MM >= 13.99, (number, box)


def test_the_sign_of_a_stripped_hole_that_is_plugged_is_explained_under_the_picture() -> None:
    fleet, planned = crowded()
    stripped = {
        side: next(h.hole_id for h in ski.holes if h.state is HoleState.STRIPPED)
        for side, ski in fleet.pairs[planned.pair].skis.items()
    }
    skis = {side: replace(ski, plug=(stripped[side],)) for side, ski in planned.way.skis.items()}
    planned = replace(planned, way=replace(planned.way, skis=skis))
    sheet = work_order_sheet(
        fleet, planned, number="WO-2611-0417", revision="A", proposal=False, plan_hash="9f3ca1e7",
        printed_at=PRINTED_AT,
    )  # fmt: skip
    said = pymupdf.open(stream=work_order_pdf([sheet]))[0].get_text()
    assert "plug today, stripped" in said.splitlines()


@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.long)])
def test_what_stops_the_work_is_as_large_as_what_is_read_at_arms_length(paper: str) -> None:
    stops = 0
    for page in every_order(paper):
        for block in page.get_text("dict")["blocks"]:
            for line in block.get("lines", ()):
                for span in line["spans"]:
                    if "STOP" in span["text"] or "HOLD." in span["text"]:
                        stops += 1
                        assert span["size"] >= READ - 0.01, span["text"]
    assert stops > 100
