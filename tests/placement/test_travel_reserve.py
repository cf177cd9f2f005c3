"""The shop's reserve of travel: a mount leaves so much of each piece's travel at both ends.

Worked by hand: the heel travels 15 mm each way; mounted for 305 mm on the mark, a 315 mm sole stands with
its heel 10 mm back of the listed end when the centre stays, and 0 when the centre goes 5 mm back.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.base.entries import Head
from fleet.facts.boots import Boot
from fleet.facts.holes import Mount
from fleet.facts.kinds import Kind
from fleet.facts.patterns import Fit, Pattern
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.geometry.life.positions import offsets_um
from planner.geometry.placement.legal import legal_offsets
from planner.geometry.placement.ways import WayFinder
from planner.geometry.why.answer import on_paper
from planner.plan.plan_words import piece_words
from planner.plan.values import PlannedSet, Rung
from planner.planning.judge.set_check import Facts, judge_set
from tests.placement import conftest as make


def shop(reserve_mm: str, *, heel: tuple[float, float] = (15, 15), bsl_mm: float = 305) -> Fleet:
    """One pair mounted for 305 mm, and a boot of ``bsl_mm``."""
    pattern = make.t4h4(heel_travel=heel)
    pair = make.twin_pair(
        make.mount_holes_mm(pattern, 305),
        mounts=[Mount(pattern=pattern.name, bsl_um=305_000, offset_um=0, mounted_on="2024-11-02")],
    )
    return Fleet(
        shop="shop",
        zone="Etc/UTC",
        head=Head(1, "0" * 64),
        policy=default_policy().with_values(travel_reserve_mm=reserve_mm),
        staff={},
        pairs={pair.tag: replace(pair, place=Place.BACK)},
        boots={
            "B": Boot(
                tag="B",
                model="boot",
                mondopoint_mm=270,
                bsl_um=make.um(bsl_mm),
                bsl_measured="printed",
                sole_type="sole",
            )
        },
        bindings={},
        patterns={pattern.name: pattern},
        fits=(Fit(sole_type="sole", pattern=pattern.name, binding_sheet="s", boot_sheet="s"),),
        wishes=(
            Wish(
                wish="W",
                kind=Kind.ALPINE,
                length_min_mm=1,
                length_max_mm=9_999,
                mondopoint_min_mm=1,
                mondopoint_max_mm=999,
                quantity=1,
                priority=1,
            ),
        ),
    )


def adjusted(fleet: Fleet) -> PlannedSet | None:
    pair, boot, pattern = fleet.pairs["P-1"], fleet.boots["B"], fleet.patterns["T4/H4"]
    finder = WayFinder(pair=pair, pattern=pattern, policy=fleet.policy, mounted=True)
    way = finder.way(Rung.ADJUST, boot.bsl_um)
    return way and PlannedSet(wish="W", boot="B", pair="P-1", brake_um=None, way=way)


# The toe is fixed: for a sole of 305 + d its centre lies d/2 back, and the heel is slid d back.
@pytest.mark.parametrize(
    ("reserve_mm", "bsl_mm", "reached"),
    [
        ("0", 320, True),
        ("0", 320.002, False),
        ("3", 317, True),
        ("3", 317.002, False),
        ("3", 293, True),
        ("3", 292.998, False),
        ("3.001", 317, False),
        ("2.999", 317, True),
    ],
)
def test_the_reserve_is_left_to_the_micrometre(reserve_mm: str, bsl_mm: float, reached: bool) -> None:
    fleet = shop(reserve_mm, bsl_mm=bsl_mm)
    planned = adjusted(fleet)
    assert (planned is not None) is reached
    if planned is not None:
        assert list(judge_set(Facts(fleet), planned)) == []


def test_the_judge_sees_one_micrometre_of_the_reserve_used() -> None:
    """The plan was made with no reserve, the shop set one since."""
    planned = adjusted(shop("0", bsl_mm=317))
    assert planned is not None
    assert list(judge_set(Facts(shop("3", bsl_mm=317)), planned)) == []
    said = [str(each) for each in judge_set(Facts(shop("3.001", bsl_mm=317)), planned)]
    assert said == [
        f"W B on P-1 ski {side}: the heel piece slides -12 mm; it travels 15 back and 15 forward,"
        " and the shop's rule leaves 3.001 mm at each end"
        for side in "AB"
    ]


def test_the_sheet_says_end_of_travel_at_the_end_that_the_reserve_leaves() -> None:
    for reserve_mm, said in (("0", False), ("2.999", False), ("3", True)):
        fleet = shop(reserve_mm, bsl_mm=317)
        planned = adjusted(fleet)
        assert planned is not None
        [heel] = piece_words(fleet.pairs["P-1"], fleet.patterns["T4/H4"], planned, fleet.kinds)
        assert ("END OF TRAVEL" in heel.detail) is said, reserve_mm


def test_where_and_life_leave_the_reserve_too() -> None:
    """Old holes of a 305 mm mount; for 317 the toe stays (centre 6 mm back) and the heel slides 12 mm."""

    def reaches(reserve_mm: str) -> tuple[bool, bool]:
        fleet = shop(reserve_mm, bsl_mm=317)
        pair, pattern = fleet.pairs["P-1"], fleet.patterns["T4/H4"]
        legal = legal_offsets(pair=pair, pattern=pattern, bsl_um=317_000, policy=fleet.policy)
        in_old = any(each.drilled_both == 0 and each.low_um <= -6_000 <= each.high_um for each in legal)
        return in_old, offsets_um(pattern, [152_500, -152_500], 317_000, 10_000) is not None

    assert reaches("0") == (True, True)
    assert reaches("3") == (True, True)
    # `where` admits an old hole within the reuse tolerance of 0.5 mm at either piece
    assert reaches("4.001") == (False, False)
    assert reaches("3.001")[1] is False


def test_a_piece_with_too_little_travel_for_the_reserve_is_not_mounted_and_why_says_so() -> None:
    enough = shop("2", heel=(1, 3))
    assert "heel" in enough.patterns["T4/H4"].travelling
    assert enough.patterns["T4/H4"].takes_bsl(305_000)
    short = shop("2.001", heel=(1, 3))
    assert not short.patterns["T4/H4"].takes_bsl(305_000)
    [blocked] = on_paper(short, short.pairs["P-1"], short.boots["B"], short.patterns["T4/H4"])
    assert blocked.what == (
        "the heel piece of T4/H4 travels 4 mm in all; the shop's rule leaves 2.001 mm at each end"
    )


def test_a_piece_without_travel_has_none_to_leave() -> None:
    assert shop("5", heel=(0, 0)).patterns["T4/H4"].takes_bsl(305_000)


def test_another_policy_brings_its_own_reserve() -> None:
    """A what-if changes the policy of a fleet, never the pattern as it was recorded."""
    fleet = shop("3")
    other = replace(fleet, policy=fleet.policy.with_values(travel_reserve_mm="0"))
    assert other.patterns == {"T4/H4": make.t4h4(heel_travel=(15, 15))}
    assert isinstance(other.patterns["T4/H4"], Pattern)
