"""Single skis into pairs: against every possible pairing, and in the ledger."""

from __future__ import annotations

import random
from contextlib import nullcontext
from functools import cache

import pytest
from hypothesis import given, settings, strategies as st

from fleet.base.errors import MountbookError
from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.pairs import Ski
from fleet.tables.snapshot import read_bindings, read_pairs
from planner.bench.orders.bench_record import Drilled
from planner.bench.orders.close import stop
from planner.bench.season import (
    SingleSki,
    hole_difference,
    join,
    lose_partner,
    match_singles,
    read_singles,
)
from tests.counter.shop import IDA, JORY
from tests.orders.bench_shop import BenchShop

TOLERANCE = 1000


def ski(*xs: int, y: int = 0, mark: int | None = None, state: HoleState = HoleState.OPEN) -> Ski:
    return Ski(
        side=Side.A,
        mark_from_tail_um=mark,
        holes=tuple(
            Hole(
                hole_id=f"h{n}",
                x_um=x,
                y_um=y,
                diameter_um=None,
                depth_um=None,
                state=state,
                knowledge=Knowledge.MEASURED_HERE,
            )
            for n, x in enumerate(xs)
        ),
    )


def single(name: str, *xs: int, model: str = "M", length_mm: int = 1700) -> SingleSki:
    return SingleSki(name=name, model=model, length_mm=length_mm, ski=ski(*xs))


@pytest.mark.parametrize(
    ("one", "other", "difference"),
    [
        (ski(0, 50_000), ski(0, 50_000), 0),
        (ski(0, 50_000), ski(800, 49_500), 800),
        (ski(0), ski(1000), 1000),
        (ski(0), ski(1001), None),
        (ski(0), ski(0, 50_000), None),
        (ski(0), ski(0, state=HoleState.PLUGGED), None),
        (ski(0, 50_000), ski(900, 50_000), 900),  # the largest, not that of the last hole
        (ski(0), ski(0, y=1000), 1000),
        (ski(0), ski(0, y=1001), None),
        # Marks that lie: 3 mm apart by the marks, alike by the tail.
        (ski(0, mark=800_000), ski(-3000, mark=803_000), 0),
        (ski(0, mark=800_000), ski(0, mark=803_000), None),
    ],
)
def test_when_two_skis_are_alike(one: Ski, other: Ski, difference: int | None) -> None:
    assert hole_difference(one, other, tolerance_um=TOLERANCE) == difference


def test_nine_single_skis_make_four_pairs() -> None:
    """A greedy pairing of the nearest two (100 and 150) would leave two skis of the chain alone."""
    chain = [single(f"K-{n}", x) for n, x in enumerate((0, 900, 1000, 1900))]
    others = [single("K-5", 50_000), single("K-6", 50_100), single("K-7", 50_000, model="N")]
    others += [single("K-8", 50_000, length_mm=1800), single("K-9", 50_000, model="N")]
    got = {(match.first, match.second) for match in match_singles(chain + others, tolerance_um=TOLERANCE)}
    assert got == {("K-0", "K-1"), ("K-2", "K-3"), ("K-5", "K-6"), ("K-7", "K-9")}


@given(st.integers(0, 10_000))
@settings(max_examples=60, deadline=None)
def test_no_pairing_has_more_pairs_or_less_difference(seed: int) -> None:
    """Every pairing of up to eight skis is tried."""
    dice = random.Random(seed)
    skis = [single(f"K-{n}", dice.randrange(0, 4000)) for n in range(dice.randrange(0, 9))]

    @cache
    def best(left: frozenset[int]) -> tuple[int, int]:
        if not left:
            return (0, 0)
        first = min(left)
        options = [best(left - {first})]
        for other in left - {first}:
            difference = hole_difference(skis[first].ski, skis[other].ski, tolerance_um=TOLERANCE)
            if difference is not None:
                pairs, total = best(left - {first, other})
                options.append((pairs - 1, total + difference))
        return min(options)

    got = match_singles(skis, tolerance_um=TOLERANCE)
    assert (-len(got), sum(match.difference_um for match in got)) == best(frozenset(range(len(skis))))


def test_two_single_skis_become_a_pair_without_a_pass(shop: BenchShop) -> None:
    shop.drilled_pair("K-2")
    shop.ready("K-1", "K-2")
    with shop.desk(IDA) as desk:
        lose_partner(desk, "K-1", lost=Side.B, why="broken")
    with shop.desk(IDA) as desk:
        lose_partner(desk, "K-2", lost=Side.A, why="stolen")
    connection = shop.ledger.connection
    assert [ski.name for ski in read_singles(connection)] == ["K-1/A", "K-2/B"]
    with shop.desk(IDA) as desk:
        pair = join(desk, "K-9", "K-1/A", "K-2/B")
    assert pair.place.value == "flat"
    assert [len(pair.skis[side].holes) for side in Side] == [8, 8]
    assert {hole.state for side in Side for hole in pair.skis[side].holes} == {HoleState.OPEN}
    assert pair.skis[Side.A].inspected
    assert read_singles(connection) == ()
    with pytest.raises(MountbookError, match="no pass is on record"):
        shop.out("K-9")
    with pytest.raises(MountbookError, match="retired"):
        shop.out("K-1")
    with pytest.raises(MountbookError, match="is no single ski"), shop.desk(IDA) as desk:
        join(desk, "K-10", "K-1/A", "K-2/B")


def one_ski(shop: BenchShop, tag: str, *, lost: Side) -> str:
    with shop.desk(IDA) as desk:
        lose_partner(desk, tag, lost=lost, why="broken")
    return f"{tag}/{'A' if lost is Side.B else 'B'}"


def test_each_ski_keeps_what_is_its_own_in_the_new_pair(shop: BenchShop) -> None:
    """The first named becomes ski A, with its own mark and its own areas."""
    shop.drilled_pair("K-2")
    connection = shop.ledger.connection
    for tag, column, mark_um in (("K-1", "B", 800_100), ("K-2", "A", 800_600)):
        changes = {f"{column}.mark_from_tail_um": (800_000, mark_um)}
        shop.enter("pair changed", {"tag": tag, "changes": changes})
    more = {"from_um": 300_000, "to_um": 400_000, "how": "bare", "on": "2026-10-02"}
    shop.enter("area inspected", {"tag": "K-1", "side": "B"} | more)
    was = {tag: read_pairs(connection, tag)[tag] for tag in ("K-1", "K-2")}
    one, other = one_ski(shop, "K-1", lost=Side.A), one_ski(shop, "K-2", lost=Side.B)
    with shop.desk(IDA) as desk:
        pair = join(desk, "K-9", one, other)
    for side, old in ((Side.A, was["K-1"].skis[Side.B]), (Side.B, was["K-2"].skis[Side.A])):
        new = pair.skis[side]
        assert new.mark_from_tail_um == old.mark_from_tail_um
        assert [(each.from_um, each.to_um) for each in new.inspected] == [
            (each.from_um, each.to_um) for each in old.inspected
        ]
        assert [(h.x_um, h.y_um, h.diameter_um) for h in new.holes] == [
            (h.x_um, h.y_um, h.diameter_um) for h in old.holes
        ]
    assert len(pair.skis[Side.A].inspected) == 2
    on = {each.binding_id: (each.on_pair, each.on_ski) for each in read_bindings(connection).values()}
    assert on == {
        "K-1/A": ("K-1", Side.A),
        "K-1/B": (None, None),
        "K-2/A": (None, None),
        "K-2/B": ("K-2", Side.B),
    }


@pytest.mark.parametrize(
    ("first", "second", "known", "least"),
    [(0, 2, 2, 2), (2, 0, 2, 2), (None, 2, None, 2), (2, None, None, 2)],
)
def test_a_new_pair_has_the_earlier_mounts_of_the_ski_with_more_of_them_and_unknown_if_one_is(
    shop: BenchShop, first: int | None, second: int | None, known: int | None, least: int
) -> None:
    names = []
    for tag, mounts, lost in (("K-7", first, Side.B), ("K-8", second, Side.A)):
        shop.pair(tag, mounted=False)
        shop.enter("pair changed", {"tag": tag, "changes": {"earlier_mounts": (0, mounts)}})
        names.append(one_ski(shop, tag, lost=lost))
    with shop.desk(IDA) as desk:
        pair = join(desk, "K-9", *names)
    assert (pair.earlier_mounts, pair.drilled_mounts) == (known, least)


@pytest.mark.parametrize(("length_mm", "refused"), [(1700, False), (1701, True)])
def test_skis_of_another_length_are_no_pair(shop: BenchShop, length_mm: int, refused: bool) -> None:
    shop.pair("K-7", mounted=False)
    shop.pair("K-8", mounted=False, length_mm=length_mm)
    names = [one_ski(shop, "K-7", lost=Side.B), one_ski(shop, "K-8", lost=Side.A)]
    said = pytest.raises(MountbookError, match="do not match") if refused else nullcontext()
    with said, shop.desk(IDA) as desk:
        assert join(desk, "K-9", *names).tag == "K-9"


def test_a_closed_ski_stays_closed_in_its_new_pair_and_its_partner_open(shop: BenchShop) -> None:
    for tag in ("K-7", "K-8"):
        shop.pair(tag, mounted=False)
    shop.enter("ski closed", {"tag": "K-8", "side": "B", "why": "its holes cannot be told"})
    names = [one_ski(shop, "K-7", lost=Side.B), one_ski(shop, "K-8", lost=Side.A)]
    with shop.desk(IDA) as desk:
        skis = join(desk, "K-9", *names).skis
    assert [skis[side].closed_why for side in Side] == ["", "its holes cannot be told"]


def test_a_retired_pair_loses_no_partner(shop: BenchShop) -> None:
    one_ski(shop, "K-1", lost=Side.B)
    with pytest.raises(MountbookError, match="retired"):
        one_ski(shop, "K-1", lost=Side.A)


def test_a_pair_that_the_bench_has_a_sheet_for_loses_no_partner_before_that_is_stopped(
    shop: BenchShop,
) -> None:
    """The stop says what was drilled; a sheet of a pair that is no more would say nothing."""
    [order] = shop.issue().orders
    before = shop.dump()
    with pytest.raises(MountbookError) as refused, shop.desk(IDA) as desk:
        lose_partner(desk, "K-1", lost=Side.B, why="broken")
    assert refused.value.sentence == f"K-1 has the open work order {order.name}"
    assert refused.value.cure.startswith(f'stop it first: mountbook order stop "{order.name}"')
    assert shop.dump() == before
    with shop.desk(JORY) as desk:
        stop(desk, order.name, why="ski B broke", drilled=dict.fromkeys(Side, Drilled.NOTHING))
    with shop.desk(IDA) as desk:
        lose_partner(desk, "K-1", lost=Side.B, why="broken")
    assert [each.name for each in read_singles(shop.ledger.connection)] == ["K-1/A"]
