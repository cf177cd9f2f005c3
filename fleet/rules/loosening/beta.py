"""The beta distribution with whole parameters, exactly summed: no numeric library is needed for it.

For whole a and b the distribution function is a binomial tail: I_x(a, b) = P(Bin(a + b - 1, x) >= a).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, lgamma, log, log1p


@dataclass(frozen=True, slots=True)
class Beta:
    """A beta distribution; a and b are whole numbers from 1."""

    a: int
    b: int

    def __post_init__(self) -> None:
        if self.a < 1 or self.b < 1:
            raise ValueError(f"a beta needs whole parameters from 1, not {self.a} and {self.b}")

    @property
    def mean(self) -> float:
        """The mean."""
        return self.a / (self.a + self.b)

    def after(self, *, events: int, trials: int) -> Beta:
        """Return the distribution updated by so many events in so many trials."""
        if not 0 <= events <= trials:
            raise ValueError(f"{events} events in {trials} trials cannot be")
        return Beta(self.a + events, self.b + trials - events)

    def below(self, x: float) -> float:
        """Return P(X <= x)."""
        if x <= 0:
            return 0.0
        if x >= 1:
            return 1.0
        return _binomial_tail(self.a + self.b - 1, self.a, x)

    def quantile(self, p: float) -> float:
        """Return the x with P(X <= x) = p, by bisection to 1e-10."""
        low, high = 0.0, 1.0
        while high - low > 1e-10:
            middle = (low + high) / 2
            if self.below(middle) < p:
                low = middle
            else:
                high = middle
        return (low + high) / 2

    def exceeds(self, other: Beta) -> float:
        """Return P(X > Y) for an independent Y, summed over the whole parameter a of X."""
        total = 0.0
        for i in range(self.a):
            total += exp(
                _log_beta(other.a + i, self.b + other.b)
                - log(self.b + i)
                - _log_beta(1 + i, self.b)
                - _log_beta(other.a, other.b)
            )
        return min(total, 1.0)


def _log_beta(a: int, b: int) -> float:
    return lgamma(a) + lgamma(b) - lgamma(a + b)


def _binomial_tail(n: int, least: int, x: float) -> float:
    """Return P(Bin(n, x) >= least).

    The sum starts at the boundary and runs outward on the side with fewer terms that count.
    """
    if least <= n * x:  # the tail holds the bulk: sum the other side
        return 1.0 - _sum(n, range(least - 1, -1, -1), x)
    return _sum(n, range(least, n + 1), x)


def _sum(n: int, ks: range, x: float) -> float:
    total = 0.0
    for k in ks:
        # in logarithms: the binomial coefficient alone would overflow a float
        term = exp(lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1) + k * log(x) + (n - k) * log1p(-x))
        total += term
        # below the last digit of a float: the terms still to come change nothing
        if term < total * 1e-17:
            break
    return total
