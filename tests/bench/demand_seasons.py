"""Sets proposed from past seasons against the mean of the same seasons, on 300 seasons not seen.

30 invented groups with normal peak demand (mean 4 to 30, SD a fifth to a half of it), a refusal 45, an idle
set 6. Cost a season, and the paired 95 % interval of what the proposal saves over the mean. This measures
stock group by group (no group's set serves another); it does not solve one remount plan for many seasons.

    python -m tests.bench.demand_seasons
"""

from __future__ import annotations

import random
from math import sqrt
from statistics import fmean, stdev

from planner.planning.seasons.seasons import critical_ratio, drawn, quantile
from tests.bench.rows import row

REFUSAL, IDLE, GROUPS, UNSEEN = 45, 6, 30, 300


def season(rng: random.Random, groups: list[tuple[float, float]]) -> list[int]:
    return [max(0, round(rng.gauss(mean, deviation))) for mean, deviation in groups]


def cost(stock: list[int], peaks: list[int]) -> int:
    return sum(REFUSAL * max(0, p - s) + IDLE * max(0, s - p) for s, p in zip(stock, peaks, strict=True))


def main() -> None:
    rng = random.Random(7)
    groups = [(m, m * rng.uniform(0.2, 0.5)) for m in (rng.uniform(4, 30) for _ in range(GROUPS))]
    unseen = [season(rng, groups) for _ in range(UNSEEN)]
    ready = critical_ratio(REFUSAL, IDLE)
    print(f"{GROUPS} groups, ready for {ready:.3f} of the seasons, {UNSEEN} unseen seasons")
    for past in (3, 5, 20):
        seen = list(zip(*(season(rng, groups) for _ in range(past)), strict=True))
        mean = [round(fmean(peaks)) for peaks in seen]
        ways = {
            "the past seasons": [quantile(peaks, ready) for peaks in seen],
            "200 drawn about them": [
                quantile(drawn(peaks, 200, name=str(n)), ready) for n, peaks in enumerate(seen)
            ],
        }
        middle = fmean(cost(mean, peaks) for peaks in unseen)
        for name, stock in ways.items():
            saved = [cost(mean, peaks) - cost(stock, peaks) for peaks in unseen]
            half = 1.96 * stdev(saved) / sqrt(UNSEEN)
            costs = fmean(cost(stock, peaks) for peaks in unseen)
            row(
                f"{GROUPS} groups, {past} past seasons, {UNSEEN} unseen: cost a season, sets by {name}",
                f"{costs:.0f}",
                f"by the mean of the past {middle:.0f}",
                f"saves {fmean(saved):.0f}, 95 %: {fmean(saved) - half:.0f} to {fmean(saved) + half:.0f}",
            )


if __name__ == "__main__":
    main()
