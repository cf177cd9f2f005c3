"""Fleets played out over ten winters: what a price on drilled mounts keeps of the skis, and what it costs.

    python -m tests.bench.winters [--fleets N] [--tune N] [--pairs N]

Each fleet has bindings with or without travel and wants at 65 to 95 % of its pairs, all mounted once. Each
winter a third of the boots are new, bought in groups of one sole length, and the shop plans and works:
without the level of room (before), with it (the default), or with a price on a drilled mount in the level of
holes, the higher the fewer further mounts the pair has room for. The price is chosen on fleets other than
those judged; differences are paired, fleet by fleet, with 95 % intervals.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Iterator
from dataclasses import replace
from math import sqrt
from statistics import mean, stdev
from time import process_time

from fleet.facts.boots import Boot
from fleet.facts.kinds import Kind
from fleet.facts.mounts import Mount, PieceSlide
from fleet.facts.pairs import Pair
from fleet.facts.policy import Policy
from fleet.tables.snapshot import Fleet
from planner.plan.values import PlannedSet, Rung
from planner.planning.assign.expand import expand
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.lexicographic import solve
from planner.planning.assign.problem import build_problem
from planner.planning.assign.room_left import RoomLeft, as_left
from tests.assign.builders import boot, fleet, kit, wish
from tests.life.test_life import pair as drilled_pair
from tests.life.test_life import teaching

WINTERS = 10
NEW_BOOTS = 0.35
SOLES_MM = range(279, 340, 2)
PRICES = (16, 64, 256)
"""Holes that a drilled mount costs beside its own, over the further mounts that the pair has room for."""
FIGURES = ("sets served", "drilled mounts", "minutes", "pairs worn out")


def first_fleet(seed: int, pairs: int) -> Fleet:
    """Pairs mounted once, boots in groups, a rule that lets the spacing bind."""
    rng = random.Random(seed)
    pattern = teaching(12 if seed % 2 else 0)
    made = []
    for n in range(pairs):
        bsl = rng.choice(SOLES_MM)
        mount = Mount(
            pattern=pattern.name, bsl_um=bsl * 1000, offset_um=0, mounted_on="2024-10-01", removed_on=None
        )
        base = drilled_pair(((bsl, 0),), pattern=pattern)
        made.append(replace(base, tag=f"K-{n:03}", mounts=(mount,), earlier_mounts=0))
    share = 0.65 + 0.05 * (seed // 2 % 7)
    shop = fleet(
        pairs=made,
        boots=list(bought(rng, 0, int(1.1 * pairs))),
        wishes=[wish("W-1", quantity=round(share * pairs), kind=Kind.ALPINE)],
        bindings=[b for n in range(pairs) for b in kit(n, pattern.name, None, f"K-{n:03}")],
        fits=(("sole", pattern.name),),
    )
    most = replace(shop.policy.settings["mounts_max"], value="6")
    policy = Policy({**shop.policy.settings, "mounts_max": most})
    return replace(shop, patterns={pattern.name: pattern}, policy=policy)


def bought(rng: random.Random, winter: int, count: int) -> Iterator[Boot]:
    """Boots in groups of three to six with one sole length."""
    done = 0
    while done < count:
        bsl = rng.choice(SOLES_MM)
        for _ in range(min(rng.randint(3, 6), count - done)):
            yield boot(f"B-{winter:02}-{done:03}", bsl_mm=bsl)
            done += 1


def next_boots(shop: Fleet, rng: random.Random, winter: int) -> Fleet:
    """The fleet with a third of its boots new."""
    old = sorted(shop.boots)
    gone = set(rng.sample(old, int(NEW_BOOTS * len(old))))
    kept = {tag: b for tag, b in shop.boots.items() if tag not in gone}
    return replace(shop, boots=kept | {b.tag: b for b in bought(rng, winter, len(gone))})


def planned(shop: Fleet, price: int | None, *, level: bool) -> tuple[PlannedSet, ...]:
    """The sets of a plan; ``price`` None: none."""
    ways = SweptWays()
    room = RoomLeft(shop, ways)
    problem = build_problem(shop, ways=ways, minutes_limit=None, room=room if level else None)
    dear = problem
    if price is not None:
        arcs = problem.arcs
        worth = [price // max(1, room.now(each.pair)) for each in problem.pairs]
        more = [worth[p] if holes else 0 for p, holes in zip(arcs.pair, arcs.drilled, strict=True)]
        dear = replace(problem, arcs=replace(arcs, drilled=arcs.drilled + more))
    found = solve(dear, lambda _: None)
    counted = replace(found.problem, arcs=replace(found.problem.arcs, drilled=problem.arcs.drilled))
    return expand(shop, counted, found.sets, ways)[0]


def done(shop: Fleet, sets: tuple[PlannedSet, ...]) -> Fleet:
    """The fleet once the work is done."""
    pairs = dict(shop.pairs)
    for each in sets:
        if each.way.rung.rank > Rung.ADJUST.rank:
            pairs[each.pair] = mounted(pairs[each.pair], each)
    return replace(shop, pairs=pairs)


def mounted(pair: Pair, each: PlannedSet) -> Pair:
    way = each.way
    stands = next(iter(way.skis.values())).pieces
    now = Mount(
        pattern=way.pattern,
        bsl_um=way.bsl_um,
        offset_um=way.offset_um,
        mounted_on="2025-10-01",
        removed_on=None,
        drilled=bool(way.drilled),
        slides=tuple(
            PieceSlide(piece=p.piece, reference_um=p.reference_um, slide_um=p.slide_um) for p in stands
        ),
    )
    number = len(pair.mounts)
    left = as_left(pair, way)
    skis = {
        side: replace(
            ski,
            holes=tuple(
                replace(h, hole_id=f"{number} {h.hole_id}") if h.hole_id.startswith("planned") else h
                for h in ski.holes
            ),
        )
        for side, ski in left.skis.items()
    }
    before = tuple(replace(m, removed_on=m.removed_on or "2025-05-01") for m in pair.mounts)
    return replace(left, skis=skis, mounts=(*before, now))


def played(seed: int, pairs: int, price: int | None, *, level: bool = True) -> tuple[int, ...]:
    """The `FIGURES` of one fleet after all winters; the same boots are bought whatever is planned."""
    shop, rng = first_fleet(seed, pairs), random.Random(seed + 10_000)
    served = drilled = minutes = 0
    for winter in range(1, WINTERS + 1):
        shop = next_boots(shop, rng, winter)
        sets = planned(shop, price, level=level)
        served += len(sets)
        drilled += sum(bool(each.way.drilled) for each in sets)
        minutes += sum(each.minutes for each in sets)
        shop = done(shop, sets)
    room = RoomLeft(shop, SweptWays())
    return served, drilled, minutes, sum(room.now(each) == 0 for each in shop.pairs.values())


def interval(differences: list[int]) -> str:
    """Mean and 95 % interval."""
    half = 1.96 * stdev(differences) / sqrt(len(differences)) if len(differences) > 1 else 0.0
    return f"{mean(differences):+.1f} ({mean(differences) - half:+.1f} to {mean(differences) + half:+.1f})"


def main() -> None:
    """Print the rows."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--fleets", type=int, default=30)
    asked.add_argument("--tune", type=int, default=6)
    asked.add_argument("--pairs", type=int, default=20)
    said = asked.parse_args()
    start = process_time()
    tuned = {}
    for price in PRICES:
        rows = [played(1000 + n, said.pairs, price) for n in range(said.tune)]
        tuned[price] = sum(row[1] for row in rows) - 5 * sum(row[0] for row in rows)
        print(f"tuning, price {price}: {[sum(each) for each in zip(*rows, strict=True)]}", flush=True)
    best = min(tuned, key=lambda price: (tuned[price], price))
    print(f"price chosen: {best}", flush=True)
    kinds = {
        "before": lambda seed: played(seed, said.pairs, None, level=False),
        "default": lambda seed: played(seed, said.pairs, None),
        "price": lambda seed: played(seed, said.pairs, best),
    }
    found: dict[str, list[tuple[int, ...]]] = {kind: [] for kind in kinds}
    for seed in range(said.fleets):
        for kind, play in kinds.items():
            found[kind].append(play(seed))
        if seed % 5 == 4 or seed == said.fleets - 1:
            report(found, seed + 1, process_time() - start)


def report(found: dict[str, list[tuple[int, ...]]], fleets: int, seconds: float) -> None:
    """The figures so far, by family."""
    print(f"after {fleets} fleets, {seconds:.0f} s of processor time", flush=True)
    for family, start, step in (("all", 0, 1), ("no travel", 0, 2), ("travel", 1, 2)):
        for kind in ("default", "price"):
            rows, base = found[kind][start::step], found["before"][start::step]
            for n, figure in enumerate(FIGURES):
                change = [a[n] - b[n] for a, b in zip(rows, base, strict=True)]
                total = sum(row[n] for row in rows), sum(row[n] for row in base)
                print(
                    f"  {family}, {kind}: {figure} {total[1]} -> {total[0]}, each {interval(change)}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
