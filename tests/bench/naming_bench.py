"""Naming against an exhaustive posterior: share of right names, calibration, foreign patterns.

    python -m tests.bench.naming_bench [CASES]

The exhaustive side shares the error model and nothing of the search: every position of every piece on a
0.1 mm grid is scored with numpy, matchings are summed over positions numerically, and every mount that
beats "all spurious" stays in. Prints tables; judges nothing.
"""

from __future__ import annotations

import math
import random
import sys
import time
from collections import defaultdict
from itertools import product
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "naming"))
from surveys import EXTRA, MISSED, eight_patterns, foreign_pattern, simulate, stranger, surveyed

from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from planner.geometry.naming.explain import explain
from planner.geometry.naming.measured import Entered, Point, SurveyError, entered_as
from planner.geometry.naming.mount_match import reference_range_um
from tests.bench.rows import row

STEP_UM = 100


def grid_pieces(pattern: Pattern, piece: Piece, points: tuple[Point, ...], error: SurveyError):
    """Matchings of one piece with their log ratios, summed over a grid of positions."""
    low, high = reference_range_um(pattern, piece)
    positions = np.arange(low - 2000, high + 2001, STEP_UM, dtype=float)
    px = np.array([h.x_um for h in piece.holes], float)
    py = np.array([h.y_um for h in piece.holes], float)
    ox = np.array([p.x_um for p in points], float)
    oy = np.array([p.y_um for p in points], float)
    squared = (positions[:, None, None] + px[None, :, None] - ox[None, None, :]) ** 2 + (
        py[None, :, None] - oy[None, None, :]
    ) ** 2
    nearest = squared.argmin(axis=2)
    best = squared.min(axis=2)
    hit = best <= (4.5 * math.sqrt(2) * error.sigma_um) ** 2
    gain = (
        -0.5 * best / error.sigma_um**2
        - math.log(2 * math.pi * error.sigma_um**2)
        + math.log(1 - error.missed)
        - error.log_extra_density
    )
    logs = np.where(hit, gain, math.log(error.missed)).sum(axis=1) + math.log(STEP_UM / (high - low))
    sums: dict[tuple[int, ...], list[float]] = defaultdict(list)
    where: dict[tuple[int, ...], list[int]] = {}
    for k in np.nonzero(hit.sum(axis=1) >= 2)[0]:
        matched = tuple(int(nearest[k, j]) if hit[k, j] else -1 for j in range(len(px)))
        claimed = [i for i in matched if i >= 0]
        if len(set(claimed)) == len(claimed):
            sums[matched].append(float(logs[k]))
            where.setdefault(matched, []).append(k)
    found = []
    for matched, values in sums.items():
        top = max(values)
        peak = where[matched][values.index(top)]
        found.append(
            (
                top + math.log(sum(math.exp(v - top) for v in values)),
                frozenset(i for i in matched if i >= 0),
                float(positions[peak]),
            )
        )
    found.append((len(px) * math.log(error.missed), frozenset(), None))
    return found


def exhaustive_names(points, patterns, error: SurveyError) -> tuple[str, ...]:
    """The names with the largest posterior over all sets of up to three mounts, nothing kept back."""
    totals: dict[tuple[str, ...], float] = {}
    shared_cost = -error.log_extra_density + error.log_normal(0.0, 2) - math.log(0.05)
    for entered in Entered:
        turned = entered_as(points, entered)
        prior = math.log(error.slip if entered is not Entered.AS_IS else 1 - 2 * error.slip)
        mounts = []
        for pattern in patterns:
            choices = [grid_pieces(pattern, piece, turned, error) for piece in pattern.pieces]
            for combo in product(*choices):
                used = frozenset().union(*(c[1] for c in combo))
                if len(used) < 3 or len(used) != sum(len(c[1]) for c in combo):
                    continue
                at = {p.follows: c[2] for p, c in zip(pattern.pieces, combo, strict=True)}
                toe, heel = at.get(Follows.TOE), at.get(Follows.HEEL)
                whole = toe is not None and heel is not None
                if whole and (not 258_000 <= toe - heel <= 342_000 or abs(toe + heel) > 60_000):
                    continue
                mounts.append((sum(c[0] for c in combo), used, pattern.name))
        mounts = sorted((m for m in mounts if m[0] > 0), key=lambda m: -m[0])
        log_n = math.log(len(patterns))

        def grow(start, names, used, total, mounts=mounts, log_n=log_n, prior=prior):
            for i in range(start, len(mounts)):
                ratio, holes, name = mounts[i]
                if len(holes - used) < 2:
                    continue
                score = total + ratio - len(used & holes) * shared_cost - log_n + math.log(len(names) + 1)
                grown = (*names, name)
                key = tuple(sorted(grown))
                totals[key] = float(np.logaddexp(totals.get(key, -math.inf), prior + score))
                if len(grown) < 3:
                    grow(i + 1, grown, used | holes, score)

        totals[()] = float(np.logaddexp(totals.get((), -math.inf), prior))
        grow(0, (), frozenset(), 0.0)
    return max(totals.items(), key=lambda item: (item[1], item[0]))[0]


def near_twins() -> tuple[Pattern, ...]:
    """Four patterns that differ by 2.5 mm in one measure: the case in which confidence must be honest."""

    def twin(name: str, long: int, wide: int) -> Pattern:
        def quad(sign: int) -> tuple[PatternHole, ...]:
            return tuple(
                PatternHole(x_um=sign * x, y_um=y)
                for x in (12_000, 12_000 + long)
                for y in (wide // 2, -wide // 2)
            )

        return Pattern(
            name=name,
            binding_model=name,
            bsl_min_um=260_000,
            bsl_max_um=340_000,
            pieces=(
                Piece(name=PieceName.TOE, follows=Follows.TOE, holes=quad(-1)),
                Piece(name=PieceName.HEEL, follows=Follows.HEEL, holes=quad(1)),
            ),
        )

    return (
        twin("40.0 x 36", 40_000, 36_000),
        twin("41.5 x 36", 41_500, 36_000),
        twin("43.0 x 36", 43_000, 36_000),
        twin("40.0 x 38", 40_000, 38_000),
    )


def calibration(title: str, patterns: tuple[Pattern, ...], error: SurveyError, cases: int, seed: int) -> None:
    rng = random.Random(seed)
    edges = (0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0001)
    table = [[0, 0, 0.0] for _ in edges[1:]]
    for _ in range(cases):
        survey = simulate(rng, patterns)
        left = list(survey.truth)
        for named in explain(survey.points, patterns, error).mounts:
            if not named.accepted:
                continue
            right = named.mount.pattern.name in left
            if right:
                left.remove(named.mount.pattern.name)
            tally = table[next(i for i, e in enumerate(edges[1:]) if named.probability < e)]
            tally[0] += 1
            tally[1] += right
            tally[2] += named.probability
    print(f"\ncalibration, {title}, {cases} cases: said / named / right / share right")
    for low, high, (count, right, said) in zip(edges, edges[1:], table, strict=False):
        if count:
            print(
                f"  {low:4.2f}-{min(high, 1):4.2f}  {said / count:6.3f}"
                f"  {count:5d}  {right:5d}  {right / count:6.3f}"
            )
            if low >= 0.9 and count >= 10:
                row(
                    f"{title}, said {low:.2f} to {min(high, 1):.2f}: {count} names, share right",
                    f"{right / count:.3f}",
                    f"mean probability said {said / count:.3f}",
                    f"{right / said:.3f}",
                )


BARE = ((-400_000, 400_000),)


def surveyed_bare(patterns: tuple[Pattern, ...], cases: int) -> None:
    """Every hole of one mount measured on a ski seen bare: strangers, then known patterns off to one side."""
    error, rng = SurveyError(), random.Random(5)

    def over_99(pattern: Pattern, shift_um: int) -> bool:
        naming = explain(surveyed(rng, pattern, shift_um=shift_um), patterns, error, seen=BARE)
        named = (n for n in naming.mounts if n.accepted and n.probability > 0.99)
        return any(pattern not in patterns or n.mount.pattern.name == pattern.name for n in named)

    named = sum(over_99(stranger(rng, patterns), 0) for _ in range(cases))
    row(
        f"{cases} strangers with the widths of known patterns, seen bare: named at over 99 %",
        f"{named}",
        "none",
        f"{named / cases:.3f}",
    )
    for shift in (0, 800, 1600):
        right = sum(over_99(rng.choice(patterns), rng.choice((-shift, shift))) for _ in range(cases))
        row(
            f"{cases} known patterns, centre line off by {shift / 1000} mm: named right at over 99 %",
            f"{right / cases:.3f}",
            "all 1.000",
            f"{right / cases:.3f}",
        )


def main() -> None:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    patterns, error = eight_patterns(), SurveyError(missed=MISSED, extra=EXTRA)
    rng = random.Random(2026)
    surveys = [simulate(rng, patterns) for _ in range(cases)]
    start = time.process_time()
    ours = [explain(s.points, patterns, error).names == s.truth for s in surveys]
    middle = time.process_time()
    brute = [exhaustive_names(s.points, patterns, error) == s.truth for s in surveys]
    end = time.process_time()
    print(f"{cases} surveys, 1 to 3 mounts of 8 patterns, 0.5 mm error, 10 % missed, 10 % extra")
    print(f"  right names: ours {sum(ours) / cases:.3f}, exhaustive {sum(brute) / cases:.3f}")
    print(
        f"  seconds: ours {middle - start:.1f}, exhaustive {end - middle:.1f},"
        f" ratio {(end - middle) / (middle - start):.0f}"
    )
    of = f"{cases} surveys of 1 to 3 mounts"
    right, by_brute = sum(ours) / cases, sum(brute) / cases
    row(f"{of}: named right", f"{right:.3f}", f"exhaustive search {by_brute:.3f}", f"{right / by_brute:.3f}")
    row(
        f"{of}: processor time",
        f"{middle - start:.1f} s",
        f"exhaustive search {end - middle:.1f} s",
        f"{(end - middle) / (middle - start):.1f} times faster",
    )
    calibration("eight patterns, 0.5 mm", patterns, error, cases, 1)
    twins_error = SurveyError()
    calibration("near twins, 0.5 mm", near_twins(), twins_error, cases, 2)
    surveyed_bare(patterns, cases)
    foreign = 0
    for _ in range(cases):
        survey = simulate(rng, (foreign_pattern(rng),), mounts=1)
        naming = explain(survey.points, patterns, error)
        foreign += naming.none_fits and not naming.names
    print(f"\nforeign patterns answered 'none fits': {foreign / cases:.3f}")
    row(
        f"{cases} foreign patterns: 'none fits'",
        f"{foreign / cases:.3f}",
        "all 1.000",
        f"{foreign / cases:.3f}",
    )


if __name__ == "__main__":
    main()
