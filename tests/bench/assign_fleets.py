"""Seeded planning problems of any size, with ways drawn instead of swept: what the solver sees of a fleet.

Invented: four kinds, eight lengths and twenty soles each; wants by shell band, each with its length
window, the neighbours' windows overlapping; six of ten pairs carry a binding. ``batch``: pairs that are
alike, hole by hole (1: every pair differs).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fleet.facts.boots import Boot
from fleet.facts.holes import Side
from fleet.facts.kinds import Kind, KindRule
from fleet.facts.pairs import Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from fleet.facts.wishes import Wish
from planner.plan.objective import IF_COUNTED
from planner.planning.assign.classes import (
    BindingSort,
    BindingStock,
    BootClass,
    PairClass,
    boot_classes,
    wants_pair,
)
from planner.planning.assign.problem import Arcs, Problem

CAP_UM = 10_000
BANDS = ((240, 255), (255, 270), (265, 280), (275, 290))
BANDS_APART = ((240, 255), (260, 265), (270, 275), (280, 290))
LENGTHS = tuple(range(1550, 1830, 35))
BRAKES = (85_000, 95_000, 105_000)


def fleet_problem(
    count: int,
    *,
    seed: int,
    batch: int = 1,
    bindings_share: float = 1.0,
    minutes_limit: int | None = None,
    served_share: float = 0.8,
    windows_apart: bool = False,
) -> Problem:
    """About ``count`` pairs and 1.1 times as many boots; ``bindings_share``: loose bindings a flat pair.

    ``windows_apart``: no boot and no pair is asked for by two windows, so that no boots are shared.
    """
    rng = np.random.default_rng(seed)
    wishes = _wishes(int(count * served_share), windows_apart=windows_apart)
    patterns = tuple(_pattern(f"{kind}-{letter}") for kind in sorted(Kind) for letter in "PQ")
    boots = boot_classes(_boots(rng, int(count * 1.1)), wishes, KindRule(default_policy()))
    pairs = _pairs(rng, count, batch, wishes)
    arcs, brake_sets = _arcs(rng, pairs, boots, patterns, all_trades=minutes_limit is not None)
    flat = sum(len(p.tags) for p in pairs if p.own is None)
    share = max(1, int(flat * bindings_share / (len(patterns) * len(BRAKES)) * 2))
    stock = {BindingSort(p.name, b): share for p in patterns for b in BRAKES}
    on_pair = {tag: p.own for p in pairs if p.own is not None for tag in p.tags}
    bindings = BindingStock(stock=stock, on_pair=on_pair)
    tags = tuple(sorted(tag for p in pairs for tag in p.tags))
    return Problem(
        wishes=wishes,
        pairs=pairs,
        boots=boots,
        patterns=patterns,
        brake_sets=brake_sets,
        arcs=arcs,
        bindings=bindings,
        supply=bindings.supply(tags),
        minutes_limit=minutes_limit,
        parts_limit_cents=None,
        strip_minutes=8,
        clearance_cap_um=CAP_UM,
        plannable=tags,
    )


def limited(problem: Problem, minutes_limit: int) -> Problem:
    """The same problem with a limit on minutes (made with one before, so that all trades are in it)."""
    return replace(problem, minutes_limit=minutes_limit)


def _wishes(total: int, *, windows_apart: bool) -> tuple[Wish, ...]:
    found = []
    bands = BANDS_APART if windows_apart else BANDS
    share = max(1, total // (len(Kind) * len(BANDS) * 2))
    for kind in sorted(Kind):
        for b, band in enumerate(bands):
            for priority in (1, 2):
                found.append(
                    Wish(
                        wish=f"W-{kind}-{b}-{priority}",
                        kind=Kind(kind),
                        length_min_mm=LENGTHS[2 * b if windows_apart else b],
                        length_max_mm=LENGTHS[2 * b + 1 if windows_apart else b + 4],
                        mondopoint_min_mm=band[0],
                        mondopoint_max_mm=band[1],
                        quantity=share,
                        priority=priority,
                    )
                )
    return tuple(sorted(found, key=lambda w: w.wish))


def _pattern(name: str) -> Pattern:
    piece = Piece(name=PieceName.TOE, follows=Follows.TOE, holes=(PatternHole(x_um=0, y_um=18_000),))
    return Pattern(name=name, binding_model=name, pieces=(piece,))


def _boots(rng: np.random.Generator, count: int) -> list[Boot]:
    sizes = rng.normal(266, 12, count).clip(240, 290)
    models = rng.integers(0, 2, count)
    kinds = rng.integers(0, len(Kind), count)
    made = []
    for i in range(count):
        size = int(sizes[i] // 5 * 5)
        made.append(
            Boot(
                tag=f"B-{i:06}",
                model=f"M{models[i]}",
                mondopoint_mm=size,
                bsl_um=(size + 30 + 5 * int(models[i])) * 1000,
                bsl_measured="ruler",
                sole_type=sorted(Kind)[kinds[i]],
            )
        )
    return made


def _pairs(
    rng: np.random.Generator, count: int, batch: int, wishes: tuple[Wish, ...]
) -> tuple[PairClass, ...]:
    found = []
    rule = KindRule(default_policy())
    skis = {side: Ski(side=side) for side in Side}
    for first in range(0, count, batch):
        kind = Kind(sorted(Kind)[rng.integers(0, len(Kind))])
        tags = tuple(f"K-{i:06}" for i in range(first, min(first + batch, count)))
        pair = Pair(
            tag=tags[0],
            model="",
            kind=kind,
            length_mm=int(rng.choice(LENGTHS)),
            waist_um=int(rng.integers(80, 92)) * 1000,
            construction=None,
            rack="",
            place=Place.FLAT,
            skis=skis,
        )
        fits = [b for b in BRAKES if pair.waist_um <= b <= pair.waist_um + 15_000]
        own = None
        if fits and rng.random() < 0.6:
            own = BindingSort(f"{kind}-{'PQ'[rng.integers(0, 2)]}", int(rng.choice(fits)))
        asked = tuple(i for i, wish in enumerate(wishes) if wants_pair(wish, pair, rule))
        if asked:
            found.append(PairClass(pair=pair, own=own, wishes=asked, tags=tags))
    return tuple(found)


def _arcs(
    rng: np.random.Generator,
    pairs: tuple[PairClass, ...],
    boots: tuple[BootClass, ...],
    patterns: tuple[Pattern, ...],
    *,
    all_trades: bool,
) -> tuple[Arcs, tuple[tuple[BindingSort, ...], ...]]:
    number = {p.name: i for i, p in enumerate(patterns)}
    brake_sets: dict[tuple[BindingSort, ...], int] = {}
    bsl = np.array([b.bsl_um // 1000 for b in boots])
    fits: dict[tuple[int, ...], np.ndarray] = {}
    rows: list[np.ndarray] = []
    for g, pair in enumerate(pairs):
        key = (*pair.wishes, -1, sorted(Kind).index(pair.pair.kind))
        if key not in fits:
            fits[key] = np.array(
                [
                    b
                    for b, boot in enumerate(boots)
                    if boot.sole_type == pair.pair.kind and set(boot.wishes) & set(pair.wishes)
                ],
                dtype=np.int64,
            )
        mine = fits[key]
        mounted = int(rng.integers(270, 325))
        waist = pair.pair.waist_um or 0
        for letter in "PQ":
            name = f"{pair.pair.kind}-{letter}"
            if pair.own is not None and pair.own.pattern == name:
                rows.append(_own(rng, g, number[name], mine, bsl[mine] - mounted))
            sorts = tuple(
                BindingSort(name, b)
                for b in BRAKES
                if waist <= b <= waist + 15_000 and BindingSort(name, b) != pair.own
            )
            if sorts:
                at = brake_sets.setdefault(sorts, len(brake_sets))
                rows.append(_other(rng, g, number[name], mine, at, swap=pair.own is not None))
                if all_trades:
                    rows.append(_quicker(rng, rows[-1]))
    table = np.concatenate(rows)
    order = np.lexsort((table[:, 4], table[:, 3], table[:, 2], table[:, 1], table[:, 0]))
    columns = table[order].T
    none = {level.name: np.zeros(len(table), dtype=np.int64) for level in IF_COUNTED}
    names = [name for name in Arcs.__slots__ if name not in none]
    arcs = Arcs(**dict(zip(names, columns, strict=True)), **none)
    return arcs, tuple(brake_sets)


def _own(rng: np.random.Generator, g: int, pattern: int, mine: np.ndarray, off: np.ndarray) -> np.ndarray:
    """As it is within 2 mm of the mounted sole, adjust within 15 mm, else drilled where there is room."""
    n = len(mine)
    rung = np.where(np.abs(off) <= 2, 0, np.where(np.abs(off) <= 15, 1, 4))
    drilled = np.where(rung == 4, 8, 0)
    minutes = np.choose(np.minimum(rung, 2), [0, 10, 46])
    offset = rng.integers(0, 11, n) * 500
    lost = np.where(rung == 4, rng.integers(0, 20, n) * 500, 0)
    keep = (rung < 4) | (rng.random(n) < 0.5)
    return _table(g, mine, rung, pattern, -1, drilled, minutes, offset, lost)[keep]


def _other(
    rng: np.random.Generator, g: int, pattern: int, mine: np.ndarray, brakes: int, *, swap: bool
) -> np.ndarray:
    n = len(mine)
    rung = rng.choice([2, 4, 5], n, p=[0.15, 0.25, 0.6])
    drilled = np.choose(np.searchsorted([2, 4, 5], rung), [0, 8, 16])
    minutes = 18 + 8 * swap + drilled * 3 // 2 + rng.integers(0, 9, n)
    offset = rng.integers(0, 11, n) * 500
    lost = np.where(rung > 2, rng.integers(0, 20, n) * 500, 0)
    return _table(g, mine, rung, pattern, brakes, drilled, minutes, offset, lost)[rng.random(n) < 0.6]


def _quicker(rng: np.random.Generator, made: np.ndarray) -> np.ndarray:
    """A second way that drills more and takes less: what a limit on minutes trades against."""
    more = made[(made[:, 2] == 4) & (rng.random(len(made)) < 0.5)].copy()
    more[:, 2] = 5
    more[:, 5] = 16
    more[:, 6] = np.maximum(14, more[:, 6] - 6)
    return more


def _table(
    g: int, mine: np.ndarray, rung: np.ndarray, pattern: int, brakes: int, *costs: np.ndarray
) -> np.ndarray:
    n = len(mine)
    fixed = [np.full(n, g), mine, rung, np.full(n, pattern), np.full(n, brakes)]
    return np.stack([*fixed, *costs, np.zeros(n)], axis=1).astype(np.int64)
