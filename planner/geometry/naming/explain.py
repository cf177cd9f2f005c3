"""Naming as a search: the set of one to three overlaid mounts that explains the measured holes best."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fleet.facts.patterns import Pattern
from planner.geometry.naming.fit_test import LEVEL, binomial_tail, chi_square_tail, poisson_tail
from planner.geometry.naming.measured import Entered, Point, entered_as
from planner.geometry.naming.mount_match import MOUNTS_KEPT, PIECES_KEPT, MountMatch, mount_matches
from planner.geometry.naming.survey_error import SurveyError

MOST_MOUNTS = 3
CANDIDATES_KEPT = 40
FEWEST_HOLES = 3
"""Fewer holes than this name nothing and refute nothing."""
_LOG_REUSE = math.log(0.05)
"""Prior of a hole having served two mounts (ours, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """One mount of the answer. ``probability``: that a mount of this pattern made these holes.

    ``alternatives``: other patterns for the same holes, with their probabilities, likeliest first.
    ``accepted`` False: it is the least bad, and it does not fit; it is then not given as a name.
    """

    mount: MountMatch
    hole_ids: tuple[str, ...]
    probability: float
    alternatives: tuple[tuple[str, float], ...]
    accepted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Naming:
    """The answer for one ski. ``none_fits``: holes remain that no known pattern explains."""

    entered: Entered
    entered_probability: float
    mounts: tuple[Named, ...]
    left_over: tuple[str, ...]
    none_fits: bool

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the accepted mounts, sorted."""
        return tuple(sorted(n.mount.pattern.name for n in self.mounts if n.accepted))


@dataclass(frozen=True, slots=True)
class _Explanation:
    """One explanation of all points: how they were entered, its mounts, and its log weight."""

    entered: Entered
    mounts: tuple[MountMatch, ...]
    log_weight: float


def explain(
    points: tuple[Point, ...],
    patterns: Sequence[Pattern],
    error: SurveyError,
    *,
    candidates_kept: int = CANDIDATES_KEPT,
    pieces_kept: int = PIECES_KEPT,
    mounts_kept: int = MOUNTS_KEPT,
) -> Naming:
    """Return the best explanation of one ski's holes by at most three mounts of known patterns.

    Patterns have equal priors; the number of mounts has the prior 1/4 each for none to three. Positions
    are integrated out; matchings are summed over, the poorest left away (``*_kept``).
    """
    explanations: list[_Explanation] = []
    for entered in Entered:
        turned = entered_as(points, entered)
        prior = math.log(error.slip if entered is not Entered.AS_IS else 1 - 2 * error.slip)
        mounts = candidate_mounts(turned, patterns, error, pieces_kept=pieces_kept, mounts_kept=mounts_kept)[
            :candidates_kept
        ]
        for explanation in _explanations(mounts, error, math.log(max(len(patterns), 1))):
            # Indices into `turned` become ids, so that explanations of different readings compare.
            explanations.append(_Explanation(entered, explanation.mounts, prior + explanation.log_weight))
    return _answer(points, explanations, error)


def candidate_mounts(
    points: tuple[Point, ...],
    patterns: Sequence[Pattern],
    error: SurveyError,
    *,
    pieces_kept: int = PIECES_KEPT,
    mounts_kept: int = MOUNTS_KEPT,
) -> list[MountMatch]:
    """Return mounts of any pattern that are likelier than "all these holes are spurious", best first."""
    found = [
        mount
        for pattern in patterns
        for mount in mount_matches(pattern, points, error, pieces_kept=pieces_kept, mounts_kept=mounts_kept)
        if mount.log_ratio > 0
    ]
    return sorted(found, key=lambda m: (-m.log_ratio, m.pattern.name, sorted(m.used)))


def _explanations(
    mounts: Sequence[MountMatch], error: SurveyError, log_patterns: float
) -> Iterable[_Explanation]:
    """Yield all sets of up to three mounts. A hole that two mounts use was reused: it is explained once."""
    shared_cost = -error.log_extra_density + error.log_normal(0.0, 2) - _LOG_REUSE
    yield _Explanation(Entered.AS_IS, (), 0.0)

    def grow(
        start: int, chosen: tuple[MountMatch, ...], used: frozenset[int], weight: float
    ) -> Iterable[_Explanation]:
        for i in range(start, len(mounts)):
            mount = mounts[i]
            shared = used & mount.used
            fresh = mount.used - used
            if len(fresh) < 2:
                continue
            # The sets are unordered: k! orders of k mounts are one explanation, hence the log of the place.
            total = (
                weight
                + mount.log_ratio
                - len(shared) * shared_cost
                - log_patterns
                + math.log(len(chosen) + 1)
            )
            grown = (*chosen, mount)
            yield _Explanation(Entered.AS_IS, grown, total)
            if len(grown) < MOST_MOUNTS:
                yield from grow(i + 1, grown, used | mount.used, total)

    yield from grow(0, (), frozenset(), 0.0)


def _answer(points: tuple[Point, ...], explanations: Sequence[_Explanation], error: SurveyError) -> Naming:
    top = max(explanation.log_weight for explanation in explanations)
    weights = [math.exp(explanation.log_weight - top) for explanation in explanations]
    total = sum(weights)
    best = max(
        explanations,
        key=lambda s: (s.log_weight, [m.pattern.name for m in s.mounts]),
    )
    turned = entered_as(points, best.entered)
    named = []
    for mount in best.mounts:
        ids = _ids(mount, turned)
        shares = _shares(ids, points, explanations, weights, total)
        name = mount.pattern.name
        named.append(
            Named(
                mount=mount,
                hole_ids=tuple(sorted(ids)),
                probability=shares.get(name, 0.0),
                alternatives=tuple(
                    sorted(
                        ((n, p) for n, p in shares.items() if n != name and p >= 0.0005),
                        key=lambda pair: (-pair[1], pair[0]),
                    )
                ),
                accepted=mount_fit(mount, error) >= LEVEL,
            )
        )
    explained = frozenset(hole_id for n in named if n.accepted for hole_id in n.hole_ids)
    left = tuple(sorted(p.hole_id for p in points if p.hole_id not in explained))
    known = sum(len(n.mount.used) + n.mount.missed for n in named if n.accepted)
    spurious = poisson_tail(len(left), max(error.extra * known, error.extra * error.typical_holes))
    return Naming(
        entered=best.entered,
        entered_probability=sum(
            w for s, w in zip(explanations, weights, strict=True) if s.entered is best.entered
        )
        / total,
        mounts=tuple(sorted(named, key=lambda n: (-n.probability, n.mount.pattern.name, n.hole_ids))),
        left_over=left,
        none_fits=(bool(left) and spurious < LEVEL)
        or (len(points) >= FEWEST_HOLES and not any(n.accepted for n in named)),
    )


def mount_fit(mount: MountMatch, error: SurveyError) -> float:
    """Return the smaller tail probability of two tests: residuals (chi-square), holes not found (binomial).

    Halved levels for two tests (Bonferroni).
    """
    residual = chi_square_tail(mount.squared_um2 / float(error.sigma_um) ** 2, mount.freedoms)
    holes = mount.pattern.hole_count
    missing = binomial_tail(mount.missed, holes, error.missed) if mount.missed else 1.0
    return min(1.0, 2 * min(residual, missing))


def _ids(mount: MountMatch, points: tuple[Point, ...]) -> frozenset[str]:
    return frozenset(points[i].hole_id for i in mount.used)


def _shares(
    ids: frozenset[str],
    points: tuple[Point, ...],
    explanations: Sequence[_Explanation],
    weights: Sequence[float],
    total: float,
) -> dict[str, float]:
    """Return for each pattern the probability that it made these holes, from the mount with the largest
    overlap.
    """
    turned = {entered: entered_as(points, entered) for entered in Entered}
    shares: dict[str, float] = {}
    for explanation, weight in zip(explanations, weights, strict=True):
        # too improbable to be shown; skipped for speed
        if weight < 1e-9:
            continue
        overlap, name = 0, ""
        for mount in explanation.mounts:
            common = len(ids & _ids(mount, turned[explanation.entered]))
            if common > overlap:
                overlap, name = common, mount.pattern.name
        if 2 * overlap >= len(ids):
            shares[name] = shares.get(name, 0.0) + weight / total
    return shares
