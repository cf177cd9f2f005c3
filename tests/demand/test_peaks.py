"""Sets wanted from past rentals: peaks against counting every day, quantiles, the stock example."""

from __future__ import annotations

from datetime import date, timedelta
from math import ceil
from statistics import NormalDist

import pytest
from hypothesis import given, strategies as st

from fleet.base.errors import BadInput
from fleet.facts.kinds import Kind
from planner.planning.seasons.rentals import Rental, read_rentals, seasons_of
from planner.planning.seasons.seasons import (
    Windows,
    critical_ratio,
    peak,
    quantile,
    share_above,
    wanted_by_group,
)

DAY = date(2025, 12, 20)


def rental(start: int, days: int, sets: int = 1) -> Rental:
    first = DAY + timedelta(days=start)
    return Rental(
        first=first,
        last=first + timedelta(days=days - 1),
        kind=Kind.ALPINE,
        length_mm=1700,
        mondopoint_mm=275,
        sets=sets,
        refused=sets > 1,
    )


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(1, 9), st.integers(1, 3)), max_size=25))
def test_the_peak_is_what_counting_every_day_finds(rows: list[tuple[int, int, int]]) -> None:
    """The sweep against a plain count of every day, the day of the peak included."""
    rentals = [rental(*row) for row in rows]
    counts = {
        day: sum(r.sets for r in rentals if r.first <= day <= r.last)
        for day in (DAY + timedelta(days=n) for n in range(45))
    }
    most = max(counts.values())
    assert peak(rentals) == (most, next(d for d, n in counts.items() if n == most) if most else None)


def test_the_worked_stock_example() -> None:
    """Normal demand of 18 with SD 5, a refusal 45, an idle pair 6: ratio 0.882, quantile 23.9, 24 pairs.

    Computed beside it with statistics.NormalDist: 24 pairs are enough with probability 0.88, 18 with 0.50.
    """
    ratio = critical_ratio(45, 6)
    demand = NormalDist(18, 5)
    assert round(ratio, 3) == 0.882
    assert round(demand.inv_cdf(ratio), 1) == 23.9
    seasons = [ceil(demand.inv_cdf((n + 0.5) / 1000)) for n in range(1000)]
    assert quantile(seasons, ratio) == 24
    assert round(demand.cdf(24), 2) == 0.88
    assert demand.cdf(18) == 0.5


@given(
    st.lists(st.integers(0, 40), min_size=1, max_size=30),
    st.integers(1, 60),
    st.integers(1, 60),
)
def test_one_class_alone_is_the_newsvendor(peaks: list[int], refusal: int, idle: int) -> None:
    """The quantile at the critical ratio has the least mean cost of all stocks, by trying every one."""

    def cost(stock: int) -> int:
        return sum(refusal * max(0, p - stock) + idle * max(0, stock - p) for p in peaks)

    chosen = quantile(peaks, critical_ratio(refusal, idle))
    assert cost(chosen) == min(cost(s) for s in range(42))


def test_a_set_more_is_worth_the_share_of_seasons_that_would_have_used_it() -> None:
    """Peaks 10, 12, 12, 15: the 13th set is used in one season of four, the 16th in none."""
    peaks = (10, 12, 12, 15)
    assert [share_above(peaks, n) for n in (9, 10, 12, 15)] == [1.0, 0.75, 0.25, 0.0]
    assert [quantile(peaks, q) for q in (0.25, 0.5, 0.75, 0.9)] == [10, 12, 12, 15]


def test_every_fault_of_the_file_is_told_at_once() -> None:
    """Row, column and cure of each; good rows are kept."""
    rentals, faults = read_rentals(
        "out,back,kind,length_cm,mondopoint,refused\n"
        "2025-12-27,2025-12-30,alpine,170,27.5,\n"
        "2025-12-27,2025-12-20,alpine,170,275,2\n"
        "27.12.2025,2025-12-30,snow,17,3.1,x\n"
    )
    assert [(r.mondopoint_mm, r.sets) for r in rentals] == [(275, 1)]
    assert [(f.row, f.column) for f in faults] == [
        (3, "back"),
        (4, "out"),
        (4, "kind"),
        (4, "length_cm"),
        (4, "mondopoint"),
        (4, "refused"),
    ]
    with pytest.raises(BadInput, match="no column back, kind"):
        read_rentals("out,length_cm,mondopoint\n")


def test_seasons_part_at_the_long_gap_and_refusals_count_as_wanted() -> None:
    """Two winters; the refusals of the second raise its peak, but not the days out."""
    rentals = [rental(0, 3), rental(2, 3), rental(365, 2), rental(366, 2, sets=3)]
    seasons = seasons_of(rentals, gap_days=60)
    assert [len(s) for s in seasons] == [2, 2]
    (found,) = wanted_by_group(seasons, Windows(length_mm=50, shell_mm=10))
    assert (found.peaks, found.days_out, found.refusals) == ((2, 4), 8, 3)
    assert found.group == (Kind.ALPINE, 1700, 270)
