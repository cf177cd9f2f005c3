"""The numpy batch says to the micrometre what the plain sweep says."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.base.errors import BadInput
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.patterns import Follows, Pattern, PieceName
from planner.geometry.placement.batch import NOWHERE, BatchFinder
from planner.geometry.placement.legal import LegalFinder, offsets_only
from tests.placement import conftest as make


def any_holes(chance: Random, name: str):
    old = []
    for _ in range(chance.choice([0, 1, 1, 2, 3])):
        old += make.mount_holes_mm(make.t4h4(), chance.randrange(275, 340, 5), chance.choice([0, 0, 2.5, -4]))
    if old and chance.random() < 0.3:  # some are entered twice, a little apart, and a third lies close by
        x, y = chance.choice(old)
        old += [(x + 0.2, y), (x - 0.2, y), (x + chance.choice([8.5, 9.7, 10.2]), y)]
    found = []
    for number, (x, y) in enumerate(old):
        found += make.holes(
            [(round(x + chance.gauss(0, 0.2), 2), round(y + chance.gauss(0, 0.1), 2))],
            state=chance.choice([HoleState.OPEN] * 6 + list(HoleState)),
            knowledge=chance.choice([Knowledge.MEASURED_BARE] * 6 + list(Knowledge)),
            diameter_mm=chance.choice([3.6] * 8 + [4.1, 6, None]),
            name=f"{name}{number}-",
        )
    return found


def any_pair(chance: Random):
    def ski(side: Side):
        return make.ski(
            side,
            any_holes(chance, side.value),
            mark_mm=chance.choice([800, 800, 801.5, None]),
            zone_mm=chance.choice([(400, 400, 45)] * 4 + [(185, 170, 45), (400, 400, 27), None]),
            inspected_mm=chance.choice([[(-500, 500)]] * 4 + [[(-500, 120), (140, 500)], []]),
        )

    return make.pair(
        ski(Side.A),
        ski(Side.B),
        construction=chance.choice([make.Construction.NO_METAL] * 5 + [make.Construction.METAL, None]),
        earlier_mounts=chance.choice([0] * 6 + [2]),
    )


def any_pattern(chance: Random) -> Pattern:
    travel = chance.choice([(0, 0), (0, 0), (3, 5), (15, 15)])
    whole = make.t4h4(heel_travel=travel, toe_travel=chance.choice([(0, 0), (0, 0), (1, 0)]))
    centre = make.piece(PieceName.PLATE, Follows.CENTRE, [(0, 18), (0, -18), (40, 0)], diameter_mm=6)
    mark = make.piece(PieceName.PLATE, Follows.MARK, [(0, 18), (0, -18), (40, 0)])
    pieces = chance.choice(
        [whole.pieces, whole.pieces, whole.pieces[:1], whole.pieces[1:], (centre,), (mark,)]
    )
    made = Pattern(name="any", binding_model="any", pieces=pieces, bsl_max_um=330_000)
    return made.leaving(chance.choice([0, 0, 0, 500, 2_000]))


def agrees(seed: int) -> None:
    chance = Random(seed)
    pairs = [any_pair(chance) for _ in range(6)]
    pattern = any_pattern(chance)
    policy = make.p10(
        bench_error_mm=chance.choice(["0", "0.5"]),
        allowance_measured_bare_mm=chance.choice(["0", "0.5", "2"]),
        allowance_suspected_mm="3",
        edge_mm=chance.choice(["0", "8"]),
        spacing_mm=chance.choice(["10", "8", "12"]),
        reuse_spacing_mm=chance.choice(["", "", "6", "14"]),
    )
    bsls = sorted({make.um(chance.randrange(270, 340)) for _ in range(5)})
    batch = BatchFinder(pattern=pattern, policy=policy, pairs=pairs).offsets(bsls)
    for row, pair in enumerate(pairs):
        finder = LegalFinder(pair=pair, pattern=pattern, policy=policy)
        for column, bsl_um in enumerate(bsls):
            legal = offsets_only(finder.offsets(bsl_um))
            near = [min(max(low, 0), high) for low, high in legal]
            nearest = min(near, key=lambda u: (abs(u), u), default=NOWHERE)
            said = (int(batch.nearest_um[row, column]), int(batch.ranges[row, column]))
            assert said == (nearest, len(legal)), (row, bsl_um, legal)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 2**48))
def test_nearest_offset_and_number_of_ranges_agree(seed):
    agrees(seed)


@pytest.mark.long
@settings(max_examples=1_500, deadline=None)
@given(st.integers(0, 2**48))
def test_nearest_offset_and_number_of_ranges_agree_in_1_500_batches(seed):
    agrees(seed)


def test_the_worked_table_s_isolated_point_is_found():
    """325 on a 305 mount: 0 exactly, and [9.5, 10] either side."""
    pattern = make.t4h4()
    pair = make.twin_pair(make.mount_holes_mm(pattern, 305))
    found = BatchFinder(pattern=pattern, policy=make.p10(), pairs=[pair, pair]).offsets([325_000, 310_000])
    assert found.nearest_um.tolist() == [[0, NOWHERE]] * 2
    assert found.ranges.tolist() == [[3, 0]] * 2


def one_hole_batch(old, policy):
    pattern = Pattern(
        name="one", binding_model="one", pieces=(make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)]),)
    )
    pair = make.pair(make.ski(Side.A, old), make.ski(Side.B, old))
    found = BatchFinder(pattern=pattern, policy=policy, pairs=[pair]).offsets([300_000])
    return int(found.nearest_um[0, 0]), int(found.ranges[0, 0])


def test_one_legal_micrometre_between_two_forbidden_ranges_is_found():
    assert one_hole_batch(make.holes([(-10, 0), (10, 0)], state=HoleState.PLUGGED), make.p10()) == (0, 1)
    assert one_hole_batch(make.holes([(-10, 0), (9.999, 0)], state=HoleState.PLUGGED), make.p10()) == (
        NOWHERE,
        0,
    )


def test_a_hole_entered_twice_does_not_outvote_a_third_that_is_too_near():
    """Both entries take the screw between -0.3 and 0.3; the plugged hole at 9.7 forbids all above -0.3."""
    old = make.holes([(-0.2, 0), (0.2, 0)]) + make.holes([(9.7, 0)], state=HoleState.PLUGGED, name="p")
    policy = make.p10(bench_error_mm="0.5", offset_limit_mm="5")
    assert one_hole_batch(old, policy) == (-300, 1)


def test_what_the_batch_cannot_do_exactly_it_refuses():
    twins = Pattern(
        name="near",
        binding_model="near",
        pieces=(make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0), (0.8, 0)]),),
    )
    with pytest.raises(BadInput, match="could claim one old hole"):
        BatchFinder(pattern=twins, policy=make.p10(), pairs=[make.twin_pair([])])
    touching = Pattern(
        name="near",
        binding_model="near",
        pieces=(
            make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)]),
            make.piece(PieceName.HEEL, Follows.CENTRE, [(15, 0)], travel=(0, 6)),
        ),
    )
    with pytest.raises(BadInput, match="could touch"):
        BatchFinder(pattern=touching, policy=make.p10(), pairs=[make.twin_pair([])]).offsets([300_000])
