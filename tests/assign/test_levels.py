"""A level of the objective is complete in every room, or the program does not start."""

from __future__ import annotations

import pytest

from planner.plan.objective import (
    CLEARANCE,
    COST_LEVELS,
    DRILLED,
    IF_COUNTED,
    MINUTES,
    OFFSET,
    ROOM,
    WORTH,
    Totals,
    a_field_for_every,
    levels_of,
    of_every_level,
)
from planner.planning.assign.problem import COST_OF, Arcs
from planner.planning.judge.certificate import COUNT_OF

NAMES = [level.name for level in COST_LEVELS]


def test_solver_judge_and_totals_know_every_level_and_each_knows_it_by_its_own_function() -> None:
    assert sorted(COST_OF) == sorted(COUNT_OF) == sorted(NAMES)
    assert set(NAMES) <= set(Arcs.__slots__)
    assert {level.total for level in COST_LEVELS} <= set(Totals.__slots__)
    assert all(COST_OF[name].way is not COUNT_OF[name].way for name in NAMES)  # type: ignore[comparison-overlap]


def test_a_level_left_out_is_refused_when_a_room_is_imported_and_so_is_one_too_many() -> None:
    with pytest.raises(LookupError, match="room_lost"):
        of_every_level(dict.fromkeys(NAMES[:-1], 0))
    with pytest.raises(LookupError, match="plugged"):
        of_every_level(dict.fromkeys([*NAMES, "plugged"], 0))


def test_a_level_without_its_field_is_refused_when_the_program_starts() -> None:
    """Of the totals that people are told, and of the columns that the solver adds up."""
    a_field_for_every(NAMES, Arcs)
    for owner in (Totals, Arcs):
        with pytest.raises(LookupError, match=f"{owner.__name__} has no field plugged, which a level needs"):
            a_field_for_every(["minutes", "plugged"], owner)


def test_sets_served_come_first_priority_by_priority_then_the_costs_in_order() -> None:
    levels = levels_of([3, 1, 3])
    assert [level.priority for level in levels] == [1, 3, None, None, None, None]
    assert levels[2:] == COST_LEVELS[1:-1]
    assert levels_of([3, 1, 3], [ROOM])[2:] == COST_LEVELS[1:]
    assert levels_of([3, 1, 3], IF_COUNTED)[2:] == COST_LEVELS
    assert [level.figure(level.total_for(-5, sets=0, cap_um=0)) for level in levels[:1]] == ["5 sets served"]


@pytest.mark.parametrize(
    ("level", "change", "words"),
    [
        (levels_of([1])[0], -1, "1 set of priority 1 fewer"),
        (DRILLED, 2, "2 holes more"),
        (ROOM, 2, "2 further mounts taken more"),
        (WORTH, -3, "3 points of worth of mounts fewer"),
        (MINUTES, -7, "7 min less"),
        (OFFSET, 1500, "1.5 mm more off the marks in all"),
        (CLEARANCE, -499, "less than 0.5 mm less clearance in all"),
    ],
)
def test_a_difference_is_told_in_the_words_of_its_level(level, change: int, words: str) -> None:
    assert level.difference(change) == words
