"""The rings of the recheck list: large enough for a wet pen, apart, in their strip, in the screws' order."""

from __future__ import annotations

import csv
from collections import defaultdict
from datetime import UTC, date, datetime
from itertools import combinations, pairwise
from math import hypot
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st

from fleet.base.entries import Head
from fleet.facts.holes import Mount, Side
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from fleet.rules.recheck import Group, RecheckList, RecheckRow, ScrewDot, screw_dots
from planner.paper.recheck_list import recheck_pages
from planner.paper.shapes import ICE, Box, Disc

LEAST_MM = 5.0
"""A felt pen's stroke is about 2 mm wide: own choice, no source."""
SAMPLE = Path("sample_fleet/csv/patterns.csv")


def sample_patterns() -> list[Pattern]:
    pieces: dict[str, dict[str, list[dict[str, str]]]] = defaultdict(lambda: defaultdict(list))
    for row in csv.DictReader(SAMPLE.read_text(encoding="utf-8").splitlines()):
        pieces[row["pattern"]][row["piece"]].append(row)
    return [
        Pattern(
            name=name,
            binding_model="",
            binding_kind="",
            pieces=tuple(
                Piece(
                    name=PieceName(piece),
                    follows=Follows(rows[0]["follows"]),
                    holes=tuple(
                        PatternHole(
                            x_um=round(float(row["x_mm"]) * 1000), y_um=round(float(row["y_mm"]) * 1000)
                        )
                        for row in rows
                    ),
                    travel_back_um=0,
                    travel_forward_um=0,
                )
                for piece, rows in of_piece.items()
            ),
        )
        for name, of_piece in pieces.items()
    ]


def row_of(screws: dict[Side, tuple[ScrewDot, ...]], tag: str = "K-031") -> RecheckRow:
    return RecheckRow(
        tag=tag, model="Marrow 76 Ti", kind="alpine", length_mm=1600, rack="B-03", group=Group.CHECK_FIRST,
        reasons=("renter: “felt loose”",), marked=frozenset({(Side.B, "heel")}), screws=screws,
        pattern="", returned_at="", seconds=75,
    )  # fmt: skip


def strips(row: RecheckRow, paper: str = "A4") -> list[tuple[Box, list[Disc]]]:
    """Each ski's strip with the rings in it, as drawn."""
    listed = RecheckList(
        list_id="RC-20261125-1", day=date(2026, 11, 25), head=Head(1, "a" * 64), zone="UTC", rows=(row,)
    )
    [page] = recheck_pages(
        listed, head=listed.head, shop="Shop", printed_at=datetime(2026, 11, 25, tzinfo=UTC), paper=paper
    )
    boxes = [shape for shape in page.shapes if isinstance(shape, Box) and shape.w == 84 and shape.fill == ICE]
    rings = [shape for shape in page.shapes if isinstance(shape, Disc) and shape.y > boxes[0].y]
    assert len(boxes) == 2
    return [(box, [ring for ring in rings if box.y < ring.y < box.y + box.h]) for box in boxes]


def check(screws: dict[Side, tuple[ScrewDot, ...]], paper: str = "A4") -> None:
    for side, (box, rings) in zip(Side, strips(row_of(screws), paper), strict=True):
        assert len(rings) == len(screws[side])
        for ring in rings:
            assert 2 * ring.r >= LEAST_MM
            out = ring.r + ring.width / 2
            assert box.x <= ring.x - out
            assert ring.x + out <= box.x + box.w
            assert box.y <= ring.y - out
            assert ring.y + out <= box.y + box.h
        for one, other in combinations(rings, 2):
            assert hypot(one.x - other.x, one.y - other.y) > one.r + other.r + (one.width + other.width) / 2


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("pattern", sample_patterns(), ids=lambda pattern: pattern.name)
def test_every_ring_of_the_sample_s_patterns_takes_a_stroke_of_its_own(pattern: Pattern, paper: str) -> None:
    mount = Mount(pattern=pattern.name, bsl_um=305_000, offset_um=0, mounted_on="2026-10-01")
    check(screw_dots(mount, pattern, frozenset({(Side.B, "heel")})), paper)


def grid(piece: str, columns: int, across: int, start_mm: int) -> tuple[ScrewDot, ...]:
    return tuple(
        ScrewDot(piece=piece, x_um=(start_mm + 22 * n) * 1000, y_um=round((k - (across - 1) / 2) * 20_000))
        for n in range(columns)
        for k in range(across)
    )


@pytest.mark.parametrize(
    "dots",
    [
        (*grid("toe", 5, 2, 40), *grid("heel", 5, 2, -200)),  # 20 screws
        grid("plate", 10, 2, -110),  # 20 screws of one plate
        (*grid("toe", 2, 3, 90), *grid("plate", 2, 2, -20), *grid("heel", 2, 3, -200)),
        tuple(ScrewDot(piece="plate", x_um=x * 1000, y_um=0) for x in range(-200, 200, 20)),  # one row of 20
        (ScrewDot(piece="toe", x_um=100_000, y_um=0),),
        (),
    ],
    ids=["20 screws", "one plate of 20", "three pieces", "20 in a row", "one screw", "none known"],
)
def test_the_rings_of_a_ski_with_many_screws_stand_apart(dots: tuple[ScrewDot, ...]) -> None:
    check(dict.fromkeys(Side, dots))


MM = st.integers(-60, 60).map(lambda mm: mm * 1000)
PLACES = st.lists(st.tuples(MM, st.integers(-45, 45).map(lambda mm: mm * 1000)), max_size=12, unique=True)


@settings(max_examples=60, deadline=None)
@given(toe=PLACES, heel=PLACES, plate=PLACES)
def test_the_rings_of_any_pattern_stand_apart(
    toe: list[tuple[int, int]], heel: list[tuple[int, int]], plate: list[tuple[int, int]]
) -> None:
    middles = {"toe": 140_000, "plate": 0, "heel": -140_000}
    dots = tuple(
        ScrewDot(piece=piece, x_um=middles[piece] + x, y_um=y)
        for piece, places in (("toe", toe), ("plate", plate), ("heel", heel))
        for x, y in places
    )
    check(dict.fromkeys(Side, dots))


@pytest.mark.parametrize("pattern", sample_patterns(), ids=lambda pattern: pattern.name)
def test_the_rings_stand_in_the_order_of_the_screws(pattern: Pattern) -> None:
    """Tip to the right, the ski's right side at the bottom: a screw farther along or across stays so."""
    mount = Mount(pattern=pattern.name, bsl_um=305_000, offset_um=0, mounted_on="2026-10-01")
    dots = screw_dots(mount, pattern, frozenset())[Side.A]
    _, rings = strips(row_of(dict.fromkeys(Side, dots)))[0]
    along = sorted({dot.x_um for dot in dots})
    assert len({round(ring.x, 3) for ring in rings}) == len(along)
    drawn = sorted((round(ring.x, 3), ring.y) for ring in rings)
    told = sorted((dot.x_um, dot.y_um) for dot in dots)
    for (one, other), (screw, farther) in zip(pairwise(drawn), pairwise(told), strict=True):
        assert (one[0] < other[0]) == (screw[0] < farther[0])
        if one[0] == other[0]:
            assert one[1] < other[1]
