"""Rates with few counts: worked figures, and the exact sums against scipy."""

from __future__ import annotations

import pytest
from hypothesis import given, settings, strategies as st
from scipy.stats import beta

from fleet.rules.loosening.record import Beta, Verdict, fleet_prior, rates

PRIOR = Beta(2, 98)  # a fleet with 2 %, worth 100 looks


@pytest.mark.parametrize(
    ("moved", "looks", "percent"),
    # Invented counts; the posterior mean is (2 + k) / (100 + n) by hand. 1 of 12 is not 8.3 %.
    [(9, 300, 2.75), (1, 12, 2.68), (14, 180, 5.71)],
)
def test_a_rate_is_drawn_toward_the_fleets(moved: int, looks: int, percent: float) -> None:
    assert round(PRIOR.after(events=moved, trials=looks).mean * 100, 2) == percent


def test_how_sure_one_group_is_worse_than_another() -> None:
    """Worked example: P(third worse than first) = 0.974, P(second worse than first) = 0.44."""
    first, second, third = (PRIOR.after(events=k, trials=n) for k, n in ((9, 300), (1, 12), (14, 180)))
    assert round(third.exceeds(first), 3) == 0.974
    assert round(second.exceeds(first), 2) == 0.44


@given(a=st.integers(1, 60), b=st.integers(1, 3000), p=st.floats(0.001, 0.999))
@settings(max_examples=150, deadline=None)
def test_the_exact_sums_equal_scipys(a: int, b: int, p: float) -> None:
    x = float(beta.ppf(p, a, b))
    assert Beta(a, b).below(x) == pytest.approx(p, abs=1e-7)
    assert Beta(a, b).quantile(p) == pytest.approx(x, abs=2e-8, rel=1e-5)


@given(a=st.integers(1, 30), b=st.integers(1, 300), c=st.integers(1, 30), d=st.integers(1, 300))
@settings(max_examples=15, deadline=None)
def test_exceeds_equals_a_numeric_integral(a: int, b: int, c: int, d: int) -> None:
    from scipy.integrate import quad

    want, error = quad(lambda x: beta.pdf(x, a, b) * beta.cdf(x, c, d), 0, 1, limit=400, points=[a / (a + b)])
    assert Beta(a, b).exceeds(Beta(c, d)) == pytest.approx(want, abs=max(1e-6, 10 * error))


def test_verdicts_are_said_only_where_the_counts_carry_them() -> None:
    got = {
        rate.group: rate.verdict for rate in rates({"x": (9, 300), "y": (1, 12), "z": (30, 180)}, weight=100)
    }
    assert got == {"x": Verdict.BETTER, "y": Verdict.TOO_FEW, "z": Verdict.WORSE}


def test_no_looks_at_all_says_nothing() -> None:
    assert rates({}, weight=100) == ()
    assert fleet_prior(0, 0, weight=100).mean == 0.01
