"""A sheet whose foot or cautions were left out is refused before anybody prints it."""

from __future__ import annotations

import pytest

from planner.paper.sheet_frame import Anchors, FramedSheet, Paper, standing_cautions

ANCHORS = Anchors(
    shop="Sennhof", name="wax list", head="7:ffffffff", printed_at="now", stale_after="Wed 2 Dec 2026"
)


@pytest.mark.parametrize("notes", [None, [], ["Millimetres from the mark."], [standing_cautions()[:-1]]])
def test_a_sheet_without_its_foot_or_its_cautions_is_no_page(notes: list[str] | None) -> None:
    sheet = FramedSheet(Paper.A4, proposal=False)
    if notes is not None:
        sheet.finish(ANCHORS, notes, 1, 1)
    with pytest.raises(ValueError, match="a sheet needs its foot, and the standing cautions in it"):
        sheet.page(sheet.width, sheet.height)


def test_with_both_it_is_a_page() -> None:
    sheet = FramedSheet(Paper.A4, proposal=False)
    sheet.finish(ANCHORS, ["Millimetres from the mark.", f"{standing_cautions()} And more."], 1, 1)
    assert sheet.page(sheet.width, sheet.height).shapes
