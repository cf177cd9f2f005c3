"""One pair looked at: every hole is on the picture and the map, and the band says what the rule says."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from fleet.base.errors import BadInput
from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import InspectedArea, Pair, Ski
from fleet.facts.standing import Place
from planner.paper.shapes import Disc, Words, width_mm
from planner.paper.ski_view.picture import Band, Stretch, _merged, ski_picture, stretch_words
from planner.paper.ski_view.ski_words import SIGNS, extent_um, map_key, zone_map
from planner.paper.svg_writer import write_picture


def hole(x_mm: float, y_mm: float, state: HoleState, knowledge: Knowledge = Knowledge.MEASURED_HERE) -> Hole:
    return Hole(
        hole_id=f"K-1/A{x_mm}{y_mm}",
        x_um=round(x_mm * 1000),
        y_um=round(y_mm * 1000),
        diameter_um=None,
        depth_um=None,
        state=state,
        knowledge=knowledge,
    )


def ski(side: Side, *holes: Hole, seen_to_mm: int = 0) -> Ski:
    seen = (InspectedArea(from_um=-200_000, to_um=1000 * seen_to_mm, how="bare", on="2026-09-01"),)
    return Ski(
        side=side,
        mark_from_tail_um=733_500,
        zone_back_um=200_000,
        zone_front_um=200_000,
        zone_half_width_um=35_000,
        inspected=seen,
        holes=holes,
    )


def pair(*holes: Hole) -> Pair:
    return Pair(
        tag="K-1",
        model="m",
        kind=Kind.ALPINE,
        length_mm=1700,
        waist_um=80_000,
        construction=None,
        rack="",
        place=Place.FLAT,
        skis={s: ski(s, *holes) for s in Side},
    )


BAND = Band(
    pattern="Teach",
    bsl_um=305_000,
    limit_um=10_000,
    preferred_um=5_000,
    stretches=(
        Stretch(low_um=-2_500, high_um=-1_500, drilled=8),
        Stretch(low_um=0, high_um=0, drilled=0),
    ),
)


def texts(page: object) -> list[str]:
    return [shape.text for shape in page.shapes if isinstance(shape, Words)]  # type: ignore[attr-defined]


def test_the_map_as_a_mechanic_reads_it() -> None:
    """Tip to the right, the right edge below, a question mark where nobody looked."""
    drawn = zone_map(
        ski(Side.A, hole(100, 20, HoleState.OPEN), hole(-100, -20, HoleState.STRIPPED)), columns=40
    )
    assert drawn[:7] == [
        "....................|???????????????????",
        "..........x.........|???????????????????",
        "....................|???????????????????",
        "....................|???????????????????",
        "....................|???????????????????",
        "....................|?????????o?????????",
        "....................|???????????????????",
    ]


def test_the_key_names_what_is_drawn_and_nothing_else() -> None:
    drawn = zone_map(ski(Side.A, hole(100, 20, HoleState.OPEN)))
    assert map_key(drawn) == "o open  . inspected  ? not inspected  | mark"


HOLES = st.lists(
    st.builds(
        hole,
        st.integers(-400, 400),
        st.integers(-60, 60),
        st.sampled_from(HoleState),
    ),
    max_size=25,
)


@given(holes=HOLES)
def test_no_hole_leaves_the_map_and_none_hides_another(holes: list[Hole]) -> None:
    one = ski(Side.B, *holes)
    lines = zone_map(one)[:-1]
    assert len({len(line) for line in lines}) == 1
    assert all(text.isascii() for text in zone_map(one))
    low, high = extent_um(one)
    assert all(low <= h.x_um <= high for h in holes)
    signs = Counter("".join(lines))
    single = sum(signs[s] for s in SIGNS.values())
    assert single + 2 * signs["*"] <= len(holes)
    assert (single + signs["*"] > 0) == bool(holes)


def test_every_hole_is_drawn_once_on_each_ski_and_its_doubt_by_form() -> None:
    """A dashed outline and a question mark tell it without colour."""
    holes = (
        hole(100, 20, HoleState.OPEN),
        hole(60, 20, HoleState.OPEN, Knowledge.BATCH_ASSUMED),
        hole(30, 20, HoleState.OPEN, Knowledge.SUSPECTED),
    )
    bare = ski_picture(pair(), None, shop="s", head="1:ab", seen_at="now")
    full = ski_picture(pair(*holes), None, shop="s", head="1:ab", seen_at="now")
    discs = [s for s in full.shapes if isinstance(s, Disc)]
    key = [s for s in bare.shapes if isinstance(s, Disc)]
    assert len(discs) - len(key) == 6
    assert sum(bool(d.dash) for d in discs) - sum(bool(d.dash) for d in key) == 4
    assert sum(text.endswith("?") for text in texts(full)) == 2
    assert any("1 batch assumed" in text for text in texts(full))


def test_the_picture_says_the_offsets_in_words_and_never_to_measure() -> None:
    said = texts(ski_picture(pair(), BAND, shop="s", head="1:ab", seen_at="now"))
    assert "2.5 mm toward TAIL to 1.5 mm toward TAIL: at least 8 holes to drill, both skis" in said
    assert "on the mark: no hole to drill" in said
    assert any("Never measure from this picture" in text for text in said)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (-1_700, 1_700, "1.5 mm toward TAIL to 1.5 mm toward TIP"),
        (0, 0, "on the mark"),
        (2_500, 2_999, "2.5 mm toward TIP"),
        (2_301, 2_499, "only between half millimetres, near 2.4"),
    ],
)
def test_words_for_a_stretch_never_reach_beyond_it(low: int, high: int, words: str) -> None:
    assert stretch_words(Stretch(low_um=low, high_um=high, drilled=0)) == words


STRETCHES = st.lists(
    st.builds(
        lambda low, length, drilled: Stretch(low_um=low, high_um=low + length, drilled=drilled),
        st.integers(-20, 20),
        st.integers(0, 15),
        st.integers(0, 3),
    ),
    max_size=8,
)


@given(found=STRETCHES)
def test_the_band_says_at_every_micrometre_the_least_drilling_of_the_rule(found: list[Stretch]) -> None:
    merged = _merged(found)
    for x in range(-22, 38):
        truth = [s.drilled for s in found if s.low_um <= x <= s.high_um]
        said = [s.drilled for s in merged if s.low_um <= x <= s.high_um]
        assert said == ([min(truth)] if truth else [])


@pytest.mark.parametrize(("ending", "begins"), [("svg", b"<"), ("pdf", b"%PDF"), ("png", b"\x89PNG")])
def test_each_ending_gives_its_own_kind_of_file(tmp_path: Path, ending: str, begins: bytes) -> None:
    page = ski_picture(pair(hole(10, 10, HoleState.OPEN)), BAND, shop="s", head="1:ab", seen_at="now")
    write_picture(tmp_path / f"k.{ending}", page, label="k")
    assert (tmp_path / f"k.{ending}").read_bytes().startswith(begins)


def test_another_ending_is_refused_and_leaves_no_file(tmp_path: Path) -> None:
    page = ski_picture(pair(), None, shop="s", head="1:ab", seen_at="now")
    with pytest.raises(BadInput):
        write_picture(tmp_path / "k.gif", page, label="k")
    assert list(tmp_path.iterdir()) == []


def test_the_name_of_a_hole_is_not_under_the_sign_of_one_12_mm_from_it() -> None:
    """Two mounts of a sole 25 mm longer: sixteen holes, each with the number that all sheets have for it."""
    holes = [
        replace(hole(x_mm, y_mm, HoleState.OPEN), hole_id=f"K-1/A{number}")
        for number, (x_mm, y_mm) in enumerate(((-128, 15), (-115.5, 15), (102.5, 20), (90, 20)), start=13)
    ]
    page = ski_picture(pair(*holes), None, shop="s", head="1:ab", seen_at="now")
    discs = [s for s in page.shapes if isinstance(s, Disc)]
    for words in page.shapes:
        if isinstance(words, Words) and words.text in ("13", "14", "15", "16"):
            right = words.x + width_mm(words.text, words.face, words.size)
            for disc in discs:
                over = max(words.x - disc.x, disc.x - right, 0.0)
                assert math.hypot(over, words.y - 0.9 - disc.y) > disc.r
    assert {"13", "14", "15", "16"} <= {*texts(page)}
