"""How many sets to have ready: the newsvendor, a worked example, and every stock of small cases tried."""

from __future__ import annotations

import random
from itertools import combinations
from statistics import NormalDist, fmean

import pytest

from planner.planning.assign.classes import BindingSort
from planner.planning.seasons.season_plan import SeasonFlow
from planner.planning.seasons.season_program import (
    OWN,
    SMALL,
    FirstStage,
    RemountChoice,
    Resource,
    best_stock,
    values_of_one_more,
)
from planner.planning.seasons.seasons import critical_ratio, quantile
from tests.demand.stock_brute_force import best_levels, served


def one_kind(pairs: int) -> FirstStage:
    """So many pairs and boots alike, for one want."""
    return FirstStage(
        pair_sizes=(pairs,),
        pair_tags=("K-001",),
        own=(None,),
        boot_sizes=(pairs,),
        boot_tags=("B-001",),
        brake_sets=((BindingSort("T4/H4", 95_000),),),
        supply={BindingSort("T4/H4", 95_000): pairs},
        minutes_limit=None,
        choices=(RemountChoice(pairs=0, boots=0, brakes=0, minutes=0, serves=(0,)),),
    )


@pytest.mark.parametrize(("refusal", "idle"), [(45, 6), (3, 1), (1, 1), (1, 3), (9, 1)])
def test_one_want_alone_is_the_newsvendors_fractile(refusal: int, idle: int) -> None:
    """The smallest stock that suffices in refusal / (refusal + idle) of the seasons.

    Source: Arrow, Harris, Marschak, Optimal inventory policy, Econometrica 19 (1951); from memory.
    """
    rng = random.Random(refusal * 100 + idle)
    ready = critical_ratio(refusal, idle)
    for _ in range(10):
        peaks = [max(0, round(rng.gauss(18, 5))) for _ in range(21)]
        found = best_stock(one_kind(60), [(p,) for p in peaks], [1], ready=ready)
        assert found.counts == {(0,): quantile(peaks, ready)}


@pytest.mark.long
@pytest.mark.parametrize(("refusal", "idle"), [(45, 6), (3, 1), (2, 1), (1, 3), (9, 1)])
def test_one_want_alone_is_what_a_library_of_inventory_theory_orders(refusal: int, idle: int) -> None:
    """stockpyl's discrete newsvendor, its example 4.7 (Poisson 6, 1 and 4: order 8) first."""
    pytest.importorskip("stockpyl")
    from scipy.stats import poisson
    from stockpyl.newsvendor import newsvendor_discrete

    assert newsvendor_discrete(1, 4, poisson(6))[0] == 8
    rng = random.Random(refusal * 100 + idle)
    for _ in range(10):
        peaks = [max(0, round(rng.gauss(18, 5))) for _ in range(23)]
        pmf = {peak: peaks.count(peak) / len(peaks) for peak in sorted(peaks)}
        found = best_stock(one_kind(60), [(p,) for p in peaks], [1], ready=critical_ratio(refusal, idle))
        assert found.counts == {(0,): newsvendor_discrete(idle, refusal, demand_pmf=pmf)[0]}


def test_18_give_or_take_5_at_45_to_6_is_24_pairs() -> None:
    """Demand about normal, 18 with SD 5; a refusal costs 45, an idle pair 6: ratio 0.882, 24 pairs, not 18.

    By hand: 18 + 5 x 1.187 = 23.9; 24 pairs are enough with probability 0.88, 18 with 0.50 (normal, no
    continuity correction). The 200 seasons stand at the middles of 200 equal slices of that normal.
    """
    demand, ready = NormalDist(18, 5), critical_ratio(45, 6)
    assert ready == pytest.approx(0.882, abs=5e-4)
    assert demand.inv_cdf(ready) == pytest.approx(23.9, abs=0.05)
    assert (round(demand.cdf(24), 2), demand.cdf(18)) == (0.88, 0.5)
    slices = [demand.inv_cdf((i + 0.5) / 200) for i in range(200)]
    seasons = [(int(-(-d // 1)),) for d in slices]  # a season that asks for 23.2 is not served by 23
    found = best_stock(one_kind(60), seasons, [1], ready=ready)
    assert found.counts == {(0,): 24}
    assert sum(peak <= 24 for (peak,) in seasons) / 200 == pytest.approx(0.88, abs=0.006)


def test_one_pair_more_is_worth_the_seasons_that_would_use_it() -> None:
    """With 20 of the 24 pairs there, the 21st is used in the seasons that ask for more than 20.

    One more boot, or binding, or pair alone serves nobody: the other two are as short.
    """
    seasons = [(peak,) for peak in (12, 15, 18, 20, 21, 22, 24, 25, 26, 30)]
    stage = one_kind(20)
    assert values_of_one_more(best_stock(stage, seasons, [1], ready=0.882), each=3) == ()
    roomy = FirstStage(
        **{name: getattr(stage, name) for name in stage.__slots__}
        | {"boot_sizes": (40,), "supply": {BindingSort("T4/H4", 95_000): 40}}
    )
    (one,) = values_of_one_more(best_stock(roomy, seasons, [1], ready=0.882), each=3)
    assert (one.thing, one.number) == (Resource.PAIR, 0)
    assert one.sets == pytest.approx(0.6)  # six of the ten ask for more than 20


def drawn_stage(rng: random.Random, *, limited: bool) -> tuple[FirstStage, list[int]]:
    """Up to six pairs in three groups, three groups of boots, two sorts of bindings, three wants."""
    wants = [(0,), (1,), (2,), (0, 1), (1, 2), (0, 1, 2)]
    sorts = (BindingSort("P", 90), BindingSort("P", 95))
    own = [rng.choice([None, *sorts]) for _ in range(3)]
    choices = []
    for g in range(3):
        for b in range(3):
            serves = rng.choice([*wants, ()])
            for brakes in (OWN, 0, 1):
                if serves and rng.random() < 0.6 and not (brakes == OWN and own[g] is None):
                    minutes = rng.randint(0, 30) if limited else 0
                    choices.append(
                        RemountChoice(pairs=g, boots=b, brakes=brakes, minutes=minutes, serves=serves)
                    )
    sizes = tuple(rng.randint(1, 2) for _ in range(3))
    supply = {sort: rng.randint(0, 2) for sort in sorts}
    for size, sort in zip(sizes, own, strict=True):
        if sort is not None:
            supply[sort] += size
    return (
        FirstStage(
            pair_sizes=sizes,
            pair_tags=("K-1", "K-2", "K-3"),
            own=tuple(own),
            boot_sizes=tuple(rng.randint(0, 3) for _ in range(3)),
            boot_tags=("B-1", "B-2", "B-3"),
            brake_sets=((sorts[0],), sorts),
            supply=supply,
            minutes_limit=rng.randint(0, 90) if limited else None,
            choices=tuple(choices),
        ),
        [rng.randint(1, 2) for _ in range(3)],
    )


@pytest.mark.parametrize("limited", [False, True])
@pytest.mark.parametrize("seed", range(20))
def test_small_cases_equal_every_stock_tried(seed: int, *, limited: bool) -> None:
    """The bound is the best of all stocks, and the stock reaches it, season by season."""
    rng = random.Random(seed)
    stage, priorities = drawn_stage(rng, limited=limited)
    peaks = [tuple(rng.randint(0, 3) for _ in range(3)) for _ in range(rng.choice([3, 7]))]
    ready = rng.choice([0.9, 0.75, 0.5])
    found = best_stock(stage, peaks, priorities, ready=ready)
    best = best_levels(stage, peaks, priorities, 1 - ready + 1e-6)[-1]
    assert found.bound == pytest.approx(best, abs=2e-6)
    flow = SeasonFlow(found.counts, priorities)
    mean = fmean(sum(flow.serve(season)) for season in peaks)
    assert mean - (1 - ready + 1e-6) * sum(found.counts.values()) == pytest.approx(best, abs=2e-6)


@pytest.mark.parametrize("seed", range(6))
def test_what_one_more_adds_is_what_every_stock_tried_adds(seed: int) -> None:
    """One priority: the program's gain by one more boot or pair is that of all stocks tried again with it.

    The linear program may promise more than whole sets keep, never less.
    """
    rng = random.Random(100 + seed)
    stage, _ = drawn_stage(rng, limited=False)
    peaks = [tuple(rng.randint(0, 3) for _ in range(3)) for _ in range(4)]
    price = 0.25 + 1e-6
    before = best_levels(stage, peaks, [1, 1, 1], price)[0]
    told = values_of_one_more(best_stock(stage, peaks, [1, 1, 1], ready=0.75), each=9)
    for b in range(3):
        sizes = tuple(n + (i == b) for i, n in enumerate(stage.boot_sizes))
        more = FirstStage(**{name: getattr(stage, name) for name in stage.__slots__} | {"boot_sizes": sizes})
        gain = best_levels(more, peaks, [1, 1, 1], price)[0] - before
        said = sum(one.sets for one in told if (one.thing, one.number) == (Resource.BOOT, b))
        assert said >= gain - 1e-5
        assert said <= gain + 1.0


@pytest.mark.parametrize("seed", range(3))
def test_large_programs_stay_near_their_bound_and_keep_every_limit(seed: int) -> None:
    """More choices than are solved to proof, minutes binding: within 2 % of the bound, by whole sets."""
    rng = random.Random(seed)
    windows = [tuple(sorted(c)) for n in (1, 2, 3) for c in combinations(range(6), n)]
    groups, boots = 60, 12
    choices = tuple(
        RemountChoice(pairs=g, boots=b, brakes=0, minutes=rng.randint(5, 45), serves=rng.choice(windows))
        for g in range(groups)
        for b in range(boots)
        if rng.random() < 0.95
    )
    assert len(choices) > SMALL
    stage = FirstStage(
        pair_sizes=(1,) * groups,
        pair_tags=tuple(f"K-{g}" for g in range(groups)),
        own=(None,) * groups,
        boot_sizes=(5,) * boots,
        boot_tags=tuple(f"B-{b}" for b in range(boots)),
        brake_sets=((BindingSort("P", 90),),),
        supply={BindingSort("P", 90): 55},
        minutes_limit=450,
        choices=choices,
    )
    priorities = [1, 1, 2, 2, 1, 2]
    peaks = [tuple(rng.randint(2, 14) for _ in range(6)) for _ in range(10)]
    found = best_stock(stage, peaks, priorities, ready=0.9)
    again = best_stock(stage, peaks, priorities, ready=0.9)
    assert (found.counts, found.bound) == (again.counts, again.bound)
    flow = SeasonFlow(found.counts, priorities)
    value = fmean(sum(flow.serve(p)) for p in peaks) - 0.1 * sum(found.counts.values())
    assert value <= found.bound + 1e-3
    assert value >= 0.98 * found.bound
    assert sum(found.counts.values()) <= 55


@pytest.mark.parametrize("seed", range(20))
def test_a_season_is_served_as_single_customers_matched(seed: int) -> None:
    """All wants together are served as scipy matches them, and the first priority as if alone."""
    rng = random.Random(seed)
    windows = [(0,), (1,), (2,), (0, 1), (1, 2), (0, 2), (0, 1, 2)]
    stock = {who: rng.randint(0, 3) for who in windows}
    priorities = [rng.randint(1, 3) for _ in range(3)]
    peaks = [rng.randint(0, 6) for _ in range(3)]
    sets = [who for who, n in stock.items() for _ in range(n)]
    found = SeasonFlow(stock, priorities).serve(peaks)
    for rank in sorted(set(priorities)):
        wants = {w for w, p in enumerate(priorities) if p <= rank}
        assert sum(found[w] for w in wants) == served(sets, peaks, wants)
