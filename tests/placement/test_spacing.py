"""The distance rule says the same for one hole and for arrays, on both sides of each limit."""

from __future__ import annotations

import random
from math import isqrt

import numpy as np
import pytest

from fleet.facts.holes import Hole, HoleState, Knowledge
from fleet.facts.pairs import Construction
from fleet.facts.patterns import PatternHole
from fleet.facts.policy import default_policy
from fleet.facts.spacing import (
    forbidden_half_um,
    forbidden_halves_um,
    roots,
    sighted,
    takes,
    too_near,
    window_half_um,
    window_halves_um,
)
from planner.geometry.placement.rule import Rule, rule_for

WIDTHS = [np.int32, np.int64]


def rules() -> list[Rule]:
    policy = default_policy()
    walls = (policy, policy.with_values(wall_min_mm="6"), policy.with_values(extra_plugged_mm="1.5"))
    return [rule_for(p, c) for p in walls for c in (*Construction, None)]


def old_holes() -> list[Hole]:
    return [
        Hole(
            hole_id="h",
            x_um=0,
            y_um=0,
            diameter_um=size,
            depth_um=None,
            state=state,
            knowledge=knowledge,
        )
        for state in HoleState
        for knowledge in Knowledge
        for size in (None, 3600, 4100, 5300)
    ]


def limits() -> list[int]:
    """Every distance that some hole asks for under some rule, and the bare spacings."""
    return sorted({r.asked_um(h) for r in rules() for h in old_holes()} | {r.spacing_um for r in rules()})


@pytest.mark.parametrize("width", WIDTHS)
def test_one_hole_and_arrays_agree_a_micrometre_before_at_and_after_each_limit(width: type) -> None:
    rng = random.Random(1)
    for asked in limits():
        across = np.array([0, asked - 1, asked, asked + 1, *(rng.randint(-asked, asked) for _ in range(200))])
        across = across.astype(width)
        halves = forbidden_halves_um(across, width(asked))
        assert halves.tolist() == [forbidden_half_um(y, asked) for y in across.tolist()]
        for y, half in zip(across.tolist(), halves.tolist(), strict=True):
            edge = np.array([half - 1, half, half + 1], dtype=np.int64) if half >= 0 else np.array([0, 1, 2])
            each = too_near(edge, np.int64(y), np.int64(asked))
            assert each.tolist() == [too_near(x, y, asked) for x in edge.tolist()]
            assert each.tolist() == (
                [True, True, False] if half > 0 else [half == 0 and x <= 0 for x in edge]
            )


@pytest.mark.parametrize("width", WIDTHS)
def test_windows_of_a_screw_agree_at_their_ends(width: type) -> None:
    for tolerance in (0, 1, 300, 499, 500, 1000):
        across = np.arange(-tolerance - 2, tolerance + 3).astype(width)
        halves = window_halves_um(across, tolerance)
        assert halves.tolist() == [window_half_um(y, tolerance) for y in across.tolist()]
        for y, half in zip(across.tolist(), halves.tolist(), strict=True):
            if half < 0:
                assert abs(y) > tolerance
            else:
                assert half**2 + y * y <= tolerance**2 < (half + 1) ** 2 + y * y


def test_roots_are_exact_around_squares_and_beyond_the_sight_nothing_changes() -> None:
    near = np.array([n * n + d for n in (*range(1, 2000), 30_000, 42_426) for d in (-1, 0, 1)])
    assert roots(near).tolist() == [isqrt(n) for n in near.tolist()]
    far = np.array([-(10**6), -30_001, 30_001, 10**6], dtype=np.int32)
    assert (forbidden_halves_um(far, np.int32(13_000)) == -1).all()
    assert (sighted(far) ** 2 + sighted(far) ** 2 > 0).all(), "two squares fit 32 bits"


def test_ten_millimetres_are_allowed_and_a_micrometre_less_is_not() -> None:
    """6, 8 and 10: the limit exactly, with whole numbers on every side."""
    assert forbidden_half_um(8_000, 10_000) == 5_999
    assert [too_near(x, 8_000, 10_000) for x in (5_999, 6_000)] == [True, False]


def test_which_old_hole_takes_which_screw_is_the_same_for_one_hole_and_for_arrays() -> None:
    holes = old_holes()
    for rule in rules():
        for size in (None, 3600, 4100, 5300):
            wanted = PatternHole(x_um=0, y_um=0, diameter_um=size)
            wood, thread = (np.array(each) for each in zip(*map(rule.screws_of, holes), strict=True))
            drill = np.full(len(holes), rule.drill_um or size or 0)
            each = takes(wood, thread, drill_um=drill, listed_um=size or 0)
            assert each.tolist() == [rule.may_reuse(hole, wanted) for hole in holes]
            assert each.tolist() == [plainly(rule, hole, size) for hole in holes]


def plainly(rule: Rule, hole: Hole, listed: int | None) -> bool:
    """The rule as it stands in the trade's words, written apart from the program's."""
    if not hole.knowledge.may_be_reused or hole.diameter_um is None:
        return False
    if hole.state is HoleState.INSERT:
        return hole.diameter_um == listed and hole.diameter_um not in rule.shop_drills_um
    if hole.state in (HoleState.PLUGGED, HoleState.STRIPPED):
        return False
    return hole.diameter_um == (rule.drill_um or listed)


@pytest.mark.parametrize("width", WIDTHS)
def test_every_distance_of_a_few_micrometres_is_as_counting_says(width: type) -> None:
    """3 asked, 2 across: forbidden within 2 along, for 8 is less than 9; a screw within 3 goes to 2 too."""
    across = np.arange(-45, 46).astype(width)
    for asked in range(44):
        forbidden = [
            max((x for x in range(50) if x * x + y * y < asked * asked), default=-1) for y in range(46)
        ]
        window = [
            max((x for x in range(50) if x * x + y * y <= asked * asked), default=-1) for y in range(46)
        ]
        assert [forbidden_half_um(y, asked) for y in range(46)] == forbidden
        assert [window_half_um(y, asked) for y in range(46)] == window
        for found, plain in (
            (forbidden_halves_um(across, width(asked)), forbidden),
            (window_halves_um(across, asked), window),
        ):
            assert found.tolist() == [plain[abs(y)] for y in across.tolist()]
    assert sighted(np.array([-30_001, -30_000, 30_000, 30_001])).tolist() == [
        -30_000,
        -30_000,
        30_000,
        30_000,
    ]
    assert roots(np.array([-5, -1, 0, 1, 3, 4], width)).dtype == width


def test_an_insert_may_take_a_thread_of_a_few_micrometres_only_if_it_is_listed() -> None:
    """No thread is no screw, though nothing is listed either: 0 is not a diameter."""
    assert [takes(w, 0, drill_um=d, listed_um=0) for w, d in ((1, 1), (0, 0), (1, 2), (2, 1))] == [
        True,
        False,
        False,
        False,
    ]
    assert [takes(0, t, drill_um=9, listed_um=n) for t, n in ((1, 1), (0, 0), (1, 2))] == [True, False, False]
    assert takes(1, 1, drill_um=1, listed_um=1)
