"""Small invented chains: shops of the teaching patterns with tags of their own, and vans between them."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from itertools import product
from pathlib import Path

from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, ChainMove, ChainShop, VanRun, VanThing, after_moves
from planner.plan.values import Rung
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.lexicographic import solve
from planner.planning.assign.problem import build_problem
from planner.planning.chain.plan import movable
from tests.assign.builders import HandMadeWays, boot, fleet, kit, pair, way, wish
from tests.assign.shop import real_shop

NOW = datetime(2026, 11, 20, 9, tzinfo=UTC)
DAY = "2026-11-25"
SOLES = {"sole": "ISO 9523", "other": "ISO 5355 A"}
"""Soles that an import takes as they are; and shells no sole length could be mistaken for."""
SHOPS = ("North", "South", "East", "West")


def renamed(fleet: Fleet, shop: str) -> Fleet:
    """The fleet with the shop's first letter before every name, so that no two shops have one in common."""
    first = shop[0]
    pairs = {
        f"{first}{tag}": replace(
            p,
            tag=f"{first}{tag}",
            skis={
                side: replace(ski, holes=tuple(replace(h, hole_id=f"{first}{h.hole_id}") for h in ski.holes))
                for side, ski in p.skis.items()
            },
        )
        for tag, p in fleet.pairs.items()
    }
    bindings = {
        f"{first}{name}": replace(
            b, binding_id=f"{first}{name}", on_pair=None if b.on_pair is None else f"{first}{b.on_pair}"
        )
        for name, b in fleet.bindings.items()
    }
    return replace(
        fleet,
        shop=shop,
        pairs=pairs,
        boots={
            f"{first}{tag}": replace(
                b,
                tag=f"{first}{tag}",
                sole_type=SOLES[b.sole_type],
                mondopoint_mm=min(280, b.mondopoint_mm or 0),
                bsl_um=max(295_000, b.bsl_um or 0),
            )
            for tag, b in fleet.boots.items()
        },
        fits=tuple(
            replace(f, sole_type=SOLES[f.sole_type], binding_sheet="sheet 2026", boot_sheet="sheet 2026")
            for f in fleet.fits
        ),
        bindings=bindings,
        wishes=tuple(replace(w, wish=f"{first}{w.wish}") for w in fleet.wishes),
    )


def shops(seed: int, count: int = 2, *, pairs: int = 3, boots: int = 3) -> dict[str, Fleet]:
    """So many shops; the first one has the pairs of two, and the last one hardly any."""
    return {
        name: renamed(real_shop(100 * seed + number, pairs=max(2, pairs + (1 - number)), boots=boots), name)
        for number, name in enumerate(SHOPS[:count])
    }


def chain_of(
    fleets: Mapping[str, Fleet],
    *,
    room: Mapping[VanThing, int] | int = 99,
    minutes: int = 0,
    legs: tuple[tuple[str, str], ...] | None = None,
    minutes_limit: int | None = None,
    price_cents: int = 0,
    budget_cents: int | None = None,
) -> Chain:
    """Every shop with a van to every other one, or only these ``legs``."""
    names = tuple(fleets)
    rooms = dict.fromkeys(VanThing, room) if isinstance(room, int) else room
    between = legs or tuple((a, b) for a, b in product(names, names) if a != b)
    return Chain(
        shops=tuple(
            ChainShop(name=n, ledger=Path(f"{n}.db"), minutes_limit=minutes_limit, budget_cents=budget_cents)
            for n in names
        ),
        runs=tuple(
            VanRun(
                name=f"{a} to {b}",
                leaves=a,
                reaches=b,
                day=DAY,
                room=rooms,
                minutes=minutes,
                price_cents=price_cents,
            )
            for a, b in between
        ),
    )


def best_by_trying(
    fleets: Mapping[str, Fleet], chain: Chain, ways: SweptWays | None = None
) -> tuple[int, ...]:
    """The least values over every way to load the vans, each shop solved by itself after it."""
    return min(
        values_after(fleets, chain, moves, ways)
        for moves in every_move(fleets, chain)
        if all(shop.budget_cents is None or money_left(chain, shop, moves) >= 0 for shop in chain.shops)
    )


def money_left(chain: Chain, shop: ChainShop, moves: tuple[ChainMove, ...]) -> int:
    """The budget of a shop less what it pays for each thing that comes to it, in hundredths."""
    came = [run for move in moves for run in chain.runs if run.name == move.run and run.reaches == shop.name]
    return (shop.budget_cents or 0) - sum(run.price_cents for run in came)


def values_after(
    fleets: Mapping[str, Fleet], chain: Chain, moves: tuple[ChainMove, ...], ways: SweptWays | None = None
) -> tuple[int, ...]:
    """What the shops' own best plans come to once these have moved, level by level of the chain."""
    limits = {shop.name: shop.minutes_limit for shop in chain.shops}
    money = {s.name: None if s.budget_cents is None else money_left(chain, s, moves) for s in chain.shops}
    ranks = sorted({w.priority for each in fleets.values() for w in each.wishes})
    summed: Counter[str | int] = Counter()
    for name, after in after_moves(fleets, chain, moves).items():
        problem = build_problem(
            after, ways=ways or SweptWays(), minutes_limit=limits[name], parts_limit_cents=money[name]
        )
        for level, value in solve(problem, lambda _: None).levels:
            summed[level.name if level.priority is None else level.priority] += value
    vans = sum(chain.run(move.run).minutes for move in moves)
    return (*(summed[rank] for rank in ranks), summed["drilled"], summed["minutes"] + vans, len(moves))


def every_move(fleets: Mapping[str, Fleet], chain: Chain) -> Iterator[tuple[ChainMove, ...]]:
    """Every way to load the vans within their room."""
    goes: dict[tuple[VanThing, tuple[str, ...]], list[ChainMove | None]] = {}
    for run in chain.runs:
        for thing, names in movable(fleets[run.leaves], fleets[run.reaches], NOW):
            goes.setdefault((thing, names), [None]).append(ChainMove(run=run.name, thing=thing, names=names))
    for chosen in product(*goes.values()):
        moves = tuple(move for move in chosen if move is not None)
        if all(
            sum(m.run == run.name and m.thing is thing for m in moves) <= run.room.get(thing, 0)
            for run in chain.runs
            for thing in VanThing
        ):
            yield moves


def hand_made(seed: int, count: int = 2, *, most: int = 3) -> tuple[dict[str, Fleet], HandMadeWays]:
    """So many small random shops with ways of their own making: two patterns, few bindings, some on pairs."""
    rng, ways, fleets = random.Random(seed), HandMadeWays(), {}
    for name in SHOPS[:count]:
        first = name[0]
        pairs = [
            pair(f"{first}K-{n}", length_mm=rng.choice([1600, 1700]), batch=100 * ord(first) + n)
            for n in range(rng.randint(1, most))
        ]
        boots = [
            boot(f"{first}B-{n}", bsl_mm=rng.choice([295, 305]), size_mm=rng.choice([255, 275]))
            for n in range(rng.randint(0, most))
        ]
        bindings = []
        for number, each in enumerate(pairs):
            if rng.random() < 0.5:
                bindings += kit(number, rng.choice("PQ"), rng.choice([95, 100]), each.tag)
        for number in range(rng.randint(0, 2)):
            bindings += kit(50 + number, rng.choice("PQ"), rng.choice([95, None]))
        wishes = [
            wish(
                f"{first}W-{n}",
                quantity=rng.randint(1, 2),
                priority=rng.randint(1, 2),
                length=rng.choice([(1500, 1650), (1500, 1800)]),
                size=rng.choice([(250, 260), (250, 280)]),
            )
            for n in range(rng.randint(1, 2))
        ]
        made = fleet(
            pairs=pairs,
            boots=boots,
            wishes=wishes,
            bindings=[replace(b, binding_id=f"{first}{b.binding_id}") for b in bindings],
            patterns=("P", "Q"),
            fits=(("sole", "P"), ("sole", "Q")),
        )
        fleets[name] = replace(made, shop=name)
        for each in pairs:
            for name_of, bsl, on in product("PQ", (295, 305), (True, False)):
                if rng.random() < 0.7:
                    ways.table[each.tag, name_of, bsl, on] = (
                        way(
                            pattern_name=name_of,
                            bsl_mm=bsl,
                            drilled=rng.choice([0, 4, 8, 16]),
                            minutes=rng.randint(5, 40),
                            rung=Rung.ALL_NEW,
                        ),
                    )
    return fleets, ways
