"""What people read: half millimetres where a length lies on that grid, tenths where it lies beside it."""

from __future__ import annotations

import pytest

from fleet.base.units import length_text, toward
from fleet.ledger.history import pair_history
from fleet.rules.below_rule import nearer_text, over_text
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
