"""The worked table: an old mount of T4/H4 for 305 mm on the mark; where may the same pattern go again?

Computed twice outside this program, by the hand rule (distance of two holes with a pocket calculator) and
by a search over a 0.01 mm grid. Closed intervals in mm, (reused, drilled) on each ski.
"""

from __future__ import annotations

import pytest

from fleet.facts.holes import Side
from planner.geometry.placement.legal import legal_offsets, offsets_only

TABLE = {
    285: [(-10, -9.5, 4, 4), (0, 0, 0, 8), (9.5, 10, 4, 4)],
    290: [(-8, -7, 4, 4), (7, 8, 4, 4)],
    295: [(-5.5, -5, 4, 4), (5, 5.5, 4, 4)],
    300: [],
    305: [(-10, -10, 0, 8), (-0.5, 0.5, 8, 0), (10, 10, 0, 8)],
    310: [],
    315: [(-5.5, -5, 4, 4), (5, 5.5, 4, 4)],
    317: [(-6.5, -5.5, 4, 4), (5.5, 6.5, 4, 4)],
    320: [(-8, -7, 4, 4), (7, 8, 4, 4)],
    325: [(-10, -9.5, 4, 4), (0, 0, 0, 8), (9.5, 10, 4, 4)],
    335: [(-5, 5, 0, 8)],
}


@pytest.mark.parametrize("bsl_mm", TABLE)
def test_the_table_comes_out_exactly(make, bsl_mm):
    pattern = make.t4h4()
    found = legal_offsets(
        pair=make.twin_pair(make.mount_holes_mm(pattern, 305)),
        pattern=pattern,
        bsl_um=make.um(bsl_mm),
        policy=make.p10(),
    )
    for side in Side:
        assert [
            (each.low_um / 1000, each.high_um / 1000, each.reused(side), each.drilled(side)) for each in found
        ] == TABLE[bsl_mm]


@pytest.mark.parametrize(
    ("spacing_mm", "bsl_mm", "expected"),
    [
        ("12", 295, []),
        ("12", 315, []),
        ("12", 320, [(-8, -7), (7, 8)]),
        ("8", 295, [(-5.5, -4.5), (4.5, 5.5)]),
        ("8", 315, [(-5.5, -4.5), (4.5, 5.5)]),
    ],
)
def test_another_spacing_gains_and_loses_what_the_hand_rule_says(make, spacing_mm, bsl_mm, expected):
    pattern = make.t4h4()
    found = legal_offsets(
        pair=make.twin_pair(make.mount_holes_mm(pattern, 305)),
        pattern=pattern,
        bsl_um=make.um(bsl_mm),
        policy=make.p10(spacing_mm=spacing_mm),
    )
    assert offsets_only(found) == [(make.um(a), make.um(b)) for a, b in expected]


def test_for_310_the_first_legal_offsets_lie_12_5_mm_out(make):
    pattern = make.t4h4()
    found = legal_offsets(
        pair=make.twin_pair(make.mount_holes_mm(pattern, 305)),
        pattern=pattern,
        bsl_um=310_000,
        policy=make.p10(offset_limit_mm="12.5"),
    )
    assert offsets_only(found) == [(-12_500, -12_500), (12_500, 12_500)]


@pytest.mark.parametrize("mark_b_mm", [803, 797.5])
def test_marks_that_lie_do_not_matter_when_holes_are_compared_by_the_tail(make, mark_b_mm):
    """Ski B's printed mark sits 3 mm too far forward; its holes stand at the same tail distances as A's."""
    pattern = make.t4h4()
    old = make.mount_holes_mm(pattern, 305)
    lie = mark_b_mm - 800
    found = legal_offsets(
        pair=make.pair(
            make.ski(Side.A, make.holes(old)),
            make.ski(Side.B, make.holes([(x - lie, y) for x, y in old]), mark_mm=mark_b_mm),
        ),
        pattern=pattern,
        bsl_um=315_000,
        policy=make.p10(),
    )
    assert offsets_only(found) == [(-5_500, -5_000), (5_000, 5_500)]


def test_holes_drilled_from_a_false_mark_leave_nothing_in_common(make):
    """By the tail ski B alone would allow [-2.5, -2] and [8, 8.5]."""
    pattern = make.t4h4()
    old = make.holes(make.mount_holes_mm(pattern, 305))
    liar = make.ski(Side.B, old, mark_mm=803)
    asked = {"pattern": pattern, "bsl_um": 315_000, "policy": make.p10()}
    assert legal_offsets(pair=make.pair(make.ski(Side.A, old), liar), **asked) == ()
    bare_a = make.ski(Side.A, (), mark_mm=800)
    assert offsets_only(legal_offsets(pair=make.pair(bare_a, liar), **asked)) == [
        (-2_500, -2_000),
        (8_000, 8_500),
    ]


def test_an_unknown_mark_is_assumed_alike(make):
    pattern = make.t4h4()
    old = make.holes(make.mount_holes_mm(pattern, 305))
    pair = make.pair(make.ski(Side.A, old), make.ski(Side.B, old, mark_mm=None))
    found = legal_offsets(pair=pair, pattern=pattern, bsl_um=315_000, policy=make.p10())
    assert offsets_only(found) == [(-5_500, -5_000), (5_000, 5_500)]
