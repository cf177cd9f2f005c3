"""The order of tightening. Common practice, no source: diagonally, after all screws are in."""

from __future__ import annotations

from itertools import permutations

from hypothesis import given, strategies as st

from planner.bench.orders.book import tightening_order

_PLACES = st.lists(st.tuples(st.integers(-90, 90), st.integers(-40, 40)), unique=True, max_size=8)


@given(_PLACES)
def test_every_screw_is_tightened_once(holes):
    assert sorted(tightening_order(holes)) == list(range(len(holes)))


@given(_PLACES.filter(lambda holes: len(holes) > 1))
def test_no_two_screws_lie_farther_apart_than_the_first_two(holes):
    def squared(i: int, j: int) -> int:
        return (holes[i][0] - holes[j][0]) ** 2 + (holes[i][1] - holes[j][1]) ** 2

    first, second, *_ = tightening_order(holes)
    assert squared(first, second) == max(squared(i, j) for i, j in permutations(range(len(holes)), 2))


@given(st.integers(10, 90), st.integers(5, 40), st.permutations(range(4)))
def test_four_screws_go_crosswise_however_they_are_listed(length, half_width, listed):
    corners = [(0, -half_width), (0, half_width), (-length, -half_width), (-length, half_width)]
    holes = [corners[i] for i in listed]
    order = [holes[i] for i in tightening_order(holes)]
    assert order == [(0, -half_width), (-length, half_width), (0, half_width), (-length, -half_width)]


def test_a_fifth_screw_on_the_centre_line_is_tightened_with_the_others_crosswise():
    # toe piece of five: front centre, then two crosswise pairs
    holes = [(2, 0), (-18, -15), (-18, 15), (-52, -17), (-52, 17)]
    order = tightening_order(holes)
    assert {order[0], order[1]} in ({0, 3}, {0, 4})
    assert len(order) == 5


def test_one_screw_and_none_are_no_trouble():
    assert tightening_order([]) == ()
    assert tightening_order([(3, 4)]) == (0,)
