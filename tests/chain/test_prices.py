"""A chain against trying every way to load the vans: moves, values, and bounds that are never above the best.

The other side shares the shops' own solver, which `tests/assign` holds against every plan.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, ChainShop, VanThing
from planner.planning.chain.plan import chain_jobs, choose_moves
from planner.planning.chain.prices import SCALE, Ask, ChainProof, ShopDesk, chain_levels
from planner.planning.chain.side_by_side import SideBySide
from tests.assign.builders import HandMadeWays
from tests.chain.shops import NOW, best_by_trying, chain_of, hand_made, values_after

FEW = [(1, 0), (11, 30), (23, 0), (28, 0)]
"""(seed, minutes of a van) of chains with at most 64 ways to load."""
MORE = [(seed, minutes) for seed in (2, 3, 4, 8, 9, 12, 15, 25, 31, 32, 36, 43) for minutes in (0, 5)]


def chosen(
    fleets: dict[str, Fleet], chain: Chain, ways: HandMadeWays
) -> tuple[tuple[ChainProof, ...], tuple[int, ...]]:
    """What is proved, and what the moves that were chosen come to."""
    ranks = sorted({w.priority for fleet in fleets.values() for w in fleet.wishes})
    jobs = chain_jobs(fleets, chain, NOW, ways)
    proofs, moves = choose_moves(jobs, SideBySide(0), chain_levels(ranks), lambda _: None, 60)
    return proofs, values_after(fleets, chain, moves, ways)


def against_every_load(fleets: dict[str, Fleet], chain: Chain, ways: HandMadeWays) -> None:
    """The moves are the best there are, and no bound is above the best."""
    proofs, values = chosen(fleets, chain, ways)
    best = best_by_trying(fleets, chain, ways)
    assert values == best
    for number, proof in enumerate(proofs):
        assert proof.bound(best[:number]) <= best[number]


@pytest.mark.parametrize(("seed", "minutes"), FEW)
def test_the_moves_are_the_best_of_all_ways_to_load(seed: int, minutes: int) -> None:
    fleets, ways = hand_made(seed, 2, most=2)
    against_every_load(fleets, chain_of(fleets, minutes=minutes), ways)


@pytest.mark.long
@pytest.mark.parametrize(("seed", "minutes"), MORE)
@pytest.mark.parametrize("limit", [None, 40])
@pytest.mark.parametrize("room", [1, 99])
def test_with_rooms_and_minutes_too(seed: int, minutes: int, limit: int | None, room: int) -> None:
    fleets, ways = hand_made(seed, 2, most=2)
    against_every_load(fleets, chain_of(fleets, minutes=minutes, room=room, minutes_limit=limit), ways)


PRICES = {"price_new_hole": "0.80", "price_reused_hole": "0.30", "price_plug": "0.10"}
"""Of parts: a hole drilled and a hole used again differ by more than a move of a cent or two."""


def priced(fleets: dict[str, Fleet]) -> dict[str, Fleet]:
    """The shops with prices of parts."""
    return {name: replace(f, policy=f.policy.with_values(**PRICES)) for name, f in fleets.items()}


@pytest.mark.parametrize("price_cents", [0, 75, 333])
@pytest.mark.parametrize("budget_cents", [0, 400, 1000])
@pytest.mark.parametrize(("seed", "minutes"), [(11, 30), (28, 0)])
def test_what_a_move_costs_is_taken_from_the_budget_that_parts_are_paid_from(
    seed: int, minutes: int, budget_cents: int, price_cents: int
) -> None:
    fleets, ways = hand_made(seed, 2, most=2)
    chain = chain_of(fleets, minutes=minutes, price_cents=price_cents, budget_cents=budget_cents)
    against_every_load(priced(fleets), chain, ways)


@pytest.mark.long
@pytest.mark.parametrize("price_cents", [0, 75, 333])
@pytest.mark.parametrize("budget_cents", [0, 400, 1000])
@pytest.mark.parametrize(("seed", "minutes"), MORE)
def test_money_and_minutes_too(seed: int, minutes: int, budget_cents: int, price_cents: int) -> None:
    fleets, ways = hand_made(seed, 2, most=2)
    chain = chain_of(fleets, minutes=minutes, price_cents=price_cents, budget_cents=budget_cents)
    against_every_load(priced(fleets), chain, ways)


def merged(fleets: dict[str, Fleet]) -> Fleet:
    """One ledger with all that the shops have and want."""
    first, *others = fleets.values()
    return replace(
        first,
        pairs=first.pairs | {t: p for f in others for t, p in f.pairs.items()},
        boots=first.boots | {t: b for f in others for t, b in f.boots.items()},
        bindings=first.bindings | {n: b for f in others for n, b in f.bindings.items()},
        wishes=tuple(w for f in fleets.values() for w in f.wishes),
    )


@pytest.mark.parametrize("seed", [1, 2, 7, 9, 14, 23])
def test_where_moves_are_free_the_chain_is_one_fleet(seed: int) -> None:
    """Loose bindings only: one that work takes off a pair serves no other shop in the same plan."""
    fleets, ways = hand_made(seed, 3, most=3)
    loose = {
        name: replace(f, bindings={n: b for n, b in f.bindings.items() if b.on_pair is None})
        for name, f in fleets.items()
    }
    proofs, values = chosen(loose, chain_of(loose), ways)
    assert [p.bound(values[:n]) for n, p in enumerate(proofs)] == [*values]
    alone = Chain(shops=(ChainShop(name="One", ledger=Path("x")),), runs=())
    one = values_after({"One": merged(loose)}, alone, (), ways)
    assert values[:-1] == one[:-1]


@pytest.mark.parametrize("seed", [1, 2, 8, 23])
def test_without_room_every_shop_is_by_itself(seed: int) -> None:
    fleets, ways = hand_made(seed, 3, most=2)
    for chain in (chain_of(fleets, room=0), replace(chain_of(fleets), runs=())):
        proofs, values = chosen(fleets, chain, ways)
        assert values == values_after(fleets, chain, (), ways)
        assert tuple(p.bound(values[:n]) for n, p in enumerate(proofs)) == values


@pytest.mark.parametrize("seed", [1, 2, 8, 11, 23])
def test_where_no_shop_can_pay_for_a_move_every_shop_is_by_itself(seed: int) -> None:
    """A move costs a hundredth more than a whole budget holds; with an ample one money decides nothing."""
    made, ways = hand_made(seed, 2, most=2)
    fleets = priced(made)
    dear = chain_of(fleets, price_cents=1001, budget_cents=1000)
    assert chosen(fleets, dear, ways)[1] == values_after(fleets, dear, (), ways)
    ample = chain_of(fleets, price_cents=1001, budget_cents=10**6)
    assert chosen(fleets, ample, ways)[1] == chosen(fleets, chain_of(fleets), ways)[1]


@pytest.mark.parametrize("seed", [2, 7, 9])
def test_room_is_respected_at_its_limit(seed: int) -> None:
    """One place less than the best load takes serves less or works more; one more changes nothing."""
    fleets, ways = hand_made(seed, 2, most=3)
    legs = (("North", "South"),)
    values = [
        chosen(fleets, chain_of(fleets, room=dict.fromkeys(VanThing, n), legs=legs), ways)[1]
        for n in range(4)
    ]
    assert values[0] >= values[1] >= values[2] >= values[3]
    full = next(n for n in range(4) if values[n] == values[3])
    assert all(values[n] > values[full] for n in range(full))


def test_any_multipliers_give_a_true_bound() -> None:
    """Of a shop that serves one set at prices of nought: nought, two and a half, or what the solver says."""
    fleets, ways = hand_made(2, 2, most=2)
    jobs = chain_jobs(fleets, chain_of(fleets), NOW, ways)
    for job in jobs.jobs:
        desk = ShopDesk(job)
        ask = Ask(level=0, weights=(), prices=(0,) * len(jobs.links))
        cost, best = desk.program.priced(ask), desk.answer(ask).bound
        rows = desk.program.rows
        for each in (0, -SCALE // 2, -3 * SCALE):
            at_most = (rows.upper < float("inf")) & (rows.lower == -float("inf"))
            assert desk.program.bound(cost, (at_most * each).astype("int64")) <= best
