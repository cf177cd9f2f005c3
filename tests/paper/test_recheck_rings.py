"""Rings of the recheck list that a wet pen can strike, and words that are read standing.

Our own measures: 5 mm across, no two touch.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import pairwise
from math import hypot

import pymupdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.base.entries import Head
from fleet.facts.holes import Side
from fleet.facts.patterns import Pattern
from fleet.rules.recheck import Group, RecheckList, RecheckRow, ScrewDot, StillOut
from planner.paper.recheck_list import _MIDDLE, _PICTURE, _RING, _STRIP, laid_out, recheck_pdf
from sample_fleet.invented import PATTERNS

HEAD = Head(12, "0" * 64)
ROW = RecheckRow(
    tag="P-1", model="Invented", kind="alpine", length_mm=1700, rack="A-1", group=Group.CHECK_FIRST,
    reasons=("1st return after work order WO-2612-0001",), marked=frozenset({(Side.A, "toe")}),
    screws={
        side: tuple(ScrewDot(piece="toe", x_um=x, y_um=y) for x in (0, 40_000) for y in (-18_000, 18_000))
        for side in Side
    },
    pattern="Lark 4", returned_at="2026-12-27T16:00:00.000Z", seconds=75,
)  # fmt: skip
LISTED = RecheckList(
    list_id="RC-20261227-12", day=date(2026, 12, 27), head=HEAD, zone="Europe/Vienna", rows=(ROW,)
)


def faults(rings: list[tuple[float, float, ScrewDot]]) -> list[str]:
    found = []
    for number, (x, y, _) in enumerate(rings):
        if abs(y) + _RING > _STRIP / 2:
            found.append(f"ring {number} leaves the strip")
        for other, (ox, oy, _) in enumerate(rings[:number]):
            if hypot(x - ox, y - oy) < 2 * _RING + 0.2:
                found.append(f"rings {number} and {other} touch")
    return found


@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda pattern: pattern.name)
def test_no_two_rings_of_a_pattern_touch_and_all_are_in_the_strip(pattern: Pattern) -> None:
    placed = []
    for piece in pattern.pieces:
        dots = [ScrewDot(piece=piece.name, x_um=hole.x_um, y_um=hole.y_um) for hole in piece.holes]
        rings = laid_out(dots)
        assert sorted((d.x_um, d.y_um) for *_, d in rings) == sorted((d.x_um, d.y_um) for d in dots)
        placed += [(x + _PICTURE * _MIDDLE[piece.name], y, dot) for x, y, dot in rings]
    assert faults(placed) == []
    assert all(_RING <= x <= _PICTURE - _RING for x, *_ in placed)
    assert 2 * _RING >= 5.0


@settings(derandomize=True, max_examples=200)
@given(
    st.lists(
        st.tuples(st.integers(-80_000, 80_000), st.integers(-30_000, 30_000)),
        min_size=1,
        max_size=6,
        unique=True,
    )
)
def test_no_two_rings_of_any_piece_touch(holes: list[tuple[int, int]]) -> None:
    rings = laid_out([ScrewDot(piece="toe", x_um=x, y_um=y) for x, y in holes])
    assert faults(rings) == []
    columns = sorted({round(x / 8.4) for x, *_ in rings})
    assert len(columns) <= len(holes)
    ahead = [dot.x_um for x, _, dot in sorted(rings, key=lambda ring: ring[0])]
    assert all(b >= a - 5_000 for a, b in pairwise(ahead)), "the tip is to the right"


def pages(listed: RecheckList) -> list[str]:
    data = recheck_pdf(listed, head=HEAD, shop="Invented", printed_at=datetime(2026, 12, 27, 17, tzinfo=UTC))
    return [page.get_text() for page in pymupdf.open(stream=data)]


def test_check_first_stands_on_every_page_that_has_such_pairs() -> None:
    texts = pages(replace(LISTED, rows=tuple(replace(ROW, tag=f"P-{n}") for n in range(40))))
    assert len(texts) >= 3
    assert all("Check first" in text for text in texts)


@pytest.mark.parametrize("rows", [(), (ROW,), (ROW,) * 12])
@pytest.mark.parametrize("count", [1, 300])
def test_every_pair_that_is_still_out_is_named_with_its_day(rows: tuple[RecheckRow, ...], count: int) -> None:
    out = tuple(StillOut(tag=f"K-{n:03d}", due="2026-12-29" if n % 2 else None) for n in range(count))
    said = " ".join(" ".join(pages(replace(LISTED, rows=rows, out=out))).split())
    assert "still out at this head:" in said
    assert all((f"{each.tag}, due 2026-12-29" if each.due else each.tag) in said for each in out)
