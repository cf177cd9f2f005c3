"""The peak of sets wanted at once: a sweep over the days, refusals counted as if they had gone out."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, sqrt

from fleet.facts.kinds import Kind
from planner.planning.seasons.rentals import Rental

Group = tuple[Kind, int, int]
"""Kind, length window and shell window, by their lower ends in millimetres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """The width of the windows of length and of shell that one want stands for, millimetres."""

    length_mm: int
    shell_mm: int

    def group(self, rental: Rental) -> Group:
        """The windows that a rental falls into; windows start at 0."""
        return (
            rental.kind,
            rental.length_mm // self.length_mm * self.length_mm,
            rental.mondopoint_mm // self.shell_mm * self.shell_mm,
        )


def peak(rentals: Iterable[Rental]) -> tuple[int, date | None]:
    """The most sets wanted on one day, and the first such day; out and back days both count."""
    change: dict[date, int] = defaultdict(int)
    for rental in rentals:
        change[rental.first] += rental.sets
        change[rental.last + timedelta(days=1)] -= rental.sets
    best, best_day, now = 0, None, 0
    for day in sorted(change):
        now += change[day]
        if now > best:
            best, best_day = now, day
    return best, best_day


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakDemand:
    """The demand of a group, season by season: peaks, days out and refusals."""

    group: Group
    peaks: tuple[int, ...]
    days_out: int
    refusals: int


def wanted_by_group(seasons: Sequence[Sequence[Rental]], windows: Windows) -> tuple[PeakDemand, ...]:
    """Every group that was ever asked for, in order; a season that never asked has a peak of 0."""
    asked: dict[Group, list[list[Rental]]] = defaultdict(lambda: [[] for _ in seasons])
    for number, season in enumerate(seasons):
        for rental in season:
            asked[windows.group(rental)][number].append(rental)
    return tuple(
        PeakDemand(
            group=group,
            peaks=tuple(peak(row)[0] for row in asked[group]),
            days_out=sum(
                ((r.last - r.first).days + 1) * r.sets for row in asked[group] for r in row if not r.refused
            ),
            refusals=sum(r.sets for row in asked[group] for r in row if r.refused),
        )
        for group in sorted(asked)
    )


def quantile(peaks: Sequence[int], share: float) -> int:
    """The smallest count that was enough in at least this share of the seasons; 0 without any."""
    if not peaks:
        return 0
    ranked = sorted(peaks)
    return ranked[max(0, ceil(share * len(ranked) - 1e-9) - 1)]


def share_above(peaks: Sequence[int], sets: int) -> float:
    """The share of seasons in which one set more than this would have been out on the peak day."""
    return sum(p > sets for p in peaks) / len(peaks) if peaks else 0.0


def critical_ratio(refusal: float, idle: float) -> float:
    """The share of seasons to be ready for: refusal / (refusal + idle), the newsvendor's fractile.

    Source: Arrow, Harris, Marschak, *Optimal inventory policy*, Econometrica 19 (1951); from memory.
    """
    return refusal / (refusal + idle)


def spread(peaks: Sequence[int]) -> tuple[float, float]:
    """Mean and standard deviation (n - 1; of one season the square root of its peak, as of a count)."""
    mean = sum(peaks) / len(peaks)
    if len(peaks) == 1:
        return mean, sqrt(mean)
    return mean, sqrt(sum((p - mean) ** 2 for p in peaks) / (len(peaks) - 1))
