"""Weak duality, level after level, in whole numbers: what multipliers of the limits prove.

A level's cost of any plan is at least the sum of limits times multipliers, plus what every column with a
negative reduced cost could still save. Only whole plans count, so the bound is rounded up to the next value
that a whole plan can have: the costs of the columns still free share a step (holes come in twos and fours),
and the value moves by that step. Where the bound meets the value, a column whose reduced cost is more than
the gap between the two cannot leave its bound in any plan that reaches the value, and a limit whose
multiplier is more than the gap is met exactly: the next level is proved among those plans only. Where it
misses, the plans that are no worse at that level are what the next one is about: its value then stands as a
limit from above, and as no more than that, until a later level leans on it by more than that level's gap:
then a plan that is better there is worse at the later one. No solver, no fractions but over one common scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import gcd
from typing import NamedTuple


@dataclass(slots=True)
class BoundRow:
    """A limit ``lower <= sum <= upper``; ``lower`` None: no limit from below."""

    lower: int | None
    upper: int


@dataclass(slots=True)
class BoundColumn:
    """A choice, made ``lower`` to ``upper`` times: its cost at each level, and (row, coefficient).

    ``figures``: what cases may count it by; none where no case may.
    """

    costs: tuple[int, ...]
    upper: int
    rows: tuple[tuple[int, int], ...]
    lower: int = 0
    figures: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """Multipliers of rows, of earlier levels' values and of counts that lead to a case, times ``scale``."""

    scale: int
    rows: Sequence[int]
    earlier: Sequence[int]
    counts: Sequence[int] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SumsByCase:
    """Two cases that hold every whole plan: the columns with these figures (None: any) are used at most
    so often, or more often.
    """

    figures: tuple[int | None, ...]
    at_most: int
    fewer: Sums | SumsByCase
    more: Sums | SumsByCase


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelClaim(Sums):
    """The value claimed, the multipliers for it, and the cases that prove what those leave open."""

    value: int
    cases: Sums | SumsByCase | None = None


def proved_bounds(
    rows: Sequence[BoundRow], columns: Sequence[BoundColumn], levels: Sequence[LevelClaim]
) -> list[int | None]:
    """The least value of each level that the multipliers prove, among plans no worse at the levels before.

    None where they prove nothing at all. Rows and columns are narrowed in place. A bound above the value
    means that the multipliers or the value are wrong; nothing is proved from there on.
    """
    found: list[int | None] = []
    missed: list[bool] = []
    left = [c for c in columns if c.lower or c.upper]
    for number, level in enumerate(levels):
        earlier = [(levels[at].value, missed[at]) for at in range(number)]
        summed = _limits(rows, level, earlier)
        least = None
        if summed is not None:
            reduced = _reduced(left, number, level)
            summed += _saved(reduced)
            least = _values_of(left, number).from_below(summed, level.scale)
            if least <= level.value:
                gap = level.value * level.scale - summed
                left = _narrowed(reduced, gap)
                _met(rows, level, gap)
                missed = [miss and -w <= gap for miss, w in zip(missed, level.earlier, strict=True)]
        if level.cases is not None and (least is None or least < level.value):
            values = _values_of(left, number)
            by_cases = _OneLevel(number, rows, left, earlier, values).least_of(level.cases)
            least = max((b for b in (least, by_cases) if b is not None), default=None)
        found.append(least)
        missed.append(least != level.value)
        if least is not None and least > level.value:
            return found + [None] * (len(levels) - len(found))
    return found


class _Values(NamedTuple):
    """The values that whole plans can have: ``fixed``, and any number of steps more or less."""

    fixed: int
    step: int

    def from_below(self, summed: int, scale: int) -> int:
        """Return the least of them that is no less than ``summed / scale``."""
        return self.fixed - (self.fixed * scale - summed) // (self.step * scale) * self.step


def _values_of(left: Sequence[BoundColumn], number: int) -> _Values:
    """Columns that stand fixed give a sum; the others move it by the step that their costs share."""
    return _Values(
        fixed=sum(c.costs[number] * c.lower for c in left if c.lower == c.upper),
        step=gcd(*(c.costs[number] for c in left if c.lower < c.upper)) or 1,
    )


@dataclass(frozen=True, slots=True)
class _OneLevel:
    """All that the cases of one level are held against: its number, limits, columns and earlier values."""

    number: int
    rows: Sequence[BoundRow]
    left: Sequence[BoundColumn]
    earlier: Sequence[tuple[int, bool]]
    values: _Values

    def least_of(
        self,
        case: Sums | SumsByCase,
        counts: Sequence[tuple[BoundRow, tuple[int | None, ...]]] = (),
    ) -> int | None:
        """Return the least value of a whole plan in this case; None where its multipliers prove nothing.

        ``counts``: the limit of each count that leads to it, and whose count it is.
        """
        if isinstance(case, SumsByCase):
            most = sum(column.upper for column in self.left if _counts(column, case.figures))
            both = (
                (case.fewer, BoundRow(0, case.at_most)),
                (case.more, BoundRow(case.at_most + 1, most)),
            )
            least = [self.least_of(each, (*counts, (row, case.figures))) for each, row in both]
            return None if None in least else min(b for b in least if b is not None)
        if len(case.counts) != len(counts):
            return None
        summed = _limits([*self.rows, *(row for row, _ in counts)], case, self.earlier)
        if summed is None:
            return None
        reduced = [
            (
                column,
                r
                - sum(y for y, (_, whose) in zip(case.counts, counts, strict=True) if _counts(column, whose)),
            )
            for column, r in _reduced(self.left, self.number, case)
        ]
        return self.values.from_below(summed + _saved(reduced), case.scale)


def _counts(column: BoundColumn, figures: Sequence[int | None]) -> bool:
    return len(column.figures) == len(figures) and all(
        asked is None or asked == own for asked, own in zip(figures, column.figures, strict=True)
    )


def _limits(rows: Sequence[BoundRow], level: Sums, earlier: Sequence[tuple[int, bool]]) -> int | None:
    """Return what the limits alone come to; ``earlier``: the value of each level before, whether it was
    missed.
    """
    total = 0
    for w, (value, missed) in zip(level.earlier, earlier, strict=True):
        if w > 0 and missed:
            return None
        total += w * value
    for row, y in zip(rows, [*level.rows, *level.counts], strict=True):
        if y > 0:
            if row.lower is None:
                return None
            total += y * row.lower
        else:
            total += y * row.upper
    return total


def _saved(reduced: Sequence[tuple[BoundColumn, int]]) -> int:
    """Return what the columns add to the limits at the least; negative where they save."""
    return sum(r * (column.lower if r > 0 else column.upper) for column, r in reduced)


def _reduced(columns: Sequence[BoundColumn], number: int, level: Sums) -> list[tuple[BoundColumn, int]]:
    """Each column with its reduced cost. Levels whose multiplier is nought, most of them, are left out."""
    scale, multipliers = level.scale, level.rows
    earlier = [(at, w) for at, w in enumerate(level.earlier) if w]
    found = []
    for column in columns:
        costs = column.costs
        r = scale * costs[number]
        for row, coefficient in column.rows:
            r -= multipliers[row] * coefficient
        for at, w in earlier:
            r -= w * costs[at]
        found.append((column, r))
    return found


def _narrowed(reduced: list[tuple[BoundColumn, int]], gap: int) -> list[BoundColumn]:
    for column, r in reduced:
        if r > gap:
            column.upper = column.lower
        elif -r > gap:
            column.lower = column.upper
    return [column for column, _ in reduced if column.upper]


def _met(rows: Sequence[BoundRow], level: LevelClaim, gap: int) -> None:
    for at, row in enumerate(rows):
        if level.rows[at] > gap and row.lower is not None:
            row.upper = row.lower
        elif -level.rows[at] > gap:
            row.lower = row.upper
