"""The sweep says of every single micrometre what the plain rule says of it.

The cases are small worlds: a spacing of nine micrometres instead of ten millimetres, and everything else
to that scale. Whole numbers do not know their unit, so all offsets, slides and ends can be tried.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.equipment import Construction, InspectedArea, Kind, Pair, Place, Ski
from fleet.holes import Hole, HoleState, Knowledge, Side
from fleet.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from fleet.policy import default_policy
from planner.placement.legal import legal_offsets, offsets_only
from tests.placement.plain_rule import plainly_legal

small = st.integers(-30, 30)
size = st.sampled_from([3_600, 3_600, 3_600, 4_100, 5_000, None])


@st.composite
def old_holes(draw: st.DrawFn, name: str) -> tuple[Hole, ...]:
    count = draw(st.integers(0, 4))
    return tuple(
        Hole(
            hole_id=f"{name}{number}",
            x_um=draw(small),
            y_um=draw(st.integers(-6, 6)),
            diameter_um=draw(size),
            depth_um=None,
            state=draw(st.sampled_from([HoleState.OPEN] * 5 + list(HoleState))),
            knowledge=draw(st.sampled_from([Knowledge.MEASURED_HERE] * 3 + list(Knowledge))),
        )
        for number in range(count)
    )


@st.composite
def skis(draw: st.DrawFn, side: Side) -> Ski:
    known = draw(st.integers(0, 9)) > 0
    wide = draw(st.booleans())
    areas = draw(st.lists(st.tuples(small, st.integers(0, 40)), max_size=2))
    if wide:
        areas = [(-90, 180)]
    return Ski(
        side=side,
        mark_from_tail_um=draw(st.sampled_from([None, 100, 100, 102])),
        zone_back_um=draw(st.integers(15, 60)) if known else None,
        zone_front_um=draw(st.integers(15, 60)) if known else None,
        zone_half_width_um=draw(st.integers(4, 12)) if known else None,
        inspected=tuple(InspectedArea(from_um=a, to_um=a + n, how="bare", on="2026-11-02") for a, n in areas),
        holes=draw(old_holes(side.value)),
    )


@st.composite
def pieces(draw: st.DrawFn, name: PieceName, follows: Follows) -> Piece:
    places = draw(st.sets(st.tuples(st.integers(-12, 12), st.integers(-6, 6)), min_size=1, max_size=3))
    travel = st.sampled_from([0, 0, 0, 1, 3])
    return Piece(
        name=name,
        follows=follows,
        holes=tuple(PatternHole(x_um=x, y_um=y, diameter_um=draw(size)) for x, y in sorted(places)),
        travel_back_um=draw(travel),
        travel_forward_um=draw(travel),
    )


@st.composite
def patterns(draw: st.DrawFn) -> Pattern:
    toe = draw(pieces(PieceName.TOE, draw(st.sampled_from([Follows.TOE, Follows.TOE, Follows.CENTRE]))))
    heel = draw(pieces(PieceName.HEEL, draw(st.sampled_from([Follows.HEEL, Follows.HEEL, Follows.MARK]))))
    chosen = draw(st.sampled_from([(toe,), (heel,), (toe, heel), (toe, heel), (heel, toe)]))
    return Pattern(name="small", binding_model="small", pieces=chosen)


@st.composite
def cases(draw: st.DrawFn) -> dict[str, object]:
    policy = default_policy().with_values(
        spacing_mm=draw(st.sampled_from(["0.009", "0.007"])),
        bench_error_mm=draw(st.sampled_from(["0", "0.001"])),
        reuse_tolerance_mm=draw(st.sampled_from(["0.002", "0.001", "0"])),
        edge_mm=draw(st.sampled_from(["0", "0.002"])),
        offset_limit_mm="0.012",
        **{
            knowledge.policy_name: draw(st.sampled_from(["0", "0.001", "0.003"]))
            for knowledge in (Knowledge.DRILLED_HERE, Knowledge.MEASURED_BARE, Knowledge.SUSPECTED)
        },
        **{
            knowledge.policy_name: "0.002"
            for knowledge in (Knowledge.BINDING_DROPS_IN, Knowledge.BATCH_ASSUMED, Knowledge.TEMPLATE)
        },
    )
    pair = Pair(
        tag="small",
        model="small",
        kind=Kind.ALPINE,
        length_mm=1700,
        waist_um=None,
        construction=draw(st.sampled_from([Construction.NO_METAL, Construction.NO_METAL, None])),
        rack="",
        place=Place.FLAT,
        skis={side: draw(skis(side)) for side in Side},
        earlier_mounts=draw(st.sampled_from([0, 0, 0, 2])),
    )
    return {
        "pair": pair,
        "pattern": draw(patterns()),
        "bsl_um": draw(st.integers(10, 60)),
        "policy": policy,
    }


def check(case: dict[str, object]) -> None:
    found = legal_offsets(**case)
    plain = plainly_legal(case["pair"], case["pattern"], case["bsl_um"], case["policy"])
    swept: dict[int, set[tuple[int, int]]] = {}
    for each in found:
        counts = (sum(map(each.reused, Side)), sum(map(each.drilled, Side)))
        for u in range(each.low_um, each.high_um + 1):
            swept.setdefault(u, set()).add(counts)
    assert swept == plain
    ends = offsets_only(found)
    limit = case["policy"].um("offset_limit_mm")
    for low, high in ends:
        assert low in plain
        assert high in plain
        assert low - 1 not in plain
        assert high + 1 not in plain
        assert -limit <= low <= high <= limit


@settings(max_examples=250, deadline=None, derandomize=True)
@given(cases())
def test_every_micrometre_is_as_the_plain_rule_says(case):
    check(case)


@pytest.mark.long
@settings(max_examples=3_000, deadline=None)
@given(cases())
def test_every_micrometre_is_as_the_plain_rule_says_in_three_thousand_cases(case):
    check(case)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(cases(), st.randoms(use_true_random=False), st.integers(-9, 9))
def test_mirrored_shifted_and_shuffled_skis_answer_alike(case, chance, shift):
    """Left for right; ski B's mark painted elsewhere, all measured from there; rows in any order."""
    expected = offsets_only(legal_offsets(**case))
    pair, pattern = case["pair"], case["pattern"]
    a, b = pair.skis[Side.A], pair.skis[Side.B]
    for changed, of in (
        (_pair(pair, _mirrored(a), _mirrored(b)), _mirrored_pattern(pattern)),
        (_pair(pair, _shuffled(a, chance), _shuffled(b, chance)), pattern),
        (_pair(pair, a, _repainted(b, shift)), pattern),
    ):
        assert offsets_only(legal_offsets(**{**case, "pair": changed, "pattern": of})) == expected


def _pair(pair: Pair, a: Ski, b: Ski) -> Pair:
    return replace(pair, skis={Side.A: a, Side.B: b})


def _mirrored(ski: Ski) -> Ski:
    return replace(ski, holes=tuple(replace(h, y_um=-h.y_um) for h in ski.holes))


def _mirrored_pattern(pattern: Pattern) -> Pattern:
    return replace(
        pattern,
        pieces=tuple(
            replace(p, holes=tuple(replace(h, y_um=-h.y_um) for h in p.holes)) for p in pattern.pieces
        ),
    )


def _shuffled(ski: Ski, chance) -> Ski:
    holes = list(ski.holes)
    chance.shuffle(holes)
    return replace(ski, holes=tuple(holes))


def _repainted(ski: Ski, shift: int) -> Ski:
    """The same wood with its mark painted ``shift`` nearer the tip; an unknown mark cannot be compared."""
    if ski.mark_from_tail_um is None or ski.zone_back_um is None or ski.zone_front_um is None:
        return ski
    return replace(
        ski,
        mark_from_tail_um=ski.mark_from_tail_um + shift,
        zone_back_um=ski.zone_back_um + shift,
        zone_front_um=ski.zone_front_um - shift,
        inspected=tuple(replace(x, from_um=x.from_um - shift, to_um=x.to_um - shift) for x in ski.inspected),
        holes=tuple(replace(h, x_um=h.x_um - shift) for h in ski.holes),
    )
