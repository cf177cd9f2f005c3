"""The chances of a sample without replacement, exact (hypergeometric, whole numbers)."""

from __future__ import annotations

from fractions import Fraction
from math import comb


def misses_all(*, lot: int, bad: int, sample: int) -> Fraction:
    """Return the probability that a sample of that size finds none of the bad ones: C(N-D, n) / C(N, n)."""
    if not 0 <= bad <= lot or not 0 <= sample <= lot:
        raise ValueError(f"bad {bad} and sample {sample} must lie between 0 and the lot of {lot}")
    return Fraction(comb(lot - bad, sample), comb(lot, sample))
