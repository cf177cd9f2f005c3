"""Pieces in old holes, for many skis at once: the same stretches as one ski after the other, or flagged."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import numpy as np
import pytest

from fleet.facts.holes import HoleState, Side
from fleet.facts.pairs import Construction, Pair
from fleet.facts.patterns import Follows, Piece, PieceName
from planner.geometry.placement.batch_fits import fits_of, fixed_stands
from planner.geometry.placement.frames import frame_of
from planner.geometry.placement.hole_table import FAR_UM, PairTables
from planner.geometry.placement.rule import rule_for
from planner.geometry.placement.stands import _fitted, planned_stands
from planner.geometry.placement.sweep import stretches_of
from tests.placement import conftest as make

A, B = Side.A, Side.B
POLICY = make.p10()
RULE = rule_for(POLICY, Construction.NO_METAL)
TOE = make.piece(PieceName.TOE, Follows.TOE, [(0, 0), (30, 10), (60, -10)])
LONE = make.piece(PieceName.TOE, Follows.TOE, [(0, 0)])


def ski_rows(pairs: list[Pair], policy=POLICY):
    return PairTables(pairs, policy).rows(np.arange(len(pairs)))


def fitted_plainly(rule, pair: Pair, side: Side, piece: Piece) -> list[tuple[int, int, int, int]]:
    """(r, low, high, claimed holes as bits) of each fit on one ski."""
    shift = frame_of(pair).shift_um[side]
    swept = stretches_of(rule, pair, piece=piece, drill=True)[side]
    found = _fitted(rule, pair.skis[side], shift, piece, swept)
    return sorted(
        (r, stretch.low, stretch.high, sum(1 << n for n, c in enumerate(stretch.claims) if c is not None))
        for stretch, r in found
        if r is not None
    )


def scattered(chance: Random, name: str):
    """Up to two mounts of the toe, some holes left out or a little beside, and one more hole somewhere."""
    old = []
    for at in chance.sample([-40, -12, 0, 12.5, 25], chance.choice([1, 1, 2])):
        for hole in TOE.holes:
            if chance.random() < 0.85:
                x = at + hole.x_um / 1000 + chance.choice([0, 0, 0.2, -0.25, 0.5])
                y = hole.y_um / 1000 + chance.choice([0, 0, 0.3, 0.4, 0.5, -0.501])
                old += make.holes(
                    [(x, y)],
                    state=chance.choice([HoleState.OPEN] * 8 + list(HoleState)),
                    diameter_mm=chance.choice([3.6] * 9 + [4.1]),
                    name=f"{name}{len(old)}-",
                )
    if chance.random() < 0.5:
        old += make.holes(
            [(chance.choice([9.8, 10, 10.2, 39.7, 70.3, 70.6]), chance.choice([0, 10, -10]))], name=name
        )
    return old


def test_where_many_skis_hold_a_piece_is_where_each_holds_it() -> None:
    """Ski B differs, its mark lies 3 mm nearer to the tail; what is flagged is asked one by one."""
    chance = Random(11)
    pairs = [
        make.pair(
            make.ski(A, scattered(chance, "a"), zone_mm=chance.choice([(400, 400, 45), (20, 55, 45), None])),
            make.ski(B, scattered(chance, "b"), mark_mm=797),
        )
        for _ in range(150)
    ]
    rows = ski_rows(pairs)
    fits, flagged = fits_of(rows, TOE, RULE, 10_000)
    seen = 0
    for n, pair in enumerate(pairs):
        for side in Side:
            row = int(rows.of[side][n])
            mine = np.flatnonzero(fits.row == row)
            told = sorted(
                (int(fits.r[k]), int(fits.low[k]), int(fits.high[k]), int(fits.holes[k])) for k in mine
            )
            assert [int(fits.reused[k]) for k in mine] == [int(fits.holes[k]).bit_count() for k in mine]
            if flagged[row]:
                continue
            plain = fitted_plainly(RULE, pair, side, TOE)
            assert told == [(r, max(low, -FAR_UM), min(high, FAR_UM), bits) for r, low, high, bits in plain]
            seen += len(told)
    assert seen > 120
    assert flagged.sum() < 60


def flags(*places_mm: tuple[float, float], piece: Piece = LONE, state=HoleState.OPEN, **policy: str) -> bool:
    """Whether a ski with these holes is left to be asked by itself."""
    rules = make.p10(**policy)
    pair = make.pair(make.ski(A, make.holes(places_mm, state=state)), make.ski(B))
    _, flagged = fits_of(ski_rows([pair], rules), piece, rule_for(rules, Construction.NO_METAL), 10_000)
    return bool(flagged[0])


@pytest.mark.parametrize(
    ("places", "asked"),
    [
        ([(0, 0)], False),
        # a screw that may go into either of two holes, half a millimetre from both
        ([(0, 0), (1, 0)], True),
        ([(0, 0), (1.001, 0)], False),
        ([(0, 0), (0, 0.5)], True),
        ([(0, 0), (0, 0.501)], False),
        # another hole that leaves two ends of a window 0.5 mm to each side: it forbids 0.447 mm
        ([(0, 0), (0, 9.99)], True),
        # 0.500 mm, to the very ends
        ([(0, 0), (0, 9.98749)], False),
        ([(0, 0), (0, 10)], False),
        ([(0, 0), (0.1, 9.99)], False),
        ([(0, 0), (0.05, 9.99)], True),
    ],
)
def test_a_window_that_another_hole_parts_or_may_take_over_is_asked_by_itself(places, asked) -> None:
    assert flags(*places) is asked


def test_more_than_two_dozen_windows_are_asked_by_themselves() -> None:
    many = [(20.0 * n - 200, 0.0) for n in range(25)]
    assert not flags(*many[:24])
    assert flags(*many)
    assert not flags(*many, state=HoleState.PLUGGED)


def test_the_same_screws_reused_at_about_one_place_in_two_ways_are_asked_by_themselves() -> None:
    """Spacing 0.6 mm: the first hole finds two old ones 1.1 mm apart, and the second one between them."""
    two = make.piece(PieceName.TOE, Follows.TOE, [(0, 0), (30, 0)])
    assert flags((0, 0), (1.1, 0), (30.55, 0), piece=two, spacing_mm="0.6")
    assert not flags((0, 0), (1.1, 0), piece=two, spacing_mm="0.6")
    assert not flags((0, 0), (30.1, 0), piece=two, spacing_mm="0.6")


@pytest.mark.parametrize(
    ("a_mm", "b_mm", "kept"),
    [(0, 1, True), (0, 1.001, False), (1, 0, True), (0.6, 0.2, True), (1.001, 0, False)],
)
@pytest.mark.parametrize("travel", [(0, 0), (6, 9)])
def test_both_skis_together_reach_what_one_pair_after_the_other_reaches(a_mm, b_mm, kept, travel) -> None:
    """A tolerance of a millimetre, a pair may differ by one; ski B's mark lies 3 mm nearer to the tail."""
    policy = make.p10(reuse_tolerance_mm="1", pair_difference_mm="1")
    rule = rule_for(policy, Construction.NO_METAL)
    piece = replace(LONE, travel_back_um=make.um(travel[0]), travel_forward_um=make.um(travel[1]))
    insert = make.holes([(3 + b_mm, 0)], state=HoleState.OPEN)
    pair = make.pair(make.ski(A, make.holes([(a_mm, 0)])), make.ski(B, insert, mark_mm=797))
    found, _ = fixed_stands(ski_rows([pair], policy), piece, rule, 10_000)
    plain = planned_stands(rule, pair, frame_of(pair), piece, drill=False)
    assert len(found.pair) == len(plain) == (1 if kept else 0)
    if kept:
        [stand] = plain
        a, b = make.um(a_mm), make.um(b_mm)
        back, forward = piece.travel_back_um, piece.travel_forward_um
        assert (found.r_a.tolist(), found.r_b.tolist()) == ([a], [b])
        assert (found.fit_low[0], found.fit_high[0]) == (max(a, b) - back, min(a, b) + forward)
        assert found.hard_low[0] == max(stand.together[0] - back, max(a, b) - back - 1_000)
        assert found.hard_high[0] == min(stand.together[1] + forward, min(a, b) + forward + 1_000)
        assert (found.drilled[0], found.opened[0], found.room[0]) == (0, 2, 10_000)


@pytest.mark.parametrize(("beside_mm", "room_um"), [(10, 0), (10.001, 1), (9.999, None)])
def test_a_screw_drilled_beside_a_reused_one_may_have_no_room_left(beside_mm, room_um) -> None:
    """Spacing 10 mm, all measured here: at 10.000 mm from another old hole it is drilled, at 9.999 mm not."""
    two = make.piece(PieceName.TOE, Follows.TOE, [(0, 0), (60, 0)])
    pair = make.twin_pair([(0, 0), (60 + beside_mm, 0)])
    found, _ = fixed_stands(ski_rows([pair]), two, RULE, 10_000)
    at_first = {int(r): int(room) for r, room in zip(found.r_a, found.room, strict=True)}
    assert at_first.get(0) == room_um


@pytest.mark.parametrize(
    ("b_mm", "asked"),
    [
        ((10, 0), True),
        ((9.5, 0), True),
        ((9.499, 0), False),
        ((-9.5, 0), True),
        ((-9.499, 0), False),
        ((0.6, 0), False),
        ((60, 0), True),
    ],
)
@pytest.mark.parametrize("side", list(Side))
def test_reused_on_one_ski_and_drilled_whole_on_the_other_is_asked_by_itself(b_mm, asked, side) -> None:
    """Unless one hole there forbids all that the reuse leaves: from -0.5 to 0.5 mm of it."""
    old = {side: make.holes([(0, 0)])}
    plugged = make.holes([b_mm], state=HoleState.PLUGGED)
    pair = make.pair(make.ski(A, old.get(A, plugged)), make.ski(B, old.get(B, plugged)))
    _, flagged = fixed_stands(ski_rows([pair]), LONE, RULE, 10_000)
    assert flagged.tolist() == [asked]


def test_alike_skis_are_never_reused_on_one_and_drilled_on_the_other() -> None:
    pair = make.twin_pair([(0, 0)])
    _, flagged = fixed_stands(ski_rows([pair]), LONE, RULE, 10_000)
    assert flagged.tolist() == [False]
