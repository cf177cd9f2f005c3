"""At the scale of a ski: a 0.05 mm grid by the plain rule, ends to the micrometre, shapely's distances."""

from __future__ import annotations

from random import Random

import pytest
import shapely
from hypothesis import given, settings, strategies as st

from fleet.facts.holes import Side
from planner.geometry.placement.intervals import holds
from planner.geometry.placement.legal import legal_offsets, offsets_only
from tests.placement import conftest as make
from tests.placement.plain_rule import plainly_legal, stands_legally

GRID_UM = 50


def crowded_pair(seed: int):
    """One to three old mounts of the teaching pattern, each hole measured with a little error."""
    chance = Random(seed)
    old: list[tuple[float, float]] = []
    for _ in range(chance.choice([1, 1, 2, 3])):
        old += make.mount_holes_mm(make.t4h4(), chance.randrange(275, 340, 5), chance.choice([0, 0, 2.5, -4]))

    def measured(name: str):
        return make.holes(
            [(round(x + chance.gauss(0, 0.15), 2), round(y + chance.gauss(0, 0.1), 2)) for x, y in old],
            name=name,
        )

    return make.pair(
        make.ski(Side.A, measured("a")),
        make.ski(Side.B, measured("b"), mark_mm=800 + chance.choice([0, 0, 0.5, -3])),
    )


def ends_and_grid_agree(seed: int) -> None:
    chance = Random(seed)
    pair, pattern = crowded_pair(seed), make.t4h4()
    if chance.random() < 0.4:
        pattern = make.Pattern(name="one", binding_model="one", pieces=(chance.choice(pattern.pieces),))
    policy = make.p10(spacing_mm=chance.choice(["10", "8"]), bench_error_mm=chance.choice(["0", "0.5"]))
    bsl_um = make.um(chance.randrange(275, 340))
    found = offsets_only(legal_offsets(pair=pair, pattern=pattern, bsl_um=bsl_um, policy=policy))

    def plain(u: int) -> bool:
        rs = tuple(piece.follows.reference_um(u, bsl_um) for piece in pattern.pieces)
        return stands_legally(rs, pair, pattern, policy, drill=True) is not None

    for u in range(-10_000, 10_001, GRID_UM):
        assert plain(u) == holds(found, u), u
    for low, high in found:
        assert plain(low)
        assert plain(high)
        assert low == -10_000 or not plain(low - 1)
        assert high == 10_000 or not plain(high + 1)


seeds = st.integers(0, 2**48)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(seeds)
def test_a_grid_of_a_twentieth_of_a_millimetre_finds_nothing_else(seed):
    ends_and_grid_agree(seed)


@pytest.mark.long
@settings(max_examples=2_000, deadline=None)
@given(seeds)
def test_a_grid_of_a_twentieth_of_a_millimetre_finds_nothing_else_in_2_000_cases(seed):
    ends_and_grid_agree(seed)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(seeds)
def test_shapely_measures_the_same_distances(seed):
    """At every legal end of a piece that is only drilled, GEOS finds no hole nearer than is asked, and one
    that is nearer a micrometre outside. (Its buffers are polygons; its distances are exact to rounding.)
    """
    pair, pattern = (
        crowded_pair(seed),
        make.Pattern(name="one", binding_model="one", pieces=(make.t4h4().pieces[seed % 2],)),
    )
    bsl_um, policy = 305_000, make.p10()

    def nearest_mm(u: int) -> float:
        gaps = []
        for side in Side:
            shift = pair.skis[Side.A].mark_from_tail_um - pair.skis[side].mark_from_tail_um
            old = shapely.multipoints([(h.x_um / 1000, h.y_um / 1000) for h in pair.skis[side].holes])
            r = pattern.pieces[0].follows.reference_um(u, bsl_um) + shift
            new = shapely.multipoints([((r + h.x_um) / 1000, h.y_um / 1000) for h in pattern.pieces[0].holes])
            gaps.append(shapely.distance(old, new))
        return min(gaps)

    for each in legal_offsets(pair=pair, pattern=pattern, bsl_um=bsl_um, policy=policy):
        if each.reused(Side.A) + each.reused(Side.B):
            continue
        for end, outside in ((each.low_um, -1), (each.high_um, 1)):
            assert nearest_mm(end) >= 10 - 1e-9
            if abs(end) < 10_000:
                assert nearest_mm(end + outside) < 10


def test_the_plain_rule_itself_says_what_the_worked_table_says():
    """So that the two do not agree in an error."""
    pattern = make.t4h4()
    pair = make.twin_pair(make.mount_holes_mm(pattern, 305))
    found = plainly_legal(pair, pattern, 325_000, make.p10(), limit_um=9_600)
    assert sorted(found) == [*range(-9_600, -9_499), 0, *range(9_500, 9_601)]
