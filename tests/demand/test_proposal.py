"""Wants proposed from past rentals: what the file says, with the shop's policy, and nothing invented."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.base.errors import BadInput
from fleet.facts.kinds import Kind
from fleet.facts.policy import default_policy
from planner.planning.seasons.rentals import Rental
from planner.planning.seasons.seasons import lines_of, propose
from planner.planning.seasons.want_entries import entries_of


def winter(year: int, at_once: int) -> list[Rental]:
    """So many sets out over the same three days."""
    return [
        Rental(
            first=date(year, 12, 27),
            last=date(year, 12, 29),
            kind=Kind.ALPINE,
            length_mm=1710,
            mondopoint_mm=275,
        )
        for _ in range(at_once)
    ]


PAST = [r for year, n in ((2021, 10), (2022, 12), (2023, 12), (2024, 15)) for r in winter(year, n)]


def test_the_proposal_is_the_quantile_of_the_peaks() -> None:
    """Peaks 10, 12, 12, 15: ready for 90 % is 15; with costs of 3 and 1, ready for 75 %, it is 12."""
    (line,) = propose(PAST, default_policy()).lines
    assert (line.wish.quantity, line.next_worth) == (15, 0.0)
    assert (line.wish.length_min_mm, line.wish.length_max_mm) == (1700, 1749)
    assert (line.wish.mondopoint_min_mm, line.wish.mondopoint_max_mm) == (270, 279)
    policy = default_policy().with_values(wanted_refusal_cost="3", wanted_idle_cost="1")
    found = propose(PAST, policy)
    assert (found.ready, found.lines[0].wish.quantity, found.lines[0].next_worth) == (0.75, 12, 0.25)
    assert "from 4 past seasons, ready for 75% of them" in next(lines_of(found))


def test_sampled_seasons_are_the_same_every_time_and_near_the_past() -> None:
    """Seeded by the past itself: the same file, the same wants; the median stays near the mean of 12.25."""
    policy = default_policy().with_values(wanted_ready_percent="50")
    first, second = (propose(PAST, policy, sampled=400) for _ in range(2))
    assert first == second
    assert abs(first.lines[0].wish.quantity - 12.25) <= 1


def test_earlier_proposals_that_are_not_made_again_are_withdrawn() -> None:
    """Only wants that were proposed by this command; the shop's own stay."""
    wishes = [line.wish for line in propose(PAST, default_policy()).lines]
    made = list(entries_of(wishes, ("PAST-01", "PAST-02", "W-01"), name="PAST"))
    assert [(event.WHAT, event.body()["wish"]) for event in made] == [
        ("wish withdrawn", "PAST-02"),
        ("wish recorded", "PAST-01"),
    ]


def test_nothing_rented_is_no_proposal() -> None:
    """An empty file is said to be one."""
    with pytest.raises(BadInput, match="holds no rental"):
        propose([], default_policy())
