"""Every stock of a small first stage, tried one after the other; shares nothing with the program.

Served sets are counted by matching single sets with single customers (scipy), not by a flow.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import permutations

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching

from planner.planning.assign.classes import BindingSort, Wishes
from planner.planning.seasons.season_program import FirstStage, RemountChoice


def served(sets: Sequence[Wishes], peaks: Sequence[int], wants: set[int]) -> int:
    """The most customers of these wants that the sets serve, one each."""
    customers = [w for w, n in enumerate(peaks) if w in wants for _ in range(n)]
    if not sets or not customers:
        return 0
    table = csr_matrix(np.array([[int(w in who) for w in customers] for who in sets]))
    return int((maximum_bipartite_matching(table, perm_type="column") >= 0).sum())


def stocks(stage: FirstStage) -> Iterator[tuple[Wishes, ...]]:
    """The types of every stock that pairs, boots, bindings and minutes allow."""
    units = [g for g, n in enumerate(stage.pair_sizes) for _ in range(n)]
    seen = set()
    for chosen in _chosen(stage, units):
        boots = Counter(c.boots for c in chosen)
        if any(n > stage.boot_sizes[b] for b, n in boots.items()):
            continue
        if stage.minutes_limit is not None and sum(c.minutes for c in chosen) > stage.minutes_limit:
            continue
        if not _bindings_suffice(stage, chosen):
            continue
        types = tuple(sorted(c.serves for c in chosen))
        if types not in seen:
            seen.add(types)
            yield types


def _chosen(stage: FirstStage, units: Sequence[int]) -> Iterator[list[RemountChoice]]:
    if not units:
        yield []
        return
    for rest in _chosen(stage, units[1:]):
        yield rest
        for choice in stage.choices:
            if choice.pairs == units[0]:
                yield [choice, *rest]


def _bindings_suffice(stage: FirstStage, chosen: Sequence[RemountChoice]) -> bool:
    left = Counter(stage.supply)
    asks = []
    for choice in chosen:
        own = stage.own[choice.pairs]
        if choice.brakes >= 0:
            asks.append(set(stage.brake_sets[choice.brakes]))
        elif own is not None:
            left[own] -= 1
    if min([*left.values(), 0]) < 0:
        return False
    there: list[BindingSort] = list(left.elements())
    if len(asks) > len(there):
        return False
    return any(
        all(sort in ask for sort, ask in zip(order, asks, strict=True))
        for order in permutations(there, len(asks))
    )


def best_levels(
    stage: FirstStage, peaks: Sequence[Sequence[int]], priorities: Sequence[int], price: float
) -> list[float]:
    """By priority: the most that mean served up to it less the price can be, those before as found."""
    found = []
    all_stocks = list(stocks(stage))
    kept = [True] * len(all_stocks)
    for rank in sorted(set(priorities)):
        wants = {w for w, p in enumerate(priorities) if p <= rank}
        mean = [sum(served(s, season, wants) for season in peaks) / len(peaks) for s in all_stocks]
        net = [m - price * len(s) for m, s in zip(mean, all_stocks, strict=True)]
        best = max(n for n, k in zip(net, kept, strict=True) if k)
        at = next(i for i, n in enumerate(net) if kept[i] and n > best - 1e-9)
        found.append(best)
        kept = [k and m > mean[at] - 1e-7 for k, m in zip(kept, mean, strict=True)]
    return found
