"""The centre line of a survey and its holes that mirror each other: seen before any pattern is asked.

Bindings are drilled across a centre line, pair by pair. Holes that mirror each other are hardly spurious, so
that a mount of a pattern that nobody entered is a hypothesis of its own, which the known ones must beat.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from planner.geometry.naming.measured import Point, SurveyError

_PAIRS = 4.0
"""Mirrored pairs that a mount has, on average (most bindings have eight holes)."""
_CENTRED = 1.0
"""Holes on the centre line that a mount has, on average (ours, generous)."""
_LENGTH_UM = 600_000.0
_WIDTHS_UM = 25_000.0
"""The stretch of a ski that mounts stand in, and the range of half their widths (5 to 30 mm)."""
_GATE_SIGMAS = 4.0
_MOST_SHIFTS = 3.0
"""A centre line is not looked for farther off than so many of its standard errors."""

Group = tuple[tuple[int, ...], float]
"""Points of one symmetric group, and what it gains in log weight over spurious holes."""


def centred(points: Sequence[Point], error: SurveyError) -> tuple[Point, ...]:
    """Return the points from the centre line that most of the mirrored holes share, in the same order.

    With few mirrored holes the line stays near where it was measured from.
    """
    middles = [(a.y_um + b.y_um) / 2 for a, b in _across(points, error)]
    middles = [m for m in middles if abs(m) <= _MOST_SHIFTS * error.sideways_um]
    if not middles:
        return tuple(points)
    spread = error.sigma_um / math.sqrt(2)

    def near(line: float) -> list[float]:
        return [m for m in middles if abs(m - line) <= 2 * spread]

    line = max(middles, key=lambda m: (len(near(m)), -abs(m)))
    group = near(line)
    doubt = (spread / error.sideways_um) ** 2
    shift = round(sum(group) / (len(group) + doubt))
    return tuple(replace(p, y_um=p.y_um - shift) for p in points)


def symmetric_groups(points: Sequence[Point], error: SurveyError) -> list[Group]:
    """Return pairs of points that mirror each other, and points on the centre line, no point twice."""
    number = {p: i for i, p in enumerate(points)}
    pair = math.log(_PAIRS / (_LENGTH_UM * _WIDTHS_UM)) - 2 * error.log_extra_density
    alone = math.log(_CENTRED / _LENGTH_UM) - error.log_extra_density
    wider = replace(error, sigma_um=round(error.sigma_um * math.sqrt(2)))
    found: list[Group] = [
        (
            (number[a], number[b]),
            pair + wider.log_normal(float(a.x_um - b.x_um) ** 2 + float(a.y_um + b.y_um) ** 2, 2),
        )
        for a, b in _across(points, error)
    ]
    found += [((i,), alone + error.log_normal(float(p.y_um) ** 2, 1)) for i, p in enumerate(points)]
    kept: list[Group] = []
    taken: set[int] = set()
    for group, gain in sorted(found, key=lambda each: (-each[1], each[0])):
        if gain > 0 and taken.isdisjoint(group):
            kept.append((group, gain))
            taken.update(group)
    return kept


def log_unknown(groups: Sequence[Group], used: frozenset[int], error: SurveyError) -> float | None:
    """Return the log weight of an unknown mount that made the groups nobody else uses, or None."""
    gains = [gain for group, gain in groups if used.isdisjoint(group)]
    return math.log(error.unknown) - _PAIRS - _CENTRED + sum(gains) if gains else None


def _across(points: Sequence[Point], error: SurveyError) -> Iterator[tuple[Point, Point]]:
    """Yield pairs of points on both sides of the ski that lie at one place along it."""
    gate = _GATE_SIGMAS * math.sqrt(2) * error.sigma_um
    for a, b in combinations(points, 2):
        if abs(a.x_um - b.x_um) <= gate and a.y_um * b.y_um < 0 and abs(a.y_um - b.y_um) >= 10_000:
            yield a, b
