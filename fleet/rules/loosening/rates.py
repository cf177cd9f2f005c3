"""Rates of movement by group, shrunk toward the fleet's own rate, so that one of twelve is not 8.3 %."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from fleet.rules.loosening.beta import Beta

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
