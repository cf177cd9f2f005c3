"""The chances of a sample without replacement, exact (hypergeometric, whole numbers)."""

from __future__ import annotations

from fractions import Fraction
from math import comb


def misses_all(*, lot: int, bad: int, sample: int) -> Fraction:
    """Return the probability that a sample of that size finds none of the bad ones: C(N-D, n) / C(N, n)."""
    if not 0 <= bad <= lot or not 0 <= sample <= lot:
        raise ValueError(f"bad {bad} and sample {sample} must lie between 0 and the lot of {lot}")
    return Fraction(comb(lot - bad, sample), comb(lot, sample))


def finds_at_most(found: int, *, lot: int, bad: int, sample: int) -> Fraction:
    """Return the probability that the sample holds at most that many bad ones."""
    if not 0 <= bad <= lot or not 0 <= sample <= lot:
        raise ValueError(f"bad {bad} and sample {sample} must lie between 0 and the lot of {lot}")
    low = max(0, sample - (lot - bad))
    ways = sum(comb(bad, k) * comb(lot - bad, sample - k) for k in range(low, min(found, bad, sample) + 1))
    return Fraction(ways, comb(lot, sample))


def smallest_sample(*, lot: int, bad: int, confidence: Fraction) -> int:
    """Return the smallest sample that finds at least one of the bad ones with that confidence."""
    if bad < 1:
        raise ValueError("at least one must be bad for a sample to find it")
    low, high = 1, lot
    while low < high:
        middle = (low + high) // 2
        if misses_all(lot=lot, bad=bad, sample=middle) <= 1 - confidence:
            high = middle
        else:
            low = middle + 1
    return low
