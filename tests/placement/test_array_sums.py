"""The small sums of the arrays, each against counting out every value in plain Python."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import numpy as np
import pytest

from fleet.base.units import to_half_mm
from fleet.facts.patterns import Follows, PatternHole, Piece, PieceName
from planner.geometry.placement.batch_costs import NO_WAY, Keys
from planner.geometry.placement.batch_fits import _claims, _mean, _Windows
from planner.geometry.placement.batch_rooms import BatchRooms, sliding_most
from planner.geometry.placement.batch_settle import (
    OffsetBits,
    Tried,
    first_offset,
    just_out_of_reach,
    lowest,
    place_of,
    ranges,
    tried,
)
from planner.geometry.placement.hole_table import FAR_UM, joined, to_half
from planner.geometry.placement.settle import candidates, fitting_range, half_steps
from planner.geometry.placement.stands import _mean as mean_of_one

INT = np.int32


def test_the_most_of_each_few_neighbours() -> None:
    values = np.array([[Random(n).randint(-1, 9) for n in range(m, m + 13)] for m in range(5)], INT)
    for wide in range(1, 14):
        plain = [[max(row[k : k + wide]) for k in range(len(row) - wide + 1)] for row in values.tolist()]
        assert sliding_most(values, wide).tolist() == plain


def test_half_millimetres_of_arrays_are_those_of_people() -> None:
    values = [-1000, -751, -750, -749, -251, -250, -249, -1, 0, 1, 249, 250, 251, 749, 750, 751, 1000]
    assert to_half(np.array(values, np.int64)).tolist() == [to_half_mm(value) for value in values]


def test_a_mean_is_rounded_to_the_nearest_and_a_half_away_from_the_mark() -> None:
    cases = {(3, 2): 2, (-3, 2): -2, (1, 3): 0, (2, 3): 1, (-2, 3): -1, (-1, 3): 0, (5, 1): 5, (0, 4): 0}
    total, count = (np.array(each, np.int64) for each in zip(*cases, strict=True))
    assert _mean(total, count).tolist() == list(cases.values())
    assert _mean(np.array([0]), np.array([0])).tolist() == [0], "where nothing is claimed"
    assert [mean_of_one([1, 2]), mean_of_one([-1, -2]), mean_of_one([0, 0, 1])] == [2, -2, 0]


def test_all_that_is_equal_is_joined() -> None:
    """Values 2, 2, 5; wanted 5, 1, 2, 2: each with each that is like it, in the order of what is wanted."""
    wanted, value = joined(np.array([2, 2, 5]), np.array([5, 1, 2, 2]))
    assert list(zip(wanted.tolist(), value.tolist(), strict=True)) == [(0, 2), (2, 0), (2, 1), (3, 0), (3, 1)]
    nothing = np.zeros(0, np.intp)
    assert [each.tolist() for each in joined(nothing, np.array([3]))] == [[], []]
    assert [each.tolist() for each in joined(np.array([3]), nothing)] == [[], []]


def test_the_sets_of_windows_that_hold_some_place() -> None:
    """Against trying every place; windows that only touch, nested ones, and one micrometre between two."""
    chance = Random(3)
    low = np.array([[chance.randint(0, 6) for _ in range(3)] for _ in range(300)], np.int64)
    high = low + np.array([[chance.randint(0, 3) for _ in range(3)] for _ in range(300)], np.int64)
    empty = np.array([[chance.random() < 0.3 for _ in range(3)] for _ in range(300)])
    low[empty], high[empty] = FAR_UM, -FAR_UM
    nothing = np.zeros_like(low)
    row, bits = _claims(_Windows(np.arange(300), nothing, nothing, nothing, low, high, empty))
    found = sorted(zip(row.tolist(), bits.tolist(), strict=True))
    plain = sorted(
        {
            (n, sum(1 << k for k in range(3) if low[n, k] <= r <= high[n, k]))
            for n in range(300)
            for r in range(11)
        }
    )
    assert found == [(n, claims) for n, claims in plain if claims]


def test_offsets_stand_in_the_order_in_which_they_are_tried() -> None:
    tried = sorted(range(-4, 5), key=lambda step: (abs(step), step))
    assert place_of(np.array(tried)).tolist() == list(range(9))
    assert lowest(np.int64(1) << np.arange(62)).tolist() == sorted(
        range(-31, 31), key=lambda step: (abs(step), step)
    )
    assert lowest(np.array([0b1010, 0b1100, 0b10001])).tolist() == [-1, 1, 0]


@pytest.mark.parametrize("most", [0, 1, 3, 30])
def test_bits_of_offsets_from_one_to_another(most: int) -> None:
    bits = OffsetBits(most)
    steps = np.arange(-most - 2, most + 3)
    for first in {-most - 2, -most - 1, -most, -1, 0, 1, most, most + 1}:
        within = bits.within(np.full(len(steps), first), steps)
        for last, some in zip(steps.tolist(), within.tolist(), strict=True):
            held = [s for s in steps.tolist() if bits.has(np.array([some]), np.array([s]))[0]]
            assert held == [s for s in range(-most, most + 1) if first <= s <= last]


def any_ranges(chance: Random) -> tuple[int, int, int, int]:
    """Hard and fit; some fits contradict themselves (low above high), some lie outside the hard range."""
    hard = chance.randint(-1600, 1200)
    fit = chance.randint(-1600, 1600)
    return (
        hard,
        hard + chance.choice([0, 1, 249, 250, 500, 1300]),
        fit,
        fit + chance.choice([0, 1, 249, 250, 499, 500, 1100, -1, -2, -501]),
    )


def test_the_first_offset_of_arrays_is_the_first_candidate_of_one() -> None:
    chance = Random(5)
    cases = [any_ranges(chance) for _ in range(4000)]
    edges = (-751, -750, -749, -500, -251, -250, -249, -1, 0, 1, 249, 250, 251, 500, 749, 750, 751)
    cases += [(-9000, 9000, low, high) for low in edges for high in edges]
    cases += [(low, high, low, high) for low in edges for high in edges if low <= high]
    of = ranges(*(np.array(each, np.int64) for each in zip(*cases, strict=True)))
    there, offset = first_offset(of)
    for n, (hard_low, hard_high, fit_low, fit_high) in enumerate(cases):
        best = fitting_range((hard_low, hard_high), [(fit_low, fit_high)])
        assert (of.best_low[n], of.best_high[n]) == best
        first = next(candidates((hard_low, hard_high), best), None)
        assert (offset[n] if there[n] else None) == first, cases[n]


def test_with_a_free_piece_the_first_candidate_with_room_is_taken_and_what_is_as_good_is_told() -> None:
    """Against the candidates of one combination; room at some half millimetres, from -4 to 4 of them."""
    chance = Random(7)
    most = 4
    cases = [any_ranges(chance) for _ in range(4000)]
    open_at = [{s for s in range(-most, most + 1) if chance.random() < 0.6} for _ in cases]
    of = ranges(*(np.array(each, np.int64) for each in zip(*cases, strict=True)))
    bits = np.array([sum(1 << int(place_of(np.int64(s))) for s in steps) for steps in open_at], np.int64)
    found = tried(of, bits, OffsetBits(most))
    for n, (hard_low, hard_high, fit_low, fit_high) in enumerate(cases):
        best = fitting_range((hard_low, hard_high), [(fit_low, fit_high)])
        low, high = max(hard_low, best[0]), min(hard_high, best[1])
        offered = [u for u in candidates((hard_low, hard_high), best) if u % 500 == 0]
        taken = [u // 500 for u in offered if u // 500 in open_at[n]]
        alike = len(taken) > 1 and (not half_steps(*best) or taken[1] == -taken[0])
        assert found.settled[n] == bool(taken)
        assert found.again[n] == alike
        if taken:
            assert found.first[n] == taken[0]
        if alike:
            assert found.second[n] == taken[1]
        assert (found.low[n], found.high[n]) == (low, high)
        below, above = low // 500, -(-high // 500)
        assert (found.below[n], found.above[n]) == (below, above)
        assert found.below_tried[n] == (below * 500 in offered)
        assert found.above_tried[n] == (above * 500 in offered)
        assert found.taken[n] == (below in taken or above in taken)
        assert found.nearest[n] == min(max(0, low), high)
        lone = low <= high and low % 500 != 0 and high % 500 != 0 and above - below == 1
        assert found.between[n] == (lone and not found.taken[n])


@pytest.mark.parametrize(
    ("low", "high", "legal", "at_top", "at_foot"),
    [
        # the boot's end may lie from 260 to 400 beyond the mark, and the piece goes 1 back, 0.5 forward
        (260, 400, {3}, True, False),
        (260, 400, {2, 3}, False, False),
        (260, 400, {-1}, False, False),
        (100, 240, {-1}, False, True),
        (100, 240, {-1, 0}, False, False),
        (100, 240, {3}, False, False),
        (250, 250, {3, -1}, True, True),
        (251, 251, {3, -1}, True, False),
        (249, 249, {3, -1}, False, True),
        (1, 499, {3, -1}, True, True),
        (0, 499, {3, -1}, True, False),
        (400, 260, {3, -1}, False, False),
        (260, 400, set(), False, False),
    ],
)
def test_a_stretch_just_out_of_reach_is_less_than_a_quarter_away(low, high, legal, at_top, at_foot) -> None:
    """Places from -2 to 4 half millimetres; beyond them nothing is legal."""
    room = np.array([[5 if k in legal else -1 for k in range(-2, 5)]], INT)
    rooms = BatchRooms(start=-2, room=room, start_at=0, best=room, short=None)
    piece = Piece(
        name=PieceName.TOE,
        follows=Follows.CENTRE,
        holes=(PatternHole(x_um=0, y_um=0, diameter_um=None),),
        travel_back_um=1000,
        travel_forward_um=500,
    )
    one = {name: np.array([False]) for name in ("settled", "again", "below_tried", "above_tried", "taken")}
    zero = np.array([0])
    found = Tried(first=zero, second=zero, low=np.array([low]), high=np.array([high]), **one)
    ends = np.array([0])
    top, foot = just_out_of_reach(rooms, piece, np.array([0]), ends, found)
    assert (top.tolist(), foot.tolist()) == ([at_top], [at_foot])
    tried_there = replace(found, below_tried=np.array([True]), above_tried=np.array([True]))
    top, foot = just_out_of_reach(rooms, piece, np.array([0]), ends, tried_there)
    assert (top.tolist(), foot.tolist()) == ([False], [False])
    for beyond in (-5, 5):
        top, foot = just_out_of_reach(rooms, piece, np.array([0]), ends + beyond, found)
        assert (top.tolist(), foot.tolist()) == ([False], [False])


def test_half_steps_begin_at_their_base_whatever_the_ends() -> None:
    for low in (-501, -500, -499, -1, 0, 1, 499):
        for base in (-750, -1, 0, 130, 500):
            plain = [u for u in range(low, low + 1201) if (u - base) % 500 == 0]
            assert list(half_steps(low, low + 1200, base_um=base)) == plain


def test_a_key_orders_by_holes_then_minutes_then_offset_then_clearance_and_is_read_back() -> None:
    cap = 10_000
    ways = [
        (drilled, minutes, offset, clearance)
        for drilled in (0, 1, 16)
        for minutes in (0, 1, 1_000_000)
        for offset in (0, 1, 30_000)
        for clearance in (0, 1, cap)
    ]
    keys = Keys(len(ways), 2, cap)
    each = [np.array(values, np.int64) for values in zip(*ways, strict=True)]
    found = keys.of(*each)
    in_order = sorted(ways, key=lambda w: (w[0], w[1], w[2], -w[3]))
    assert [ways[n] for n in np.argsort(found)] == in_order
    rows = np.arange(len(ways))
    keys.add(rows, np.ones_like(rows), np.full(len(ways), 3), found)
    keys.add(rows, np.ones_like(rows), np.full(len(ways), 3), found + 1)
    there, drilled, minutes, offset, clearance = keys.parts()
    assert there[:, 1, 3].all()
    assert there.sum() == len(ways)
    assert (keys.least == NO_WAY).sum() == keys.least.size - len(ways)
    read = zip(*(part[:, 1, 3].tolist() for part in (drilled, minutes, offset, clearance)), strict=True)
    assert list(read) == ways
    part = Keys(2, 1, cap)
    part.add(np.array([0, 1]), np.array([0, 0]), np.array([1, 2]), np.array([7, 9]))
    keys.put(np.array([5, 3]), np.array([0]), part)
    assert (keys.least[5, 0, 1], keys.least[3, 0, 2], keys.least[3, 0, 1]) == (7, 9, NO_WAY)
