"""What people read: half millimetres where a length lies on that grid, tenths where it lies beside it."""

from __future__ import annotations

import pymupdf
import pytest

from fleet.base.units import across_text, along_text, length_text, toward
from fleet.ledger.history import pair_history
from fleet.rules.below_rule import nearer_text, over_text
from fleet.tables.snapshot import read_fleet
from planner.paper.case_paper import hole_map_pdf
from planner.paper.ski_view.ski_words import pair_lines
from tests.counter.shop import IDA, Shop
from tests.orders.bench_shop import old_holes


@pytest.mark.parametrize(
    ("um", "text"),
    [
        (19_500, "19.5"),
        (19_250, "19.3"),  # a tie goes away from zero, so that a mirrored place reads alike
        (-19_250, "-19.3"),
        (19_249, "19.2"),
        (19_000, "19.0"),
        (-40, "0.0"),
        (50, "0.1"),
    ],
)
def test_a_length_beside_the_grid_reads_to_a_tenth(um: int, text: str) -> None:
    assert length_text(um) == text


def test_an_offset_says_its_way_as_long_as_a_tenth_is_left_of_it() -> None:
    assert toward(-5_500) == "5.5 mm toward TAIL"
    assert toward(200) == "0.2 mm toward TIP"
    assert toward(49) == "on the mark"


def test_a_place_across_says_its_side_as_long_as_a_tenth_is_left_of_it() -> None:
    assert [across_text(um) for um in (18_000, -50, 49, 0)] == [
        "18.0 right",
        "0.1 left",
        *["centre line"] * 2,
    ]
    assert across_text(-18_000, unit=" mm") == "18.0 mm left"
    assert [along_text(um) for um in (143_500, -50, 49)] == ["143.5 TIP", "0.1 TAIL", "on the mark"]


def test_the_centre_line_and_the_mark_have_one_name_on_the_hole_map_and_in_the_record(shop: Shop) -> None:
    holes = old_holes("P-1", 305, "open")
    holes[0] |= {"x_um": 0, "y_um": 0}
    with shop.desk(IDA) as desk:
        desk.enter("holes recorded", {"tag": "P-1", "holes": holes})
    [row] = [line for line in pair_lines(pair_history(shop.ledger, "P-1")) if line.split()[:1] == ["A1"]]
    made = hole_map_pdf(read_fleet(shop.ledger.connection), ["P-1"], printed_at=shop.now)
    page = pymupdf.open(stream=made)[0].get_text()
    for said in ("on the mark", "centre line"):
        assert said in row
        assert said in page
    assert "0.0 TIP" not in page


def test_rounding_never_makes_a_distance_sound_enough() -> None:
    assert nearer_text(9_940, 0, 10_000, "A1") == "is 9.9 mm from A1, the rule asks for 10.0 mm"
    assert nearer_text(9_999, 0, 10_000, "A1") == "is just under 10.0 mm from A1, the rule asks for 10.0 mm"
    assert over_text(10_040, 10_000) == "just over 10.0 mm"
    assert over_text(10_060, 10_000) == "10.1 mm"


def test_ski_shows_a_hole_at_19_25_mm_where_it_lies(shop: Shop) -> None:
    holes = old_holes("P-1", 305, "screwed")
    holes[0]["y_um"] = 19_250
    with shop.desk(IDA) as desk:
        desk.enter("holes recorded", {"tag": "P-1", "holes": holes})
    lines = list(pair_lines(pair_history(shop.ledger, "P-1")))
    assert any("19.3 mm right" in line for line in lines)
    assert not any("19.5 mm" in line for line in lines)
