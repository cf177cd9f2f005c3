"""Fleets played out over ten winters: what worths of the last mounts keep of the skis, and what they cost.

    python -m tests.bench.winters [--fleets N] [--tune N] [--pairs N]

Each fleet has bindings with or without travel and wants at 65 to 95 % of its pairs, all mounted once. Each
winter a third of the boots are new, bought in groups of one sole length, and the shop plans and works: with
no worths set, or with those of the table that was best on fleets other than those judged. Differences are
paired, fleet by fleet, with 95 % intervals.
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
from fleet.facts.holes import Mount
from fleet.facts.kinds import Kind
from fleet.facts.policy import Policy
from fleet.tables.snapshot import Fleet
from planner.planning.seasons.winters import TABLES, Played, Worths, best_of, played
from tests.assign.builders import boot, fleet, kit, wish
from tests.bench.rows import row
from tests.life.test_life import pair as drilled_pair, teaching

WINTERS = 10
NEW_BOOTS = 0.35
SOLES_MM = range(279, 340, 2)
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


def bought_each_winter(shop: Fleet, rng: random.Random, winter: int) -> Fleet:
    """The fleet with a third of its boots new."""
    old = sorted(shop.boots)
    gone = set(rng.sample(old, int(NEW_BOOTS * len(old))))
    kept = {tag: b for tag, b in shop.boots.items() if tag not in gone}
    return replace(shop, boots=kept | {b.tag: b for b in bought(rng, winter, len(gone))})


def figures(seed: int, pairs: int, worths: Worths) -> tuple[int, ...]:
    """The `FIGURES` of one fleet after all winters."""
    shop = first_fleet(seed, pairs)
    found = played(shop, bought_each_winter, worths, winters=WINTERS, seed=seed + 10_000)
    return found.served, found.mounts, found.minutes, found.worn_out


def interval(differences: list[int]) -> str:
    """Mean and 95 % interval."""
    half = 1.96 * stdev(differences) / sqrt(len(differences)) if len(differences) > 1 else 0.0
    return f"{mean(differences):+.1f} ({mean(differences) - half:+.1f} to {mean(differences) + half:+.1f})"


def main() -> None:
    """Print the rows."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--fleets", type=int, default=42)
    asked.add_argument("--tune", type=int, default=8)
    asked.add_argument("--pairs", type=int, default=80)
    said = asked.parse_args()
    start = process_time()
    tuned = []
    for worths in TABLES:
        rows = [figures(1000 + n * 3, said.pairs, worths) for n in range(said.tune)]
        served, mounts, minutes, worn = (sum(each) for each in zip(*rows, strict=True))
        tuned.append(Played(worths=worths, served=served, mounts=mounts, minutes=minutes, worn_out=worn))
        print(f"tuning: {tuned[-1]}, {tuned[-1].points} points", flush=True)
    best = best_of(tuned[1:]).worths
    print(f"worths chosen: {best}; {process_time() - start:.0f} s of processor time", flush=True)
    found: dict[str, list[tuple[int, ...]]] = {"none": [], "worths": []}
    for seed in range(said.fleets):
        found["none"].append(figures(seed, said.pairs, None))
        found["worths"].append(figures(seed, said.pairs, best))
    print(f"{said.fleets} fleets, {process_time() - start:.0f} s of processor time", flush=True)
    report(found, said.pairs, best)


def report(found: dict[str, list[tuple[int, ...]]], pairs: int, worths: Worths) -> None:
    """The figures by family."""
    rows, base = found["worths"], found["none"]
    families = {"all": lambda seed: True} | {
        f"{words}, wants {part}": lambda seed, t=t, low=low, high=high: (
            seed % 2 == t and low <= 65 + 5 * (seed // 2 % 7) <= high
        )
        for t, words in enumerate(("no travel", "travel"))
        for part, low, high in (("65 to 95 %", 65, 95), ("65 to 75 %", 65, 75), ("80 to 95 %", 80, 95))
    }
    words = "; ".join(FIGURES)
    for family, is_in in families.items():
        of = [seed for seed in range(len(rows)) if is_in(seed)]
        if not of:
            continue
        totals = [
            "; ".join(f"{sum(figures[seed][n] for seed in of):,}" for n in range(len(FIGURES)))
            for figures in (rows, base)
        ]
        changes = [interval([rows[seed][n] - base[seed][n] for seed in of]) for n in range(len(FIGURES))]
        row(
            f"{len(of)} fleets of {pairs} pairs, {family}, ten winters: {words}",
            f"worths {', '.join(str(worth) for worth in worths or ())}: {totals[0]}",
            f"none set: {totals[1]}",
            f"each fleet, paired 95 %: {'; '.join(changes)}",
        )


if __name__ == "__main__":
    main()
