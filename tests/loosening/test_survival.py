"""The curve against a published worked example and scipy's estimator."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from scipy.stats import CensoredData, ecdf

from fleet.rules.loosening.survival import Span, as_svg, as_text, curve, still_after

# Freireich et al., Blood 21 (1963) 699: weeks of remission under 6-mercaptopurine, + means censored.
# The worked example of the Kaplan-Meier estimate in many textbooks (Kleinbaum & Klein, Survival
# Analysis, ch. 2; Cox & Oakes, Analysis of Survival Data, 1984, table 1.1). Copied from memory.
REMISSION = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PUBLISHED = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}
ERRORS = {6: 0.0764, 7: 0.0869, 10: 0.0963, 13: 0.1068, 16: 0.1141, 22: 0.1282, 23: 0.1346}


def remission() -> list[Span]:
    return [Span(int(text.rstrip("+")), not text.endswith("+")) for text in REMISSION.split()]


def test_the_published_worked_example() -> None:
    steps = curve(remission())
    assert {step.day: round(step.still, 3) for step in steps} == PUBLISHED
    assert {step.day: round(step.error, 4) for step in steps} == ERRORS
    assert [step.at_risk for step in steps] == [21, 17, 15, 12, 11, 7, 6]


@given(st.lists(st.tuples(st.integers(0, 40), st.booleans()), min_size=1, max_size=80))
@settings(max_examples=120, deadline=None)
def test_the_curve_equals_scipys(rows: list[tuple[int, bool]]) -> None:
    steps = curve([Span(days, moved) for days, moved in rows])
    moved = [days for days, was in rows if was]
    if not moved:
        assert steps == ()
        return
    data = CensoredData.right_censored(
        np.array([days for days, _ in rows], dtype=float), np.array([not was for _, was in rows])
    )
    theirs = ecdf(data).sf
    for step in steps:
        at = list(theirs.quantiles).index(step.day)
        assert step.still == pytest.approx(float(theirs.probabilities[at]), abs=1e-12)


def test_what_has_not_moved_counts_and_is_not_dropped() -> None:
    """Ten mounts, one moved on day 1, nine seen unmoved on day 20: nine tenths stand, not none."""
    steps = curve([Span(1, True), *[Span(20, False)] * 9])
    assert still_after(steps, 30) == pytest.approx(0.9)


def test_the_terminal_curve_falls_and_fits_the_width() -> None:
    text = as_text(curve(remission()), last_day=35, width=60, height=10)
    lines = text.splitlines()
    assert max(len(line) for line in lines) <= 80
    bars = [line.split("|")[1] for line in lines if "|" in line]
    assert [len(bar) for bar in bars] == sorted(len(bar) for bar in bars)
    assert as_text((), last_day=0) == "no screw moved on a day out yet: no curve to draw"
    assert as_text(curve(remission()), last_day=35, ascii_only=True).isascii()


def test_the_drawing_is_well_formed_whatever_the_title() -> None:
    root = ElementTree.fromstring(as_svg(curve(remission()), last_day=35, title="<a> & b"))
    assert root.tag.endswith("svg")


@pytest.mark.long
def test_the_curve_of_a_librarys_own_data_is_the_one_that_it_draws() -> None:
    """163 lives, 7 of them cut off, as lifelines carries them; it brings pandas: only `dev` requires it."""
    pytest.importorskip("lifelines")
    from lifelines import KaplanMeierFitter
    from lifelines.datasets import load_waltons

    lives = load_waltons()
    spans = [Span(days=int(d), moved=bool(e)) for d, e in zip(lives["T"], lives["E"], strict=True)]
    assert (len(spans), sum(not span.moved for span in spans)) == (163, 7)
    fitter = KaplanMeierFitter().fit(lives["T"], lives["E"])
    for step in curve(spans):
        assert step.still == pytest.approx(float(fitter.predict(step.day)), abs=1e-9)
