"""Where the arrays let a hole be drilled or reused, against asking each old hole at each micrometre."""

from __future__ import annotations

from math import isqrt
from random import Random

import numpy as np
import pytest
from numpy.typing import NDArray

from fleet.base.units import to_half_mm
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from planner.geometry.placement.batch_costs import BatchCosts
from planner.geometry.placement.batch_rooms import BatchRooms, other_runs, rooms_of
from planner.geometry.placement.hole_table import (
    FAR_UM,
    HoleTable,
    PairTables,
    SkiRows,
    covered,
    hole_tables,
    stood,
)
from tests.placement import conftest as make

INT = np.int32
Old = tuple[int, int, int, int, int]
"""x, y, asked, the wood screw that may go in, the thread that may."""
Ground = list[tuple[int, int]]


def table_of(
    skis: list[tuple[list[Old], Ground, int]], *, drill: int = 36, shift: NDArray[np.int32] | None = None
) -> HoleTable:
    holes, ranges = max(len(olds) for olds, _, _ in skis), max(len(ground) for _, ground, _ in skis)
    columns = np.zeros((5, len(skis), holes + 1), INT)
    ground = np.full((len(skis), ranges + 1, 2), FAR_UM, INT)
    ground[:, :, 1] = -FAR_UM
    for row, (olds, some, _) in enumerate(skis):
        for column, old in enumerate(olds):
            columns[:, row, column] = old
        for column, each in enumerate(some):
            ground[row, column] = each
    return HoleTable(
        x=columns[0],
        y=columns[1],
        asked=columns[2],
        wood_size=columns[3],
        thread=columns[4],
        drill_size=np.full(len(skis), drill, INT),
        ground=ground,
        half_width=np.array([half for _, _, half in skis], INT),
        shift=np.zeros(len(skis), INT) if shift is None else shift,
        opened=np.zeros(len(skis), INT),
    )


def piece_of(*places: tuple[int, int], travel: tuple[int, int] = (0, 0), listed: int = 60) -> Piece:
    return Piece(
        name=PieceName.TOE,
        follows=Follows.CENTRE,
        holes=tuple(PatternHole(x_um=x, y_um=y, diameter_um=listed) for x, y in places),
        travel_back_um=travel[0],
        travel_forward_um=travel[1],
    )


def plainly_good(ski: tuple[list[Old], Ground, int], x: int, y: int, *, spacing: int, reuse: int) -> bool:
    """One wanted hole: into an old one, or drilled where nothing forbids it."""
    olds, ground, half_width = ski
    square = [(x - ox) ** 2 + (y - oy) ** 2 for ox, oy, *_ in olds]
    into = [
        n
        for n, (*_, wood, thread) in enumerate(olds)
        if square[n] <= reuse**2 and (wood == 36 or thread == 60)
    ]
    if into:
        return all(s >= spacing**2 for n, s in enumerate(square) if n not in into)
    clear = all(s >= old[2] ** 2 for s, old in zip(square, olds, strict=True))
    return clear and abs(y) <= half_width and any(low <= x <= high for low, high in ground)


def small_ski(chance: Random, plain: bool, spacing: int = 7) -> tuple[list[Old], Ground, int]:
    """A few old holes within two dozen micrometres; plain: spacing alone, and ground everywhere."""
    olds: list[Old] = [
        (
            chance.randint(-12, 12),
            chance.randint(-7, 7),
            spacing + (0 if plain else chance.choice([0, 1, 3])),
            *chance.choice([(36, 0), (41, 0), (0, 60), (0, 41), (0, 0)]),
        )
        for _ in range(chance.randint(0, 3))
    ]
    if plain:
        return olds, [(-999, 999)], 99
    ground: Ground = chance.choice([[], [(-30, 30)], [(-9, 2), (4, 11)], [(-9, 2), (3, 30)], [(0, 0)]])
    return olds, ground, chance.choice([99, 5, 4])


def any_ski(chance: Random) -> tuple[list[Old], Ground, int]:
    """Old holes in micrometres, near the distances that they ask for."""
    olds: list[Old] = [
        (
            chance.choice([-1, 1]) * chance.choice([9_999, 10_000, 10_001, 10_249, 10_500, 12_000, 0, 6_000]),
            chance.choice([0, 0, 8_000, -8_000, 7_999, 500]),
            chance.choice([10_000, 10_500, 11_000]),
            0,
            0,
        )
        for _ in range(chance.randint(0, 3))
    ]
    ground: Ground = chance.choice(
        [[(-400_000, 400_000)], [(-400_000, 400_000)], [(-300, 249), (251, 900)], [(0, 0)], []]
    )
    return olds, ground, chance.choice([45_000, 45_000, 500, 499])


def drilled_legally(ski: tuple[list[Old], Ground, int], x: int, y: int) -> bool:
    return plainly_good(ski, x, y, spacing=10_000, reuse=0)


def test_a_piece_drilled_somewhere_is_legal_as_far_as_told_and_has_the_room_told() -> None:
    """At the ends of its stretch, and a micrometre beyond; room counts exact and as printed from the mark."""
    chance = Random(1)
    skis = [any_ski(chance) for _ in range(600)]
    shift = np.array([chance.choice([0, 0, 200, -300]) for _ in skis], INT)
    rows = np.arange(len(skis))
    piece = piece_of((0, 0), (600, 500))
    drilled = np.array([chance.choice([(1, 1), (1, 0), (0, 1), (0, 0)]) for _ in skis], np.bool_)
    r = np.array([chance.choice([0, 0, 1, -1, 249, 250, 251, -250, 500]) for _ in skis], np.int64)
    table = table_of(skis, shift=shift)
    pairs = SkiRows(table=table, of=dict.fromkeys(Side, rows))
    found = stood(pairs, rows, r, piece, drilled, 3_000)
    for n, ski in enumerate(skis):
        used = [h for h, d in zip(piece.holes, drilled[n], strict=True) if d]
        off = int(shift[n])

        def legal(at: int, ski=ski, used=used) -> bool:
            return all(drilled_legally(ski, at + h.x_um, h.y_um) for h in used)

        assert found.legal[n] == legal(int(r[n]))
        if not found.legal[n]:
            assert found.room[n] == -1
            continue
        low, high = int(found.low[n]), int(found.high[n])
        assert low <= r[n] <= high
        assert legal(low) or low <= -FAR_UM + 600
        assert legal(high) or high >= FAR_UM - 600
        assert low <= -FAR_UM + 600 or not legal(low - 1)
        assert high >= FAR_UM - 600 or not legal(high + 1)
        printed = all(drilled_legally(ski, to_half_mm(int(r[n]) + h.x_um + off) - off, h.y_um) for h in used)
        room = min(
            [3_000]
            + [
                isqrt((int(r[n]) + h.x_um - old[0]) ** 2 + (h.y_um - old[1]) ** 2) - old[2]
                for h in used
                for old in ski[0]
            ]
        )
        assert found.room[n] == (room if printed else -1)


def test_a_stretch_is_covered_where_one_hole_or_the_ground_forbids_all_of_it() -> None:
    chance = Random(2)
    skis = [small_ski(chance, False) for _ in range(1500)]
    low = np.array([chance.randint(-9, 9) for _ in skis], np.int64)
    high = low + np.array([chance.choice([0, 1, 2, 5]) for _ in skis])
    piece = piece_of((0, 0), (5, -5))
    rows = np.arange(len(skis))
    table = table_of(skis)
    found = covered(SkiRows(table=table, of={}), rows, low, high, piece)
    for n, (olds, ground, half_width) in enumerate(skis):
        places = range(int(low[n]), int(high[n]) + 1)
        by_a_hole = any(
            all((r + h.x_um - x) ** 2 + (h.y_um - y) ** 2 < asked**2 for r in places)
            for h in piece.holes
            for x, y, asked, *_ in olds
        )
        off_ground = any(
            abs(h.y_um) > half_width or not any(a <= r + h.x_um <= b for r in places for a, b in ground)
            for h in piece.holes
        )
        assert found[n] == (by_a_hole or off_ground)


@pytest.mark.parametrize("travel", [(0, 0), (1_000, 500), (0, 2_000)])
def test_rooms_on_the_half_millimetre_grid_are_those_of_each_place(travel: tuple[int, int]) -> None:
    """Ski A and ski B differ; room at each end is the most that the travel leaves."""
    chance = Random(travel[0])
    skis = []
    for _ in range(120):
        olds, ground, half = any_ski(chance)
        skis.append(([(x // 500 * 500 + 100, y, a, 0, 0) for x, y, a, *_ in olds], ground, half))
    a, b = np.arange(0, 120, 2), np.arange(1, 120, 2)
    pairs = SkiRows(table=table_of(skis), of={Side.A: a, Side.B: b})
    piece = piece_of((0, 0), (1_000, 500), travel=travel)
    first, last, cap = -4, 5, 2_000
    rooms, flagged = rooms_of(pairs, piece, first, last, cap)
    back, forward = travel[0] // 500, travel[1] // 500
    assert (rooms.start, rooms.start_at) == (first - forward, first)
    assert rooms.room.shape == (60, last - first + 1 + back + forward)
    assert rooms.best.shape == (60, last - first + 1)

    def room(ski: tuple[list[Old], Ground, int], r: int) -> int:
        if not all(drilled_legally(ski, r + h.x_um, h.y_um) for h in piece.holes):
            return -1
        return min(
            [cap]
            + [
                isqrt((r + h.x_um - old[0]) ** 2 + (h.y_um - old[1]) ** 2) - old[2]
                for h in piece.holes
                for old in ski[0]
            ]
        )

    for pair in range(60):
        one, other = skis[2 * pair], skis[2 * pair + 1]
        plain = {
            k: min(room(one, 500 * k), room(other, 500 * k)) for k in range(first - forward, last + back + 1)
        }
        assert rooms.room[pair].tolist() == list(plain.values())
        for at in range(first, last + 1):
            reached = range(at - forward, at + back + 1)
            assert rooms.best[pair, at - first] == max(plain[k] for k in reached)
            if rooms.short is not None and at < last:
                assert rooms.short[pair, at - first] == max(plain[k] for k in reached[1:])
        for tried_at in range(first, last + 1):
            for at in range(first, last + 1):
                found = other_runs(rooms, piece, np.array([pair]), np.array([tried_at]), np.array([at]))
                assert found.tolist() == [beside(plain, tried_at, at, back, forward)]
    assert (rooms.short is None) == (travel == (0, 0))
    assert flagged.shape == (60,)


@pytest.mark.parametrize("travel", [(0, 0), (1_000, 500), (0, 2_000)])
def test_a_place_just_as_far_off_as_is_asked_is_one_of_its_stretch(travel: tuple[int, int]) -> None:
    """It has no room to spare, and is legal: the stretch goes on through it."""
    chance = Random(travel[0] + travel[1])
    back, forward = travel[0] // 500, travel[1] // 500
    first, last = -4, 5
    for _ in range(40):
        plain = {k: chance.choice([-1, 0, 0, 1, 7]) for k in range(first - forward, last + back + 1)}
        row = np.array([list(plain.values())])
        rooms = BatchRooms(start=first - forward, room=row, start_at=first, best=row, short=None)
        for tried_at in range(first, last + 1):
            for at in range(first, last + 1):
                found = other_runs(
                    rooms,
                    piece_of((0, 0), travel=travel),
                    np.array([0]),
                    np.array([tried_at]),
                    np.array([at]),
                )
                assert found.tolist() == [beside(plain, tried_at, at, back, forward)]


@pytest.mark.parametrize("row", [(0, 40_000), (40_000, 0), (-40_000, 0)])
@pytest.mark.parametrize(("x_um", "slips"), [(250, True), (140, False), (360, False), (142, True)])
def test_a_pair_is_flagged_where_a_forbidden_range_slips_between_two_places(
    row: tuple[int, int], x_um: int, slips: bool
) -> None:
    """9.999 mm across of 10 mm asked forbid 141 um on both sides; only one row of the piece comes so near."""
    one = ([(x_um, 9_999, 10_000, 0, 0)], [(-99_000, 99_000)], 99_000)
    skis = SkiRows(
        table=table_of([one, ([], *one[1:])]),
        of={Side.A: np.array([0, 1]), Side.B: np.array([1, 1])},
    )
    _, flagged = rooms_of(skis, piece_of((0, row[0]), (1_000, row[1])), -4, 5, 2_000)
    assert flagged.tolist() == [slips, False]


def beside(plain: dict[int, int], tried_at: int, at: int, back: int, forward: int) -> int:
    """The most room at ``at`` in stretches of legal places that ``tried_at`` does not reach."""
    reached = set(range(tried_at - forward, tried_at + back + 1))
    stretches: list[list[int]] = []
    for k, room in plain.items():
        if room < 0:
            continue
        if stretches and stretches[-1][-1] == k - 1:
            stretches[-1].append(k)
        else:
            stretches.append([k])
    return max(
        (
            plain[k]
            for stretch in stretches
            if not reached & set(stretch)
            for k in stretch
            if at - forward <= k <= at + back
        ),
        default=-1,
    )


def test_tables_hold_each_ski_by_the_pair_s_reference() -> None:
    """Ski B's mark 3 mm nearer to the tail; its zone, areas and holes move with it."""
    on_a = make.holes([(10, 18)], name="a")
    on_b = make.holes([(13, 18)], name="b") + make.holes(
        [(50, -18)], state=HoleState.INSERT, diameter_mm=6, knowledge=Knowledge.MEASURED_BARE, name="i"
    )
    one = make.pair(
        make.ski(Side.A, on_a, zone_mm=(100, 120, 40), inspected_mm=[(-500, 50), (60, 500)]),
        make.ski(Side.B, on_b, mark_mm=797, zone_mm=(90, 150, 30)),
    )
    spent = make.pair(
        make.ski(Side.A, on_a), make.ski(Side.B), construction=make.Construction.METAL, earlier_mounts=9
    )
    unknown = make.pair(
        make.ski(Side.A, zone_mm=None), make.ski(Side.B, zone_mm=(5, 5, 7)), construction=None
    )
    policy = make.p10(edge_mm="8", bench_error_mm="0.5", allowance_measured_bare_mm="0.5")
    a, b = hole_tables([one, spent, unknown], policy).values()
    assert a.skis == 3
    assert a.x.tolist() == [[10_000, 0], [10_000, 0], [0, 0]], "as wide as the other ski's"
    assert a.asked.tolist() == [[10_500, 0], [10_500, 0], [0, 0]]
    assert a.wood_size.tolist() == [[3_600, 0], [3_600, 0], [0, 0]]
    assert a.drill_size.tolist() == [3_600, 4_100, 0]
    assert a.half_width.tolist() == [32_000, -1, -1]
    none = [FAR_UM, -FAR_UM]
    assert a.ground.tolist() == [[[-92_000, 50_000], [60_000, 112_000]], [none, none], [none, none]]
    assert b.x.tolist() == [[10_000, 47_000], [0, 0], [0, 0]]
    assert b.y.tolist() == [[18_000, -18_000], [0, 0], [0, 0]]
    assert b.asked.tolist() == [[10_500, 11_000], [0, 0], [0, 0]]
    assert (b.wood_size.tolist()[0], b.thread.tolist()[0]) == ([3_600, 0], [0, 6_000])
    assert b.ground.tolist() == [[[-85_000, 139_000], none], [none, none], [none, none]]
    assert b.half_width.tolist() == [22_000, -1, -1], "a zone narrower than its edges"
    some = b.only(np.array([2, 0]))
    assert (some.skis, some.half_width.tolist(), some.x.tolist()) == (
        2,
        [-1, 22_000],
        [[0, 0], [10_000, 47_000]],
    )
    for low, high, kept in [
        (10_000, 47_000, [10_000, 47_000]),
        (10_001, 47_000, [47_000]),
        (10_000, 46_999, [10_000]),
        (10_001, 46_999, [0]),
    ]:
        near = b.between(low, high)
        assert near.x[0].tolist() == kept
        assert near.x.shape == near.y.shape == near.asked.shape == near.wood_size.shape == near.thread.shape
    assert b.between(47_000, 47_000).thread[0].tolist() == [6_000]
    assert b.may_reuse(PatternHole(x_um=0, y_um=0, diameter_um=6_000)).tolist()[0] == [True, True]
    assert b.may_reuse(PatternHole(x_um=0, y_um=0, diameter_um=None)).tolist()[0] == [True, False]
    pairs = PairTables([one, spent, unknown], policy)
    assert (pairs.opened.tolist(), pairs.mounted.tolist()) == ([2, 1, 0], [False] * 3)
    assert sorted(pairs.asked_um.tolist()) == [10_500, 10_500, 10_500, 11_000]
    assert not len(PairTables([unknown], policy).asked_um)
    rows = pairs.rows(np.array([0, 2]))
    assert [rows.of[side].tolist() for side in Side] == [[0, 1], [2, 1]], (
        "nothing may be drilled on either ski of the last: they are alike"
    )
    assert rows.table.shift.tolist() == [0, 0, 3_000]
    assert rows.table.x.tolist() == [[10_000, 0], [0, 0], [10_000, 47_000]]
    assert rows.table.ground[2].tolist() == [[-85_000, 139_000], none]
    assert rows.pairs_with(np.array([0, 0, 1], np.bool_)).tolist() == [True, False]
    assert rows.pairs_with(np.array([0, 1, 0], np.bool_)).tolist() == [False, True]


def test_skis_of_a_pair_share_a_row_only_if_all_that_counts_is_alike() -> None:
    old = [(10, 18), (40, -18)]

    def rows_of(b: dict, **more) -> list[int]:
        spec = {"places": old, "zone_mm": (400, 400, 45), "inspected_mm": [(-500, 500)]} | b
        places = spec.pop("places")
        made = make.pair(
            make.ski(Side.A, make.holes(old, name="a")),
            make.ski(Side.B, make.holes(places, name="b", **spec.pop("hole", {})), **spec),
            **more,
        )
        return PairTables([made], make.p10()).rows(np.array([0])).of[Side.B].tolist()

    assert rows_of({}) == [0]
    for differs in (
        {"places": [(10, 18), (40.001, -18)]},
        {"places": [(10, 18), (40, -17.999)]},
        {"places": [*old, (90, 0)]},
        {"hole": {"diameter_mm": 4.1}},
        {"hole": {"state": HoleState.PLUGGED}},
        {"zone_mm": (400, 400, 44.999)},
        {"zone_mm": (399.999, 400, 45)},
        {"inspected_mm": [(-500, 100), (101, 500)]},
        {"mark_mm": 800.001},
    ):
        assert rows_of(differs) == [1], differs


def test_patterns_marks_and_soles_beside_the_grid_are_asked_one_by_one() -> None:
    pair = make.twin_pair([(10, 18)])

    def at_once(
        pattern: Pattern, *, sole_mm: float = 305, mark_mm: float = 800, bare: bool = False, **policy: str
    ) -> bool:
        old = () if bare else pair.skis[Side.A].holes
        made = make.pair(make.ski(Side.A, old), make.ski(Side.B, mark_mm=mark_mm))
        rules = make.p10(**policy)
        costs = BatchCosts(PairTables([made], rules), rules)
        asked = np.ones((1, 1), np.bool_)
        _, unsure = costs.screwed(pattern, np.array([0]), [(make.um(sole_mm), None)], asked)
        return not unsure[0, 0]

    whole = make.t4h4()

    def one(*places: tuple[float, float], follows=Follows.CENTRE, travel=(0, 0)) -> Pattern:
        piece = make.piece(PieceName.TOE, follows, places, travel=travel)
        return Pattern(name="one", binding_model="one", pieces=(piece,))

    def two(apart_mm: float) -> Pattern:
        pieces = [
            make.piece(name, Follows.CENTRE, [(x, 0)])
            for name, x in ((PieceName.TOE, apart_mm), (PieceName.HEEL, 0))
        ]
        return Pattern(name="two", binding_model="two", pieces=tuple(pieces))

    three = make.piece(PieceName.PLATE, Follows.CENTRE, [(0, 0)])
    assert at_once(whole)
    assert at_once(whole, sole_mm=301)
    assert not at_once(whole, sole_mm=301.5)
    assert at_once(whole, mark_mm=800.5)
    assert not at_once(whole, mark_mm=800.499)
    assert at_once(one((0.5, -18)))
    assert not at_once(one((0.501, 18)))
    assert not at_once(one((0.5, 18.25)))
    assert at_once(one((0, 0), travel=(0.5, 1)))
    assert not at_once(one((0, 0), travel=(0.25, 1)))
    assert not at_once(one((0, 0), travel=(1, 0.25)))
    assert not at_once(one((0, 0), follows=Follows.MARK))
    assert not at_once(one((0, 0), (1, 0))), "one old hole might take both screws"
    assert at_once(one((0, 0), (1.5, 0)))
    assert not at_once(Pattern(name="3", binding_model="3", pieces=(*whole.pieces, three)))
    assert at_once(two(28)), "10 spacing, 10 of counted room, 5 more, twice 1 and twice 0.5"
    assert not at_once(two(27.5))
    assert at_once(whole, offset_limit_mm="15")
    assert not at_once(whole, offset_limit_mm="15.5")
    assert not at_once(whole, offset_limit_mm="10.2")
    assert at_once(whole, clearance_counted_max_mm="10")
    assert not at_once(whole, clearance_counted_max_mm="10.001")
    assert at_once(whole, spacing_mm="20"), "20 asked and 10 of counted room: as far as the arrays see"
    assert not at_once(whole, spacing_mm="20.001")
    assert at_once(whole, spacing_mm="30", bare=True)
    assert not at_once(whole, spacing_mm="30.001", bare=True)
    assert at_once(whole, reuse_tolerance_mm="9.5", spacing_mm="9.501")
    assert not at_once(whole, reuse_tolerance_mm="9.5", spacing_mm="9.5")
