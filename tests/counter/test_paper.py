"""The counter's own paper: hole map and hold tags."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from pypdf import PdfReader

from fleet.base.errors import MountbookError
from fleet.rules.holds import hold, quarantine
from fleet.rules.recheck import RecheckList, recheck_list
from fleet.tables.snapshot import read_fleet
from planner.paper.hold_tag import hold_tag_pdf
from planner.paper.hold_tags import held_tags
from planner.paper.hole_map import hole_map_pdf
from planner.paper.recheck_list import recheck_pdf
from tests.counter.shop import NELL, ZONE, Shop


def _text(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def _hole(number: int) -> dict[str, object]:
    return {
        "hole_id": f"P-1/A{number}",
        "side": "A",
        "x_um": 101_500 - 20_000 * number,
        "y_um": 18_000,
        "diameter_um": 3600,
        "depth_um": 9000,
        "state": "plugged",
        "knowledge": "measured bare",
    }


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_hole_is_on_the_one_page(shop: Shop, paper: str) -> None:
    shop.enter("holes recorded", {"tag": "P-1", "holes": [_hole(n) for n in range(1, 13)]})
    [page] = _text(
        hole_map_pdf(read_fleet(shop.ledger.connection), ["P-1"], printed_at=shop.now, paper=paper)
    )
    for number in range(1, 13):
        x = 101.5 - 20 * number
        assert f"{abs(x):.1f} {'TIP' if x >= 0 else 'TAIL'}" in page
    assert page.count("plugged, measured bare") == 12
    assert "no holes on record, and nobody has looked" in page  # ski B
    assert "A record, not an inspection" in page


def test_two_tags_hang_on_each_held_pair(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="toe wobbles")
    with shop.desk(NELL) as desk:
        quarantine(desk, "P-2", why="fall reported")
    tags = held_tags(shop.ledger.connection, ())
    pages = _text(hold_tag_pdf(tags, zone=ZONE, printed_at=shop.now))
    assert len(pages) == 4
    assert ["HOLD" in page for page in pages] == [True, True, False, False]
    assert ["LOCKED AWAY" in page for page in pages] == [False, False, True, True]
    assert "toe wobbles" in pages[0]
    with pytest.raises(MountbookError, match="P-3 is not held"):
        held_tags(shop.ledger.connection, ["P-3"])


def _listed(shop: Shop) -> RecheckList:
    return recheck_list(shop.ledger.connection, today=shop.today)


def test_the_recheck_list_says_at_which_sole_each_pair_stands(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.out("P-2")
    shop.back("P-1", "P-2")
    listed = _listed(shop)
    [page] = _text(recheck_pdf(listed, head=listed.head, shop="Shop", printed_at=shop.now))
    assert "stands at\n305 mm" in page
    assert "stands at\nnot known" in page


@pytest.mark.parametrize("length", [6, 22, 23, 30])
def test_a_long_tag_and_the_sole_it_stands_at_stand_both_whole_on_the_list(shop: Shop, length: int) -> None:
    shop.out("P-1", boot="B-305")
    shop.back("P-1")
    listed = _listed(shop)
    tag = "K-123456789" * 5
    listed = replace(listed, rows=(replace(listed.rows[0], tag=tag[:length]),))
    [page] = _text(recheck_pdf(listed, head=listed.head, shop="Shop", printed_at=shop.now))
    assert tag[:length] in page.replace("\n", "")
    assert "stands at 305 mm" in page.replace("\n", " ")
