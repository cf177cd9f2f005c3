"""Exact detection probabilities against scipy, published figures and a table."""

from __future__ import annotations

import csv
from fractions import Fraction
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st
from scipy.stats import hypergeom

from fleet.rules.sampling.rule import misses_all


@pytest.mark.parametrize(("sample", "missed"), [(32, 0.51), (64, 0.25)])
def test_a_sample_does_not_find_rare_loose_screws(sample: int, missed: float) -> None:
    """13 bad of 640 pairs: hypergeometric, recomputed here and by scipy."""
    exact = misses_all(lot=640, bad=13, sample=sample)
    assert round(float(exact), 2) == missed
    assert float(exact) == pytest.approx(hypergeom.pmf(0, 640, 13, sample), rel=1e-10)


@given(lot=st.integers(1, 900), bad=st.integers(0, 60), sample=st.integers(0, 200))
@settings(max_examples=200, deadline=None)
def test_every_probability_equals_scipys(lot: int, bad: int, sample: int) -> None:
    bad, sample = min(bad, lot), min(sample, lot)
    exact = misses_all(lot=lot, bad=bad, sample=sample)
    assert float(exact) == pytest.approx(hypergeom.pmf(0, lot, bad, sample), rel=1e-8, abs=1e-12)


def test_zero_acceptance_sizes_equal_the_table() -> None:
    """Table computed independently (smallest n with C(N-D,n)/C(N,n) <= 1 - confidence); 95 %, 5 % bad."""
    with (Path(__file__).parent / "c0_hypergeom.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) > 50
    for row in rows:
        missed = partial(misses_all, lot=int(row["lot_N"]), bad=int(row["defective_D"]))
        may_miss, size = 1 - Fraction(int(row["confidence_pct"]), 100), int(row["n_min_c0"])
        assert missed(sample=size) <= may_miss < missed(sample=size - 1), row


@pytest.mark.parametrize(("lot", "size"), [(100, 45), (200, 51)])
def test_zero_acceptance_sizes_for_five_percent_bad(lot: int, size: int) -> None:
    missed = partial(misses_all, lot=lot, bad=lot // 20)
    assert missed(sample=size) <= Fraction(5, 100) < missed(sample=size - 1)


def test_a_lot_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="must lie between"):
        misses_all(lot=10, bad=11, sample=1)
