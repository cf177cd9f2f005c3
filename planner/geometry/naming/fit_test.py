"""Tests of fit for naming. A posterior compares candidates only: the best of three may still fit badly.

The three tails are exact, with scipy-free sums so that naming opens quickly.
"""

import math

LEVEL = 0.002
"""A mount that does worse than this by chance is not accepted (our default, no source)."""


def chi_square_tail(squared: float, freedoms: int) -> float:
    """Return P(chi-square with ``freedoms`` degrees >= ``squared``), by its finite series (odd and even)."""
    if freedoms <= 0:
        return 1.0
    half = squared / 2.0
    if freedoms % 2 == 0:
        term, total = math.exp(-half), 0.0
        for k in range(freedoms // 2):
            total += term
            term *= half / (k + 1)
        return min(1.0, total)
    # odd degrees: the series starts from the tail of a single squared normal
    total = math.erfc(math.sqrt(half))
    term = math.exp(-half) * math.sqrt(half) / math.gamma(1.5)
    for k in range((freedoms - 1) // 2):
        total += term
        term *= half / (k + 1.5)
    return min(1.0, total)


def binomial_tail(least: int, trials: int, chance: float) -> float:
    """Return P(at least ``least`` successes of ``trials``)."""
    return sum(
        math.comb(trials, k) * chance**k * (1 - chance) ** (trials - k) for k in range(least, trials + 1)
    )


def poisson_tail(least: int, mean: float) -> float:
    """Return P(Poisson with ``mean`` >= ``least``)."""
    below = sum(math.exp(-mean) * mean**k / math.factorial(k) for k in range(least))
    return max(0.0, 1.0 - below)
