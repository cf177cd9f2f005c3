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
from itertools import compress
from math import gcd
from operator import lt
from typing import NamedTuple, TypeVar

from planner.plan.objective import GROUPS, CaseProof, CaseSplit, LevelProof

_T = TypeVar("_T")


@dataclass(slots=True)
class BoundRow:
    """A limit ``lower <= sum <= upper``; ``lower`` None: no limit from below."""

    lower: int | None
    upper: int


NO_ROW = -1
"""Stands where a choice takes or gives less than others."""


@dataclass(slots=True, kw_only=True)
class BoundColumns:
    """Choices, one place in every list a choice: each is made ``lower`` to ``upper`` times.

    ``costs``: a list for each level. A choice takes one of each row in the lists of ``takes`` and gives one
    of its row in ``gives``; ``amounts``: how much each takes of one row, beside that. ``figures``: what cases
    may count it by; none where no case may.
    """

    costs: list[list[int]]
    lower: list[int]
    upper: list[int]
    takes: tuple[list[int], list[int], list[int]]
    gives: list[int]
    amounts: dict[int, list[int]]
    figures: list[tuple[int, ...]]

    def made(self) -> BoundColumns:
        """Those that are made at all."""

        def kept(values: list[_T]) -> list[_T]:
            return list(compress(values, self.upper))

        one, two, three = self.takes
        return BoundColumns(
            costs=[kept(costs) for costs in self.costs],
            lower=kept(self.lower),
            upper=kept(self.upper),
            takes=(kept(one), kept(two), kept(three)),
            gives=kept(self.gives),
            amounts={row: kept(amounts) for row, amounts in self.amounts.items()},
            figures=kept(self.figures),
        )


def _multipliers(proof: LevelProof | CaseProof) -> list[int]:
    """Return the multipliers of the limits, one a row."""
    return [y for group in GROUPS[:-1] for y in proof.multipliers.get(group, ())]


def proved_bounds(
    rows: Sequence[BoundRow], columns: BoundColumns, levels: Sequence[LevelProof]
) -> list[int | None]:
    """The least value of each level that the multipliers prove, among plans no worse at the levels before.

    None where they prove nothing at all. Rows and columns are narrowed in place. A bound above the value
    means that the multipliers or the value are wrong; nothing is proved from there on.
    """
    found: list[int | None] = []
    missed: list[bool] = []
    for number, level in enumerate(levels):
        if 2 * columns.upper.count(0) > len(columns.upper):
            columns = columns.made()
        earlier = [(levels[at].value, missed[at]) for at in range(number)]
        summed = _limits(rows, level, earlier)
        least = None
        if summed is not None:
            reduced = _reduced(columns, number, level)
            summed += _saved(columns, reduced)
            least = _values_of(columns, number).from_below(summed, level.scale)
            if least <= level.value:
                gap = level.value * level.scale - summed
                _narrow(columns, reduced, gap)
                _met(rows, level, gap)
                leant = zip(missed, level.multipliers["earlier"], strict=True)
                missed = [miss and -w <= gap for miss, w in leant]
        if level.cases is not None and (least is None or least < level.value):
            values = _values_of(columns, number)
            by_cases = _OneLevel(number, rows, columns, earlier, values).least_of(level.cases)
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


def _values_of(columns: BoundColumns, number: int) -> _Values:
    """Columns that stand fixed give a sum; the others move it by the step that their costs share."""
    costs, lower, upper = columns.costs[number], columns.lower, columns.upper
    taken = zip(costs, lower, upper, strict=True) if any(lower) else ()
    return _Values(
        fixed=sum(cost * low for cost, low, high in taken if low == high),
        step=gcd(*set(compress(costs, map(lt, lower, upper)))) or 1,
    )


@dataclass(frozen=True, slots=True)
class _OneLevel:
    """All that the cases of one level are held against: its number, limits, columns and earlier values."""

    number: int
    rows: Sequence[BoundRow]
    columns: BoundColumns
    earlier: Sequence[tuple[int, bool]]
    values: _Values

    def least_of(
        self, case: CaseProof | CaseSplit, counts: Sequence[tuple[BoundRow, list[bool]]] = ()
    ) -> int | None:
        """Return the least value of a whole plan in this case; None where its multipliers prove nothing.

        ``counts``: the limit of each count that leads to it, and whether it counts each column.
        """
        if isinstance(case, CaseSplit):
            counted = [_counts(figures, case.figures) for figures in self.columns.figures]
            most = sum(compress(self.columns.upper, counted))
            both = (
                (case.fewer, BoundRow(0, case.at_most)),
                (case.more, BoundRow(case.at_most + 1, most)),
            )
            least = [self.least_of(each, (*counts, (row, counted))) for each, row in both]
            return None if None in least else min(b for b in least if b is not None)
        if case.split is not None:
            return self.least_of(case.split, counts)
        if len(case.counts) != len(counts):
            return None
        summed = _limits([*self.rows, *(row for row, _ in counts)], case, self.earlier, case.counts)
        if summed is None:
            return None
        reduced = _reduced(self.columns, self.number, case)
        for y, (_, counted) in zip(case.counts, counts, strict=True):
            reduced = [r - y if one else r for r, one in zip(reduced, counted, strict=True)]
        return self.values.from_below(summed + _saved(self.columns, reduced), case.scale)


def _counts(own_figures: Sequence[int], figures: Sequence[int | None]) -> bool:
    return len(own_figures) == len(figures) and all(
        asked is None or asked == own for asked, own in zip(figures, own_figures, strict=True)
    )


def _limits(
    rows: Sequence[BoundRow],
    level: LevelProof | CaseProof,
    earlier: Sequence[tuple[int, bool]],
    counts: Sequence[int] = (),
) -> int | None:
    """Return what the limits alone come to; ``earlier``: the value of each level before, whether it was
    missed. ``counts``: the multipliers of counts, whose rows stand last.
    """
    total = 0
    for w, (value, missed) in zip(level.multipliers["earlier"], earlier, strict=True):
        if w > 0 and missed:
            return None
        total += w * value
    for row, y in zip(rows, [*_multipliers(level), *counts], strict=True):
        if y > 0:
            if row.lower is None:
                return None
            total += y * row.lower
        else:
            total += y * row.upper
    return total


def _saved(columns: BoundColumns, reduced: Sequence[int]) -> int:
    """Return what the columns add to the limits at the least; negative where they save."""
    told = zip(reduced, columns.lower, columns.upper, strict=True)
    return sum([r * (low if r > 0 else high) for r, low, high in told if r])


def _reduced(columns: BoundColumns, number: int, level: LevelProof | CaseProof) -> list[int]:
    """The reduced cost of each column. Multipliers that are nought, most of them, are left out."""
    scale, y = level.scale, [*_multipliers(level), 0]
    found = [
        scale * cost - y[one] - y[two] - y[three] + y[given]
        for cost, one, two, three, given in zip(
            columns.costs[number], *columns.takes, columns.gives, strict=True
        )
    ]
    of_all = [(y[row], amounts) for row, amounts in columns.amounts.items()]
    of_all += zip(level.multipliers["earlier"], columns.costs, strict=False)
    for w, amounts in of_all:
        if w:
            found = [r - w * amount for r, amount in zip(found, amounts, strict=True)]
    return found


def _narrow(columns: BoundColumns, reduced: Sequence[int], gap: int) -> None:
    for at, r in enumerate(reduced):
        if r > gap:
            columns.upper[at] = columns.lower[at]
        elif -r > gap:
            columns.lower[at] = columns.upper[at]


def _met(rows: Sequence[BoundRow], level: LevelProof, gap: int) -> None:
    for row, y in zip(rows, _multipliers(level), strict=True):
        if y > gap and row.lower is not None:
            row.upper = row.lower
        elif -y > gap:
            row.lower = row.upper
