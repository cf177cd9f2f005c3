"""Naming from one length and one width: the quick question at the bench."""

from __future__ import annotations

import math
from collections.abc import Mapping

from planner.geometry.naming.fit_test import LEVEL, chi_square_tail


def name_rectangle(
    length_um: int, width_um: int, *, sigma_um: int, candidates: Mapping[str, tuple[int, int]]
) -> tuple[dict[str, float], bool]:
    """Return each candidate's posterior (equal priors, Gaussian error), and True if the best one fits.

    The second value is False where even the best fails a chi-square test of fit: then none fits, however
    large its share of the posterior. Raises ValueError without candidates.
    """
    if not candidates:
        raise ValueError("there are no candidates to choose from")
    squares = {
        name: ((length_um - a) ** 2 + (width_um - b) ** 2) / float(sigma_um) ** 2
        for name, (a, b) in candidates.items()
    }
    least = min(squares.values())
    weights = {name: math.exp(-0.5 * (square - least)) for name, square in squares.items()}
    total = sum(weights.values())
    return {name: w / total for name, w in weights.items()}, chi_square_tail(least, 2) >= LEVEL
