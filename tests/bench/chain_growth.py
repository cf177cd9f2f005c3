"""The growth of a chain: shops in one plan, processor seconds of one process, rounds, and what is proved.

    python -m tests.bench.chain_growth [SHOPS ...] [--pairs N]

Each shop is a seeded fleet of `plan_fleets` that wants more sets than the one before it; a van goes from each
shop to the next two, with room for six of a thing. One process does everything, so that the seconds add up.
The reference is every shop solved by itself, nothing moved: the same sweeps of the same geometry.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from time import process_time

from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, ChainShop, VanRun, VanThing
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.lexicographic import solve
from planner.planning.assign.problem import build_problem
from planner.planning.chain.plan import chain_jobs, choose_moves
from planner.planning.chain.prices import chain_levels
from planner.planning.chain.side_by_side import SideBySide
from tests.bench.plan_fleets import real_fleet
from tests.bench.rows import row

SIZES = (3, 6, 12, 20)
NOW = datetime(2026, 11, 20, 9, tzinfo=UTC)


def shop(number: int, pairs: int) -> Fleet:
    """A shop with names of its own; every other one has a third of the boots that it wants."""
    fleet, first = real_fleet(pairs, seed=number), f"{number:02}-"
    boots = list(fleet.boots.values())
    boots = boots[: len(boots) // 3] if number % 2 else boots
    return replace(
        fleet,
        shop=f"shop {number}",
        pairs={f"{first}{t}": replace(p, tag=f"{first}{t}") for t, p in fleet.pairs.items()},
        boots={f"{first}{b.tag}": replace(b, tag=f"{first}{b.tag}") for b in boots},
        bindings={
            f"{first}{n}": replace(
                b, binding_id=f"{first}{n}", on_pair=None if b.on_pair is None else f"{first}{b.on_pair}"
            )
            for n, b in fleet.bindings.items()
        },
        wishes=tuple(replace(w, wish=f"{first}{w.wish}") for w in fleet.wishes),
    )


def chain(names: list[str]) -> Chain:
    """A van from each shop to the next two."""
    runs = [
        VanRun(
            name=f"{a} to {names[(n + ahead) % len(names)]}",
            leaves=a,
            reaches=names[(n + ahead) % len(names)],
            day="2026-11-25",
            room=dict.fromkeys(VanThing, 6),
            minutes=5,
        )
        for n, a in enumerate(names)
        for ahead in (1, 2)
    ]
    return Chain(shops=tuple(ChainShop(name=n, ledger=Path(n)) for n in names), runs=tuple(runs))


def measure(count: int, pairs: int) -> None:
    """One row of the table."""
    fleets = {f"shop {n}": shop(n, pairs) for n in range(count)}
    ranks = sorted({w.priority for fleet in fleets.values() for w in fleet.wishes})
    start, rounds = process_time(), 0

    def say(words: str) -> None:
        nonlocal rounds
        rounds += "no plan below" in words

    jobs = chain_jobs(fleets, chain(list(fleets)), NOW)
    proofs, moves = choose_moves(jobs, SideBySide(0), chain_levels(ranks), say, 120)
    spent, start = process_time() - start, process_time()
    for fleet in fleets.values():
        solve(build_problem(fleet, ways=SweptWays(), minutes_limit=None), lambda _: None)
    alone = process_time() - start
    row(
        f"{count} shops of {pairs} pairs, {len(jobs.links)} links, {len(proofs)} levels",
        f"{spent:.1f} s CPU, {rounds} rounds, {len(moves)} things moved",
        f"every shop by itself {alone:.1f} s CPU",
        f"{spent / alone:.0f} times as long",
    )


def main() -> None:
    """Measure the sizes asked for."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("shops", nargs="*", type=int, metavar="SHOPS", default=SIZES)
    ask.add_argument("--pairs", type=int, default=40)
    given = ask.parse_args()
    for count in given.shops:
        measure(count, given.pairs)


if __name__ == "__main__":
    main()
