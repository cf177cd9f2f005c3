"""Naming as a search: the set of one to three overlaid mounts that explains the measured holes best.

A mount of a pattern that nobody entered is one of the hypotheses (`unknown`), and both skis of a pair are
read together: what was mounted on one was mostly mounted on the other.

Each mount is tested for its fit: a posterior compares candidates only, and the best of three may still fit
badly. The tails of the tests are exact, with sums of our own so that naming opens quickly.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from fleet.facts.patterns import Pattern
from planner.geometry.naming.measured import Entered, Point, Stretches, SurveyError, entered_as, stretches_as
from planner.geometry.naming.mount_match import MOUNTS_KEPT, PIECES_KEPT, MountMatch, mount_matches
from planner.geometry.naming.unknown import centred, log_unknown, symmetric_groups

LEVEL = 0.002
"""A mount that does worse than this by chance is not accepted (our default, no source)."""


def chi_square_tail(squared: float, freedoms: int) -> float:
    """Return P(chi-square with ``freedoms`` degrees >= ``squared``), by its finite series (odd and even)."""
    if freedoms <= 0:
        return 1.0
    half = squared / 2.0
    if freedoms % 2 == 0:
        term, total = math.exp(-half), 0.0
        for k in range(freedoms // 2):
            total += term
            term *= half / (k + 1)
        return min(1.0, total)
    # odd degrees: the series starts from the tail of a single squared normal
    total = math.erfc(math.sqrt(half))
    term = math.exp(-half) * math.sqrt(half) / math.gamma(1.5)
    for k in range((freedoms - 1) // 2):
        total += term
        term *= half / (k + 1.5)
    return min(1.0, total)


def binomial_tail(least: int, trials: int, chance: float) -> float:
    """Return P(at least ``least`` successes of ``trials``)."""
    return sum(
        math.comb(trials, k) * chance**k * (1 - chance) ** (trials - k) for k in range(least, trials + 1)
    )


def poisson_tail(least: int, mean: float) -> float:
    """Return P(Poisson with ``mean`` >= ``least``)."""
    below = sum(math.exp(-mean) * mean**k / math.factorial(k) for k in range(least))
    return max(0.0, 1.0 - below)


MOST_MOUNTS = 3
CANDIDATES_KEPT = 40
FEWEST_HOLES = 3
"""Fewer holes than this name nothing and refute nothing."""
NO_KNOWN = "no known pattern"
ALIKE = 0.95
"""Chance that both skis of a pair had the same mounts (ours, no source)."""
_SAME_WEIGHT_DIGITS = 6
"""Log weights that agree to so many decimals are equal."""
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
    """The answer for one ski. ``none_fits``: holes remain that no known pattern explains.

    ``other_groups``: the same patterns explain the holes just as well in other groups. Taken are those whose
    boot centres stand nearest the mark.
    """

    entered: Entered
    entered_probability: float
    mounts: tuple[Named, ...]
    left_over: tuple[str, ...]
    none_fits: bool
    other_groups: bool

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the accepted mounts, sorted."""
        return tuple(sorted(n.mount.pattern.name for n in self.mounts if n.accepted))


@dataclass(frozen=True, slots=True)
class _Explanation:
    """One explanation of all points: how they were entered, its mounts, and its log weight.

    ``log_prior``: of these mounts, before any hole was seen. ``unknown``: holes that mirror each other and
    that no mount explains were made by an unknown pattern.
    """

    entered: Entered
    mounts: tuple[MountMatch, ...]
    log_prior: float
    log_weight: float
    unknown: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        return (*sorted(m.pattern.name for m in self.mounts), *[""] * self.unknown)


def explain(
    points: tuple[Point, ...],
    patterns: Sequence[Pattern],
    error: SurveyError,
    *,
    seen: Stretches = (),
    candidates_kept: int = CANDIDATES_KEPT,
    pieces_kept: int = PIECES_KEPT,
    mounts_kept: int = MOUNTS_KEPT,
) -> Naming:
    """Return the best explanation of one ski's holes by at most three mounts of known patterns.

    ``seen``: where the ski was seen bare; a mount with many holes missing there is none. Patterns have equal
    priors; the number of mounts has the prior 1/4 each for none to three. Positions are integrated out;
    matchings are summed over, the poorest left away (``*_kept``).
    """
    found = _explained(points, seen, patterns, error, candidates_kept, pieces_kept, mounts_kept)
    return _answer(points, found, error)


def explain_both(
    skis: Sequence[tuple[tuple[Point, ...], Stretches]], patterns: Sequence[Pattern], error: SurveyError
) -> list[Naming]:
    """Return the answers for both skis of a pair (points, where it was seen bare), each beside the other.

    A ski without measured holes says nothing about the other.
    """
    if not all(points for points, _ in skis):
        return [explain(points, patterns, error, seen=seen) for points, seen in skis]
    one, other = (_explained(points, seen, patterns, error) for points, seen in skis)
    found = (_beside(one, other), _beside(other, one))
    return [_answer(points, each, error) for (points, _), each in zip(skis, found, strict=True)]


def _explained(
    points: tuple[Point, ...],
    seen: Stretches,
    patterns: Sequence[Pattern],
    error: SurveyError,
    candidates_kept: int = CANDIDATES_KEPT,
    pieces_kept: int = PIECES_KEPT,
    mounts_kept: int = MOUNTS_KEPT,
) -> list[_Explanation]:
    """Every explanation of one ski that is kept, with and without an unknown pattern."""
    explanations: list[_Explanation] = []
    for entered in Entered:
        turned = centred(entered_as(points, entered), error)
        prior = math.log(error.slip if entered is not Entered.AS_IS else 1 - 2 * error.slip)
        mounts = candidate_mounts(
            turned,
            patterns,
            error,
            seen=stretches_as(seen, entered),
            pieces_kept=pieces_kept,
            mounts_kept=mounts_kept,
        )[:candidates_kept]
        groups = symmetric_groups(turned, error)
        for each in _explanations(mounts, error, math.log(max(len(patterns), 1))):
            # Indices into `turned` become ids, so that explanations of different readings compare.
            each = replace(each, entered=entered, log_weight=prior + each.log_weight)
            explanations.append(each)
            used = frozenset().union(*(m.used for m in each.mounts))
            more = log_unknown(groups, used, error)
            if more is not None:
                explanations.append(
                    replace(
                        each,
                        unknown=True,
                        log_prior=each.log_prior + math.log(error.unknown),
                        log_weight=each.log_weight + more,
                    )
                )
    return explanations


def _beside(mine: Sequence[_Explanation], other: Sequence[_Explanation]) -> list[_Explanation]:
    """One ski's explanations, each likelier as the other ski shows the same mounts.

    With the chance `ALIKE` both skis have the same mounts, else each its own.
    """
    top = max(each.log_weight for each in other)
    of_names: dict[tuple[str, ...], float] = {}
    prior_of: dict[tuple[str, ...], float] = {}
    for each in other:
        of_names[each.names] = of_names.get(each.names, 0.0) + math.exp(each.log_weight - top)
        prior_of[each.names] = each.log_prior
    # The priors are those of an explanation, up to a constant: their sum over the names that were seen.
    priors = sum(math.exp(p) for p in prior_of.values())
    apart = sum(of_names.values())
    return [
        replace(
            each,
            log_weight=each.log_weight
            + math.log(
                ALIKE * of_names.get(each.names, 0.0) / math.exp(each.log_prior) * priors
                + (1 - ALIKE) * apart
            ),
        )
        for each in mine
    ]


def candidate_mounts(
    points: tuple[Point, ...],
    patterns: Sequence[Pattern],
    error: SurveyError,
    *,
    seen: Stretches = (),
    pieces_kept: int = PIECES_KEPT,
    mounts_kept: int = MOUNTS_KEPT,
) -> list[MountMatch]:
    """Return mounts of any pattern that are likelier than "all these holes are spurious", best first."""
    found = [
        mount
        for pattern in patterns
        for mount in mount_matches(
            pattern, points, error, seen=seen, pieces_kept=pieces_kept, mounts_kept=mounts_kept
        )
        if mount.log_ratio > 0
    ]
    return sorted(found, key=lambda m: (-m.log_ratio, m.pattern.name, sorted(m.used)))


def _explanations(
    mounts: Sequence[MountMatch], error: SurveyError, log_patterns: float
) -> Iterable[_Explanation]:
    """Yield all sets of up to three mounts. A hole that two mounts use was reused: it is explained once."""
    shared_cost = -error.log_extra_density + error.log_normal(0.0, 2) - _LOG_REUSE
    yield _Explanation(Entered.AS_IS, (), 0.0, 0.0)

    def grow(
        start: int, chosen: tuple[MountMatch, ...], used: frozenset[int], prior: float, ratio: float
    ) -> Iterable[_Explanation]:
        for i in range(start, len(mounts)):
            mount = mounts[i]
            shared = used & mount.used
            fresh = mount.used - used
            if len(fresh) < 2:
                continue
            # The sets are unordered: k! orders of k mounts are one explanation, hence the log of the place.
            likelier = ratio + mount.log_ratio - len(shared) * shared_cost
            likely = prior - log_patterns + math.log(len(chosen) + 1)
            grown = (*chosen, mount)
            yield _Explanation(Entered.AS_IS, grown, likely, likely + likelier)
            if len(grown) < MOST_MOUNTS:
                yield from grow(i + 1, grown, used | mount.used, likely, likelier)

    yield from grow(0, (), frozenset(), 0.0, 0.0)


def _answer(points: tuple[Point, ...], explanations: Sequence[_Explanation], error: SurveyError) -> Naming:
    top = max(explanation.log_weight for explanation in explanations)
    weights = [math.exp(explanation.log_weight - top) for explanation in explanations]
    total = sum(weights)
    # Which heel goes with which toe changes no likelihood, only the order of a sum: rounded, they are equal.
    likeliest = [s for s in explanations if round(s.log_weight - top, _SAME_WEIGHT_DIGITS) == 0]
    best = max(
        likeliest,
        key=lambda s: ([m.pattern.name for m in s.mounts], not s.unknown, -_farthest_um(s.mounts)),
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
        other_groups=any(
            s.names == best.names and {m.used for m in s.mounts} != {m.used for m in best.mounts}
            for s in likeliest
        ),
    )


def _farthest_um(mounts: Sequence[MountMatch]) -> float:
    """Return how far from the mark the boot centre of the farthest mount stands, in the middle of what it
    allows."""
    return max((abs(sum(m.offset_um)) / 2 for m in mounts if m.offset_um is not None), default=0.0)


def mount_fit(mount: MountMatch, error: SurveyError) -> float:
    """Return the smallest tail probability of the tests: residuals (chi-square), holes not found (binomial)
    where the ski was seen bare and elsewhere.

    Levels are shared among the tests (Bonferroni): half each where one kind of hole is missing.
    """
    residual = chi_square_tail(mount.squared_um2 / float(error.sigma_um) ** 2, mount.freedoms)
    holes = mount.pattern.hole_count
    missing = [
        binomial_tail(count, holes, chance)
        for count, chance in (
            (mount.missed - mount.missed_bare, error.missed),
            (mount.missed_bare, error.missed_bare),
        )
        if count
    ]
    return min(1.0, max(2, 1 + len(missing)) * min(residual, *missing, 1.0))


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
        if 2 * overlap < len(ids):
            name = NO_KNOWN
        shares[name] = shares.get(name, 0.0) + weight / total
    return shares
