"""Every way that is offered stands before the judge, who has never heard of sweeps."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given, settings, strategies as st

from fleet.base.entries import Head
from fleet.facts.boots import Boot
from fleet.facts.holes import Mount, Side
from fleet.facts.kinds import Kind
from fleet.facts.patterns import Fit, Follows, Pattern, PieceName
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.intervals import holds
from planner.geometry.placement.legal import LegalFinder, offsets_only
from planner.geometry.placement.ways import WayFinder
from planner.plan.values import PlannedSet, Rung
from planner.planning.judge.set_check import Facts, judge_set
from tests.placement import conftest as make
from tests.placement.any_pair import any_pair, any_pattern

COSTS = ("rung", "drilled", "plugged", "minutes", "offset_um", "clearance_um")


def any_case(seed: int):
    """(fleet of one pair and boot, pattern, mounted)."""
    chance = Random(seed)
    pattern = replace(any_pattern(chance), bsl_max_um=None)
    pin_um = None
    if chance.random() < 0.15:
        pin_um = 60_000
        pins = make.piece(PieceName.TOE, Follows.MARK, [(20, 15), (20, -15), (-20, 0)], travel=(1, 0))
        heel = make.piece(PieceName.HEEL, Follows.HEEL, [(0, 12), (0, -12)])
        pattern = Pattern(name="any", binding_model="any", pieces=(pins, heel))
    pair = any_pair(chance)
    if chance.random() < 0.3:  # one clean old mount of the pattern itself
        old = make.mount_holes_mm(pattern, chance.randrange(285, 335, 5), chance.choice([0, 0, 7]))
        pair = make.twin_pair([(x + chance.choice([0, 0.13]), y) for x, y in old])
    mounted = chance.random() < 0.5
    bsl_um = make.um(chance.randrange(275, 340))
    if mounted:
        mount = Mount(
            pattern=pattern.name,
            bsl_um=bsl_um if chance.random() < 0.3 else make.um(chance.randrange(275, 340)),
            offset_um=chance.choice([0, 0, 2_000, -12_000]),
            mounted_on="2024-11-02",
        )
        since = Random(f"set since {seed}")  # by the counter, for the boot at hand or another
        set_for = since.choice([None, bsl_um, make.um(since.randrange(275, 340))])
        mount = replace(mount, set_for_um=set_for, still_set=set_for == mount.bsl_um, set_again=True)
        pair = replace(pair, mounts=(mount,), place=Place.BACK)
    fleet = Fleet(
        shop="shop",
        zone="Etc/UTC",
        head=Head(1, "0" * 64),
        policy=default_policy().with_values(
            edge_mm=chance.choice(["0", "8"]),
            extra_stripped_mm=chance.choice(["0", "1.5"]),
            wall_min_mm=chance.choice(["", "", "7"]),
            reuse_spacing_mm=Random(f"between old {seed}").choice(["", "", "6", "14"]),
            travel_reserve_mm=chance.choice(["0", "0", "0.5", "1", "0.25"]),
        ),
        staff={},
        pairs={pair.tag: pair},
        boots={
            "B": Boot(
                tag="B",
                model="boot",
                mondopoint_mm=270,
                bsl_um=bsl_um,
                bsl_measured="printed",
                sole_type="sole",
                pin_um=pin_um,
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
    return fleet, fleet.patterns[pattern.name], mounted


def stands_before_the_judge(seed: int) -> set[Rung]:
    fleet, pattern, mounted = any_case(seed)
    (pair,), boot = fleet.pairs.values(), fleet.boots["B"]
    finder = WayFinder(pair=pair, pattern=pattern, policy=fleet.policy, mounted=mounted)
    ways = finder.ways(boot.bsl_um, pin_um=boot.pin_um)
    legal = LegalFinder(pair=pair, pattern=pattern, policy=fleet.policy)
    ranges = offsets_only(legal.offsets(boot.bsl_um, pin_um=boot.pin_um))
    for way in ways:
        alone = WayFinder(pair=pair, pattern=pattern, policy=fleet.policy, mounted=mounted)
        assert alone.way(way.rung, boot.bsl_um, pin_um=boot.pin_um) == way
        planned = PlannedSet(wish="W", boot="B", pair=pair.tag, brake_um=None, way=way)
        assert list(judge_set(Facts(fleet), planned)) == [], way.rung
    costs = finder.costs(boot.bsl_um, pin_um=boot.pin_um)
    for each, way in zip(costs, ways, strict=True):
        assert [getattr(each, name) for name in COSTS] == [getattr(way, name) for name in COSTS]
    for way in ways:  # so that `why` never says no to what a plan does
        if way.rung not in (Rung.AS_IS, Rung.ADJUST):
            assert holds(ranges, way.offset_um)
    rungs = [way.rung for way in ways]
    assert rungs == sorted(set(rungs), key=lambda rung: rung.rank)
    shuffled = Random(seed)
    again = replace(
        pair,
        skis={
            side: replace(ski, holes=tuple(shuffled.sample(ski.holes, len(ski.holes))))
            for side, ski in pair.skis.items()
        },
    )
    other = WayFinder(pair=again, pattern=pattern, policy=fleet.policy, mounted=mounted)

    def told(found):
        return [
            (w.rung, w.offset_um, w.drilled, w.minutes, w.clearance_um, {s: w.skis[s].holes for s in Side})
            for w in found
        ]

    assert told(other.ways(boot.bsl_um, pin_um=boot.pin_um)) == told(ways)
    return set(rungs)


@settings(max_examples=75, deadline=None, derandomize=True)
@given(st.integers(0, 2**48))
def test_every_way_stands_before_the_judge_and_the_order_of_rows_never_decides(seed):
    stands_before_the_judge(seed)


@pytest.mark.long
@settings(max_examples=3_000, deadline=None)
@given(st.integers(0, 2**48))
def test_every_way_of_3_000_cases_stands_before_the_judge(seed):
    stands_before_the_judge(seed)


def test_the_cases_reach_every_rung():
    """Otherwise the two tests above would say little."""
    seen: set[Rung] = set()
    for seed in range(300):
        seen |= stands_before_the_judge(seed)
    assert seen == set(Rung)
