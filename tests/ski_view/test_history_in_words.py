"""The history of `mountbook ski`: no bare sign, no fact left out without a word, no size rounded away."""

from __future__ import annotations

import pytest

from planner.paper.ski_view.ski_words import facts_of


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"x_um": -5_500}, "x 5.5 mm toward TAIL"),
        ({"x_um": 5_500}, "x 5.5 mm toward TIP"),
        ({"offset_um": 0}, "offset on the mark"),
        ({"y_um": -18_000}, "y 18.0 mm left"),
        ({"y_um": 18_000}, "y 18.0 mm right"),
        ({"y_um": 0}, "y centre line"),
        ({"slide_um": -2_000}, "slide 2.0 mm toward TAIL"),
        ({"slide_um": 0}, "slide 0.0 mm"),
        ({"from_um": -190_000, "to_um": 175_000}, "from 190.0 mm toward TAIL; to 175.0 mm toward TIP"),
        ({"changes": {"x_um": [-5_500, None]}}, "x 5.5 mm toward TAIL → unknown"),
        ({"changes": {"diameter_um": [3_600, 4_100]}}, "diameter 3.6 mm → 4.1 mm"),
        ({"depth_um": 9_000}, "depth 9.0 mm"),
        ({"length_mm": 1305}, "length 130.5 cm"),
        (
            {"bsl_um": 315_000, "bsl_measured": "printed"},
            "sole length 315.0 mm; how the sole is known: printed",
        ),
        ({"needed_by": "2026-11-28"}, "needed by Sat 28 Nov 2026"),
        ({"serial_toe": "20260104", "season": "2025"}, "serial toe 20260104; season 2025"),
        ({"plan_hash": "672c328f" * 8}, "plan hash 672c328f"),
        ({"waist_um": 90_000}, "waist 90.0 mm"),
        ({"holes": [{}, {}]}, "2 holes, see --json"),
        ({"found": {"A": {"toe": "not moved"}, "B": {}}}, "found: 2, see --json"),
        ({"tag": "K-1", "note": None, "why": ""}, ""),
    ],
)
def test_a_fact_is_said_in_words(body: dict[str, object], said: str) -> None:
    assert "; ".join(facts_of(body)) == said


def test_every_fact_of_an_entry_is_shown() -> None:
    body = {f"fact_{number}": number for number in range(1, 10)}
    assert len(list(facts_of(body))) == 9
