"""What multipliers prove of a sum with limits: worked by hand, and never more than is true."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import product

import pytest

from planner.plan.objective import CaseProof, CaseSplit, LevelProof
from planner.planning.judge.bound import BoundColumns, BoundRow, _values_of, proved_bounds
from tests.judge.choices import Choice, choices, claim, closed


def level(
    value: int,
    *rows: int,
    scale: int = 1,
    earlier: tuple[int, ...] = (),
    cases: CaseSplit | None = None,
) -> LevelProof:
    return claim(value, rows, earlier, scale=scale, cases=cases)


# One limit 2 <= x + y <= 3; x and y at most 2 times each; x costs 3, y costs 5, and 1 each at a second level.
def limit() -> list[BoundRow]:
    return [BoundRow(2, 3)]


def x_and_y() -> BoundColumns:
    return choices(Choice((3, 1), 2, ((0, 1),)), Choice((5, 1), 2, ((0, 1),)))


@pytest.mark.parametrize(
    ("levels", "proved"),
    [
        # nothing charged: every column may stay at 0
        ([level(6, 0)], [0]),
        # 3 for each of the least 2: x costs nothing more, y 2 more
        ([level(6, 3)], [6]),
        # 4 for each: 8, less 1 for each of 2 x
        ([level(6, 4)], [6]),
        # 5 for each: 10, less 2 for each of 2 x
        ([level(6, 5)], [6]),
        # 7 for each: 14, less 4 for each of 2 x, less 2 for each of 2 y
        ([level(6, 7)], [2]),
        # a negative multiplier charges the most: -1 for each of 3
        ([level(6, -1)], [-3]),
        # half of 5 is 2.5: rounded up
        ([level(6, 5, scale=2)], [5]),
        ([level(6, -1, scale=2)], [-1]),
        # the value claimed is less than what is proved: nothing holds from there on
        ([level(5, 3), level(2, 1, earlier=(0,))], [6, None]),
        # proved at 6: 2 x exactly, charged 1 each at the second level, or -1
        ([level(6, 3), level(2, 1, earlier=(0,))], [6, 2]),
        ([level(6, 3), level(2, -1, earlier=(0,))], [6, -2]),
        # 6 claimed, 0 proved: the second level stands on plans of at most 6, charged for what the first allows
        ([level(6, 0), level(2, 0, earlier=(0,))], [0, 0]),
        ([level(6, 0), level(2, 0, earlier=(-1,))], [0, -6]),
        # a level that the proof missed is no limit from below
        ([level(6, 0), level(2, 0, earlier=(1,))], [0, None]),
        # proved at 6, it is: 2 for each of 6, less 5 for each of 2 x that are left
        ([level(6, 3), level(2, 0, earlier=(2,))], [6, 2]),
    ],
)  # fmt: skip
def test_a_small_sum_by_hand(levels: list[LevelProof], proved: list[int | None]) -> None:
    assert proved_bounds(limit(), x_and_y(), levels) == proved


def test_a_limit_without_a_least_is_charged_at_its_most_only() -> None:
    assert proved_bounds([BoundRow(None, 3)], x_and_y(), [level(6, 1)]) == [None]
    assert proved_bounds([BoundRow(None, 3)], x_and_y(), [level(6, -1)]) == [-3]
    assert proved_bounds([BoundRow(None, 3)], x_and_y(), [level(6, 1), level(2, -1, earlier=(0,))]) == [
        None,
        -3,
    ]


def test_what_costs_more_than_the_gap_leaves_and_what_costs_the_gap_stays() -> None:
    """6 proved of 8 claimed: a gap of 2. y costs 2 more and may stay, at 3 more it may not."""
    for cost, most in ((5, 2), (6, 0)):
        columns = choices(Choice((3,), 2, ((0, 1),)), Choice((cost,), 2, ((0, 1),)))
        proved_bounds(limit(), columns, [level(8, 3)])
        assert columns.upper == [2, most]


def test_what_saves_more_than_the_gap_is_taken_as_often_as_may_be() -> None:
    """With 5 for each, x saves 2 each: 6 proved. Claimed 8, x stays free; claimed 7, both x are taken."""
    for value, least in ((8, 0), (7, 2)):
        columns = x_and_y()
        proved_bounds(limit(), columns, [level(value, 5)])
        assert columns.lower == [least, 0]


def test_a_column_that_must_be_taken_is_charged() -> None:
    """y at least once: 5, and the other one of the limit is an x."""
    columns = choices(Choice((3, 1), 2, ((0, 1),)), Choice((5, 1), 2, ((0, 1),), lower=1))
    assert proved_bounds(limit(), columns, [level(8, 3)]) == [8]
    fixed = choices(Choice((3, 1), 0, ((0, 1),)), Choice((5, 1), 2, ((0, 1),), lower=2))
    assert proved_bounds(limit(), fixed, [level(10, 3), level(2, 0, earlier=(0,))]) == [10, 2]


def test_a_limit_that_costs_more_than_the_gap_is_met_exactly() -> None:
    """At 3 for each of the least 2: claimed 8, the gap is 2 and the limit met; claimed 9, it is not."""
    for value, most in ((8, 2), (9, 3)):
        rows = limit()
        proved_bounds(rows, x_and_y(), [level(value, 3)])
        assert (rows[0].lower, rows[0].upper) == (2, most)
    for value, least in ((-3, 3), (-2, 2)):
        rows = limit()
        proved_bounds(rows, choices(Choice((-1,), 9, ((0, 1),))), [level(value, -1)])
        assert (rows[0].lower, rows[0].upper) == (least, 3)
    rows = [BoundRow(None, 3)]
    proved_bounds(rows, choices(Choice((-2,), 9, ((0, 1),))), [level(-6, -2)])
    assert (rows[0].lower, rows[0].upper) == (3, 3)


def test_multipliers_of_other_limits_are_no_proof() -> None:
    """A multiplier too few, or one too many for the levels before."""
    with pytest.raises(ValueError, match="shorter"):
        proved_bounds(limit(), x_and_y(), [level(6)])
    with pytest.raises(ValueError, match="longer"):
        proved_bounds(limit(), x_and_y(), [level(6, 3), level(2, 0)])


def test_a_value_moves_by_the_step_that_free_columns_share() -> None:
    """1 <= x + y, 2 each for 4 and 6, charged 3: 3 is proved, and no plan has it: a plan costs 4, 6, 8 ..."""
    four_and_six = [Choice((4,), 2, ((0, 1),)), Choice((6,), 2, ((0, 1),))]
    assert proved_bounds([BoundRow(1, 4)], choices(*four_and_six), [level(4, 3)]) == [4]
    # with a third that costs 1 more a plan may cost 3
    third = [*four_and_six, Choice((1,), 1, ())]
    assert proved_bounds([BoundRow(1, 4)], choices(*third), [level(4, 3)]) == [3]
    # one that must be taken moves them all: with the first alone 5, 9, 13 ...
    must = [four_and_six[0], Choice((5,), 1, (), lower=1)]
    assert proved_bounds([BoundRow(1, 4)], choices(*must), [level(9, 2)]) == [9]


def by_cases(fewer: tuple[int, ...], more: tuple[int, ...], *, at_most: int = 1) -> CaseSplit:
    """Of the columns called 7: at most so many, or more; each case with a multiplier of the limit, and one
    of the count.
    """
    fewer_proof, more_proof = (closed(each[:1], each[1:]) for each in (fewer, more))
    return CaseSplit(figures=(7, None), at_most=at_most, fewer=fewer_proof, more=more_proof)


@pytest.mark.parametrize(
    ("cases", "proved"),
    [
        # 3 <= 2 x at 4 each: by fractions 1.5 x for 6, and no cases
        (None, 6),
        # at most one x cannot reach 3: 6 for each of 3, less 8 for the one; two x or more cost 8
        (by_cases((6, -8), (0, 4)), 8),
        # 6 for each of the 3, less 6 for the one, less 2 for each of 3 x: 6, as without the cases
        (by_cases((6, -6), (0, 4)), 6),
        # two x or more, charged 3 for each of them: 6
        (by_cases((6, -8), (0, 3)), 6),
        # at most two x: they are 8, but nothing is said here that proves it, 6 for each of 3, less 8 each
        (by_cases((6, -8), (0, 4), at_most=2), 6),
        # more than none may be one
        (by_cases((6, -8), (0, 4), at_most=0), 6),
        # a count without a multiplier of its own, or with two, is no proof
        (by_cases((6,), (0, 4)), 6),
        (by_cases((6, -8), (0, 4, 0)), 6),
    ],
)  # fmt: skip
def test_two_cases_by_hand(cases: CaseSplit | None, proved: int) -> None:
    x, loose = Choice((4,), 3, ((0, 2),), figures=(7, 1)), Choice((1,), 1, (), figures=(8, 1))
    assert proved_bounds([BoundRow(3, 9)], choices(x, loose), [level(8, 2, cases=cases)]) == [proved]


def test_a_case_counts_the_columns_with_its_figures_and_no_others() -> None:
    """The same cases about columns called 9, which are none, prove no more than no cases."""
    cases = replace(by_cases((6, -8), (0, 4)), figures=(9, None))
    x, loose = Choice((4,), 3, ((0, 2),), figures=(7, 1)), Choice((1,), 1, (), figures=(8, 1))
    assert proved_bounds([BoundRow(3, 9)], choices(x, loose), [level(8, 2, cases=cases)]) == [6]


def test_what_cases_prove_holds_for_the_levels_after_it() -> None:
    """x twice, proved by cases: a limit from below at the next level, 1 for each 4 of the 8."""
    x, loose = Choice((4, 1), 3, ((0, 2),), figures=(7, 1)), Choice((1, 1), 1, (), figures=(8, 1))
    first = level(8, 2, cases=by_cases((6, -8), (0, 4)))
    second = claim(2, (0,), (1,), scale=4)
    assert proved_bounds([BoundRow(3, 9)], choices(x, loose), [first, second]) == [8, 2]
    assert proved_bounds([BoundRow(3, 9)], choices(x, loose), [replace(first, cases=None), second]) == [
        6,
        None,
    ]


def drawn_cases(chance: random.Random, earlier: int, depth: int = 0) -> CaseProof:
    """Cases with any multipliers, right or wrong."""
    if depth < 2 and chance.random() < 0.6:
        split = CaseSplit(
            figures=(chance.choice([None, 0, 1]), chance.choice([None, 0, 1])),
            at_most=chance.randint(0, 2),
            fewer=drawn_cases(chance, earlier, depth + 1),
            more=drawn_cases(chance, earlier, depth + 1),
        )
        return CaseProof(split=split)
    return closed(
        scale=chance.choice([1, 2]),
        rows=[chance.randint(-3, 3) for _ in range(2)],
        earlier=[chance.randint(-2, 2) for _ in range(earlier)],
        counts=[chance.randint(-3, 3) for _ in range(depth)],
    )


def test_no_multipliers_prove_more_than_is_true() -> None:
    """Small sums drawn at random, every choice counted out: what is proved is never above the least there is."""
    chance, tight = random.Random(3), 0
    for _ in range(4000):
        ys = [tuple(chance.randint(-3, 3) for _ in range(2)) for _ in range(2)]
        rows = [BoundRow(chance.choice([None, 0, 1]), chance.randint(1, 4)) for _ in range(2)]
        columns = [
            Choice(
                tuple(chance.randint(-3, 5) for _ in range(2)),
                chance.randint(0, 2),
                tuple((r, chance.choice([-1, 1, 2])) for r in range(2)),
                figures=chance.choice([(), (0, 0), (0, 1), (1, 1)]),
            )
            for _ in range(3)
        ]
        plans = [
            tuple(sum(c.costs[n] * times for c, times in zip(columns, chosen, strict=True)) for n in range(2))
            for chosen in product(*(range(c.upper + 1) for c in columns))
            if all(
                (row.lower is None or row.lower <= taken) and taken <= row.upper
                for r, row in enumerate(rows)
                for taken in [sum(dict(c.rows)[r] * t for c, t in zip(columns, chosen, strict=True))]
            )
        ]
        if not plans:
            continue
        first = min(plan[0] for plan in plans) + chance.choice([0, 0, 1])
        second = min(plan[1] for plan in plans if plan[0] <= first)
        earlier = (chance.randint(-2, 2),)
        cases = [chance.choice([None, drawn_cases(chance, number)]) for number in range(2)]
        levels = [
            level(first, *ys[0], scale=chance.choice([1, 2]), cases=cases[0]),
            level(second, *ys[1], earlier=earlier, cases=cases[1]),
        ]
        bounds = proved_bounds(rows, choices(*columns), levels)
        assert bounds[0] is None or bounds[0] <= min(plan[0] for plan in plans)
        assert bounds[1] is None or bounds[1] <= second
        tight += bounds == [first, second] and cases != [None, None]
    assert tight > 3


def leaning(second: int, third: LevelProof) -> list[int | None]:
    """x, at most 5 times: worth 1, costs 3, saves 1 of the third. Asked: 2 x; so 6 at the least, 3 for each.

    The first level is asked for, and could be better (5 x); the second leans on it by 3.
    """
    x = Choice((-1, 3, -1), 5, ())
    return proved_bounds([], choices(x), [level(-2), level(second, earlier=(-3,)), third])


def test_a_level_that_a_later_one_leans_on_is_met_exactly() -> None:
    lower = level(-2, earlier=(1, 0))
    # more than 2 x would cost more than 6: just 2 are left, which save 2
    assert leaning(6, lower) == [-5, 6, -2]
    # 3 x cost 9, so that 3 may be saved: the lean is no more than the gap, and the first is no limit from below
    assert leaning(9, lower) == [-5, 6, None]
    assert leaning(8, lower) == [-5, 6, -2]  # 3 x would cost 9, which is more than 8


def test_no_multipliers_of_three_levels_prove_more_than_is_true() -> None:
    """The first asked for at some value, the others best of what is no worse, every choice counted out."""
    chance, leant = random.Random(5), 0
    for _ in range(6000):
        columns = [
            Choice(
                (chance.randint(-2, 0), chance.randint(0, 4), chance.randint(-3, 3)), chance.randint(0, 2), ()
            )
            for _ in range(3)
        ]
        chosen = product(*(range(c.upper + 1) for c in columns))
        plans = [
            tuple(sum(c.costs[n] * t for c, t in zip(columns, times, strict=True)) for n in range(3))
            for times in chosen
        ]
        first = chance.choice(plans)[0]
        left = [plan for plan in plans if plan[0] <= first]
        second = min(plan[1] for plan in left) + chance.choice([0, 0, 1])
        third = min(plan[2] for plan in left if plan[1] <= second)
        levels = [
            level(first),
            level(second, earlier=(chance.randint(-4, 0),)),
            level(third, earlier=(chance.randint(-2, 3), chance.randint(-2, 2))),
        ]
        bounds = proved_bounds([], choices(*columns), levels)
        assert bounds[1] is None or bounds[1] <= min(plan[1] for plan in left)
        assert bounds[2] is None or bounds[2] <= third
        leant += bounds[2] == third and bounds[0] != first and levels[2].multipliers["earlier"][0] > 0
    assert leant > 10


def test_where_no_column_is_free_a_bound_rises_to_the_next_whole_value() -> None:
    fixed = choices(Choice(costs=(4,), upper=1, rows=(), lower=1))
    assert _values_of(fixed, 0).from_below(5, 2) == 3


def test_cases_count_the_columns_that_are_left_after_others_were_closed() -> None:
    """The two cases by hand again, as a second level: the first one closes three of five columns."""
    x = Choice((0, 4), 3, ((0, 2),), figures=(7, 1))
    loose = Choice((0, 1), 1, (), figures=(8, 1))
    dear = [Choice((5, 0), 3, ((0, 2),), figures=(7, 1))] * 3
    cases = replace(
        by_cases((6, -8), (0, 4)),
        fewer=closed([6], [-8], [0]),
        more=closed([0], [4], [0]),
    )
    levels = [level(0, 0), level(8, 2, earlier=(0,), cases=cases)]
    assert proved_bounds([BoundRow(3, 9)], choices(*dear, x, loose), levels) == [0, 8]
