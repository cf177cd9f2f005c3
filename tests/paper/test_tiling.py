"""How a template is cut into sheets."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, strategies as st

from planner.paper.printer_sheet import PrinterScale
from planner.paper.sheet_frame import Paper
from planner.paper.template import CLEAR_UM, sheet_span_um, tiles

_HOLES = st.lists(st.integers(-700, 500).map(lambda half: half * 500), min_size=1, max_size=16)
_SPANS = st.sampled_from([sheet_span_um(paper, PrinterScale()) for paper in Paper])


@given(_HOLES, _SPANS)
def test_every_hole_lies_on_a_sheet_with_clear_paper_around_it(holes, span):
    cut = tiles(holes, span)
    for x in holes:
        assert any(tile.holds(x) for tile in cut), (x, cut)


@given(_HOLES, _SPANS)
def test_every_sheet_shows_its_cross_line_and_is_as_long_as_the_paper_allows(holes, span):
    for tile in tiles(holes, span):
        assert tile.end_um - tile.start_um == span
        assert tile.holds(tile.anchor_um), "a sheet must be usable alone"
        assert tile.anchor_um % 50_000 == 0


@given(_HOLES, _SPANS)
def test_the_mark_is_on_the_sheets_next_to_it(holes, span):
    anchors = [tile.anchor_um for tile in tiles(holes, span)]
    assert 0 in anchors
    assert anchors == sorted(anchors, reverse=True), "tip first"


@given(_HOLES, _SPANS)
def test_neighbours_share_the_cross_line_they_are_joined_by(holes, span):
    """Two sheets join where the outer one's cross line is still on the inner one."""
    cut = tiles(holes, span)
    for inner, outer in pairwise(cut):
        joint = max((inner.anchor_um, outer.anchor_um), key=abs)
        assert inner.holds(joint, 0)
        assert outer.holds(joint, 0)


@pytest.mark.parametrize("paper", Paper)
def test_a_usual_order_needs_two_sheets_and_both_show_the_mark(paper):
    cut = tiles([142_500, 107_500, -109_500, -149_500], sheet_span_um(paper, PrinterScale()))
    assert [tile.anchor_um for tile in cut] == [0, 0]


def test_holes_near_the_mark_need_one_sheet():
    (only,) = tiles([60_000, -90_000], 250_000)
    assert only.holds(0)
    assert only.holds(-90_000, CLEAR_UM)


def test_a_sheet_too_short_to_be_of_use_is_refused():
    with pytest.raises(ValueError, match="too short"):
        tiles([0], 90_000)
