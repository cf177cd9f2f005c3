"""Life left: equal to trying every order of mounts, never more than the bound, never less than greed."""

from __future__ import annotations

import random
from itertools import combinations, product

import pytest
from hypothesis import given, settings, strategies as st

from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Construction, InspectedArea, Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from planner.geometry.life.compatibility import AgreementCache, CompatibilityGraph, most_agreeing
from planner.geometry.life.positions import offsets_um, positions_of
from planner.geometry.life.sequence import edge_order, longest_life, searched_order
from planner.geometry.placement.rule import rule_for
from tests.life.model import exact_order
from tests.life.one_by_one import agree, fits_beside, positions_used

RULE = rule_for(default_policy(), Construction.NO_METAL)


def teaching(travel_mm: int = 0) -> Pattern:
    """The teaching pattern: toe (-10, 18) (-45, 20), heel (15, 18) (55, 18), mirrored; not a real binding."""

    def quad(name: PieceName, places: tuple[tuple[float, float], ...], travel: int) -> Piece:
        return Piece(
            name=name,
            follows=Follows(name.value),
            travel_back_um=1000 * travel,
            travel_forward_um=1000 * travel,
            holes=tuple(
                PatternHole(x_um=round(1000 * x), y_um=round(1000 * y * s))
                for x, y in places
                for s in (1, -1)
            ),
        )

    return Pattern(
        name="T4/H4",
        binding_model="Teach 1",
        pieces=(
            quad(PieceName.TOE, ((-10, 18), (-45, 20)), 0),
            quad(PieceName.HEEL, ((15, 18), (55, 18)), travel_mm),
        ),
    )


def pair(
    mounts: tuple[tuple[int, int], ...], *, inspected: bool = True, pattern: Pattern | None = None
) -> Pair:
    made = pattern or teaching()
    holes = tuple(
        Hole(
            hole_id=f"h{k}-{i}-{j}",
            x_um=piece.follows.reference_um(1000 * u, 1000 * bsl) + hole.x_um,
            y_um=hole.y_um,
            diameter_um=3_600,
            depth_um=None,
            state=HoleState.OPEN,
            knowledge=Knowledge.MEASURED_HERE,
        )
        for k, (bsl, u) in enumerate(mounts)
        for i, piece in enumerate(made.pieces)
        for j, hole in enumerate(piece.holes)
    )
    area = (InspectedArea(from_um=-300_000, to_um=300_000, how="bare", on="2026-09-01"),) if inspected else ()
    return Pair(
        tag="K-1",
        model="m",
        kind=Kind.ALPINE,
        length_mm=1700,
        waist_um=80_000,
        construction=Construction.NO_METAL,
        rack="",
        place=Place.FLAT,
        skis={
            s: Ski(
                side=s,
                mark_from_tail_um=800_000,
                zone_back_um=300_000,
                zone_front_um=300_000,
                zone_half_width_um=45_000,
                inspected=area,
                holes=holes,
            )
            for s in Side
        },
    )


def field(of: Pair, pattern: Pattern, bsls_mm: tuple[int, ...]) -> CompatibilityGraph:
    cache = AgreementCache(pattern, RULE, [1000 * b for b in bsls_mm])
    return CompatibilityGraph(cache, positions_of(of, pattern, RULE, cache.bsls_um))


def longest_by_trying(of: CompatibilityGraph) -> int:
    """Every set of mounts that share nothing and keep their distance, by depth-first search."""
    mounts = of.mounts

    def best(start: int, standing: int) -> int:
        longest = 0
        for k in range(start, len(mounts)):
            if fits_beside(of, mounts[k], standing):
                opened = standing
                for v in mounts[k]:
                    opened |= 1 << v
                longest = max(longest, 1 + best(k + 1, opened))
        return longest

    return best(0, 0)


@pytest.mark.parametrize(
    ("mounts", "bsls", "travel"),
    [
        (((305, 0),), (305,), 0),
        (((305, 0),), (285, 305, 325), 0),
        (((305, 0), (325, 0)), (285, 295, 305, 315, 325, 335), 0),
        (((305, 0), (325, 0)), (295, 305, 315), 6),
        (((305, 0), (328, 2)), (300, 320), 10),
    ],
)
def test_the_longest_life_is_what_trying_every_order_finds(
    mounts: tuple[tuple[int, int], ...], bsls: tuple[int, ...], travel: int
) -> None:
    pattern = teaching(travel)
    made = field(pair(mounts), pattern, bsls)
    life = longest_life(made)
    assert life.at_least == life.at_most == longest_by_trying(made)
    assert len(life.mounts) == life.at_least
    assert life.nearest_first <= life.at_least
    modelled, bound = exact_order(made, [], len(made.positions), seconds=5.0)
    assert len(modelled) == bound == life.at_least  # as a general solver says


@pytest.mark.parametrize(
    ("mounts", "bsls", "travel"),
    [
        (((305, 0),), (285, 305, 325), 0),
        (((305, 0), (325, 0)), (285, 295, 305, 315, 325, 335), 0),
        (((305, 0), (325, 0)), (295, 305, 315), 6),
        (((305, 0), (328, 2)), (300, 320), 10),
    ],
)
def test_the_search_alone_finds_the_longest_life_from_nothing_known(
    mounts: tuple[tuple[int, int], ...], bsls: tuple[int, ...], travel: int
) -> None:
    made = field(pair(mounts), teaching(travel), bsls)
    longest = longest_by_trying(made)
    order, bound = searched_order(made, [], longest + 2, steps=1_000_000)
    assert len(order) == bound == longest
    standing = 0
    for mount in order:
        assert mount in made.mounts
        assert fits_beside(made, mount, standing)
        standing |= sum(1 << v for v in mount)


def test_a_search_that_runs_out_of_steps_keeps_what_was_known_and_claims_nothing() -> None:
    made = field(pair(((305, 0),)), teaching(10), (285, 295, 305, 315, 325))
    known = edge_order(made, rising=True)
    assert searched_order(made, known, len(known) + 3, steps=3) == (known, len(known) + 3)


@pytest.mark.parametrize("travel", [0, 6])
def test_the_field_at_once_says_of_every_combination_what_the_rule_says_of_one(travel: int) -> None:
    """Agreement by pairwise distances, places by `offsets_um`: each in plain arithmetic, one by one."""
    pattern = teaching(travel)
    made = field(pair(((305, 0), (325, 2))), pattern, (285, 295, 306, 315, 335))
    asked = RULE.asked_by_knowledge_um[Knowledge.DRILLED_HERE]
    for v, w in combinations(range(len(made.positions)), 2):
        a, b = made.positions[v], made.positions[w]
        said = agree(a, b, asked) and a.reuses.isdisjoint(b.reuses)
        assert bool(made.agree_matrix[v, w]) == bool(made.agrees[v] >> w & 1) == said
    expected = {}
    for c in product(*made.by_piece):
        places = [made.positions[v].reference_um for v in c]
        spans = [offsets_um(pattern, places, bsl, RULE.limit_um) for bsl in made.cache.bsls_um]
        nearest = [max(0, low, -high) for low, high in (span for span in spans if span is not None)]
        if nearest and any(made.positions[v].is_new for v in c) and made.agree_matrix[c[0], c[1]]:
            expected[c] = min(nearest)
    assert dict(zip(made.mounts, made.from_mark_um.tolist(), strict=True)) == expected


def test_an_old_mount_alone_and_its_own_sole_leave_only_other_offsets() -> None:
    """With one sole and no travel the ends of the window are 20 mm apart: two fresh places, 11 mm asked."""
    life = longest_life(field(pair(((305, 0),)), teaching(), (305,)))
    # By hand: u = -10 and u = +10 clear the old holes by 10 mm, the rule asks 10.5: neither is legal.
    assert (life.at_least, life.at_most) == (0, 0)


def test_planning_ahead_is_never_worse_than_the_nearest_offset() -> None:
    gains = []
    for shift in range(-4, 5):
        life = longest_life(field(pair(((305, shift),)), teaching(10), (285, 295, 305, 315, 325)))
        gains.append(life.at_least - life.nearest_first)
    assert min(gains) >= 0
    assert max(gains) >= 1


def test_a_ski_not_inspected_takes_no_further_mount() -> None:
    life = longest_life(field(pair((), inspected=False), teaching(), (305,)))
    assert (life.at_least, life.at_most, life.nearest_first) == (0, 0, 0)


def test_every_mount_of_the_order_keeps_the_asked_spacing_by_pairwise_distances() -> None:
    made = field(pair(((305, 0),)), teaching(10), (285, 295, 305, 315, 325))
    order = edge_order(made, rising=True)
    assert order
    used = positions_used(order)
    assert len(used) == len(order) * 2, "no two mounts share a position"
    asked = RULE.asked_by_knowledge_um[Knowledge.DRILLED_HERE]
    for v, w in combinations(used, 2):
        for (ax, ay), (bx, by) in product(made.positions[v].drilled_um, made.positions[w].drilled_um):
            assert (ax - bx) ** 2 + (ay - by) ** 2 >= asked**2


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 100_000), size=st.integers(1, 11))
def test_the_largest_set_is_what_trying_every_subset_finds(seed: int, size: int) -> None:
    rng = random.Random(seed)
    agrees = [0] * size
    for v, w in combinations(range(size), 2):
        if rng.random() < 0.6:
            agrees[v] |= 1 << w
            agrees[w] |= 1 << v
    largest = max(
        n
        for n in range(size + 1)
        if any(
            all(agrees[v] >> w & 1 for v, w in combinations(chosen, 2))
            for chosen in combinations(range(size), n)
        )
    )
    assert most_agreeing(agrees, (1 << size) - 1, {}) == largest
