"""The looks of the ledger as counts, spans and rates. One look is one recheck of one pair.

Rates are shrunk toward the fleet's own rate, so that one of twelve is not 8.3 %. The beta distribution with
whole parameters is summed exactly, without a numeric library: for whole a and b its distribution function is
a binomial tail, I_x(a, b) = P(Bin(a + b - 1, x) >= a).
"""

from __future__ import annotations

import json
import sqlite3
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import exp, lgamma, log, log1p
from typing import Final

from fleet.rules.loosening.survival import Span
from fleet.tables.snapshot import read_policy


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
        return bisect_left(range(_STEPS), p, key=lambda step: self.below(step / _STEPS)) / _STEPS

    def exceeds(self, other: Beta) -> float:
        """Return P(X > Y) for an independent Y, summed over the whole parameter a of X."""
        total = sum(
            exp(
                _log_beta(other.a + i, self.b + other.b)
                - log(self.b + i)
                - _log_beta(1 + i, self.b)
                - _log_beta(other.a, other.b)
            )
            for i in range(self.a)
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


_STEPS: Final = 10**10
SURE = 0.95
"""From this probability on (or from its opposite down) a difference is said at all; our default."""


class Verdict(StrEnum):
    """The judgement on a group beside the rest of the fleet."""

    WORSE = "worse than the rest"
    BETTER = "better than the rest"
    TOO_FEW = "too few to say"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A group's record. ``shrunk`` with its 90 % interval is what to compare.

    ``worse`` is the probability that the group is worse than the rest of the fleet.
    """

    group: str
    moved: int
    looks: int
    shrunk: float
    low: float
    high: float
    worse: float

    @property
    def verdict(self) -> Verdict:
        """The verdict; given only where the counts are large enough for one."""
        if self.worse >= SURE:
            return Verdict.WORSE
        return Verdict.BETTER if self.worse <= 1 - SURE else Verdict.TOO_FEW


def fleet_prior(moved: int, looks: int, *, weight: int) -> Beta:
    """The fleet's own rate as a prior worth ``weight`` looks; 2 % and 100 give Beta(2, 98)."""
    events = max(1, min(weight - 1, round(weight * moved / looks))) if looks else 1
    return Beta(events, weight - events)


def rates(counts: Mapping[str, tuple[int, int]], *, weight: int) -> tuple[Rate, ...]:
    """Each group's (moved, looks) as a rate, the worst first. The rest is all other groups together."""
    moved, looks = sum(m for m, _ in counts.values()), sum(n for _, n in counts.values())
    prior = fleet_prior(moved, looks, weight=weight)
    found = []
    for group, (own_moved, own_looks) in counts.items():
        posterior = prior.after(events=own_moved, trials=own_looks)
        rest = prior.after(events=moved - own_moved, trials=looks - own_looks)
        found.append(
            Rate(
                group=group,
                moved=own_moved,
                looks=own_looks,
                shrunk=posterior.mean,
                low=posterior.quantile(0.05),
                high=posterior.quantile(0.95),
                worse=posterior.exceeds(rest),
            )
        )
    return tuple(sorted(found, key=lambda rate: (-rate.shrunk, rate.group)))


UNKNOWN = "(not recorded)"


class By(StrEnum):
    """The fact by which looks are grouped."""

    PATTERN = "pattern"
    MODEL = "model"
    CONSTRUCTION = "construction"
    GLUE = "glue"
    SEASON = "season"
    JIG = "jig"


_SIMPLE = {
    By.PATTERN: "SELECT pattern, sum(moved), count(*) FROM look GROUP BY pattern",
    By.MODEL: "SELECT pair.model, sum(moved), count(*) FROM look JOIN pair USING (tag) GROUP BY pair.model",
    By.CONSTRUCTION: "SELECT construction, sum(moved), count(*) FROM look JOIN pair USING (tag)"
    " GROUP BY construction",
    By.SEASON: "SELECT season, sum(moved), count(*) FROM look JOIN binding ON on_pair = look.tag"
    " AND on_ski = 'A' GROUP BY season",
}


def counts(connection: sqlite3.Connection, by: By) -> dict[str, tuple[int, int]]:
    """Return (moved, looks) of each group. Unrecorded values are a group of their own."""
    moved: Counter[str] = Counter()
    looks: Counter[str] = Counter()
    rows = connection.execute(_SIMPLE[by]) if by in _SIMPLE else _by_order(connection, by)
    for name, hits, times in rows:
        moved[name or UNKNOWN] += hits
        looks[name or UNKNOWN] += times
    return {name: (moved[name], looks[name]) for name in looks}


def _by_order(connection: sqlite3.Connection, by: By) -> Iterator[tuple[str, int, int]]:
    """Group by a fact of the mount's work order: the glue in its holes, or the jig that was used."""
    orders = dict(connection.execute("SELECT seq, body FROM entries WHERE what = 'order done'"))
    for mount, hits, times in connection.execute(
        "SELECT mount_entry, sum(moved), count(*) FROM look GROUP BY mount_entry"
    ):
        order = json.loads(orders.get(mount, "{}"))
        yield ", ".join(order.get("glued_with", ())) if by is By.GLUE else order.get("jig", ""), hits, times


def loosening_rates(connection: sqlite3.Connection, by: By) -> tuple[Rate, ...]:
    """The rates of one grouping, the worst first."""
    weight = read_policy(connection).count("loosening_prior_weight")
    return rates(counts(connection, by), weight=weight)


def worse_patterns(connection: sqlite3.Connection) -> dict[str, str]:
    """Patterns whose record is worse than the rest of the fleet's, with the counts as a remark."""
    return {
        rate.group: f"{rate.group}: moved at {rate.moved} of {rate.looks} looks"
        for rate in loosening_rates(connection, By.PATTERN)
        if rate.verdict is Verdict.WORSE
    }


def spans(connection: sqlite3.Connection) -> list[Span]:
    """Return one span for each mount ever looked at: days out to its first movement, or to its last look."""
    looks: dict[str, list[tuple[int, int, int]]] = defaultdict(list)
    for tag, mount, days, moved in connection.execute(
        "SELECT tag, mount_entry, days_out, moved FROM look ORDER BY entry"
    ):
        looks[tag].append((mount, days, moved))
    found = []
    for rows in looks.values():
        begun = 0
        for mount in dict.fromkeys(row[0] for row in rows):
            own = [row for row in rows if row[0] == mount]
            first = next((days for _, days, moved in own if moved), None)
            last = own[-1][1]
            found.append(Span(days=(last if first is None else first) - begun, moved=first is not None))
            begun = last
    return found
