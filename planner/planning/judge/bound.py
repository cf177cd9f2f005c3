"""Weak duality, level after level, in whole numbers: what multipliers of the limits prove.

A level's cost of any plan is at least the sum of limits times multipliers, plus what every column with a
negative reduced cost could still save. Only whole plans count, so the bound is rounded up. Where it meets
the value, a column whose reduced cost is more than the gap between the two cannot leave its bound in any
plan that reaches the value, and a limit whose multiplier is more than the gap is met exactly: the next
level is proved among those plans only. Where the bound misses the value, the plans that are no worse at that
level are what the next one is about: its value then stands as a limit from above, and as no more than that.
No solver, no fractions but over one common scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(slots=True)
class BoundRow:
    """A limit ``lower <= sum <= upper``; ``lower`` None: no limit from below."""

    lower: int | None
    upper: int


@dataclass(slots=True)
class BoundColumn:
    """A choice, made ``lower`` to ``upper`` times: its cost at each level, and (row, coefficient)."""

    costs: tuple[int, ...]
    upper: int
    rows: tuple[tuple[int, int], ...]
    lower: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelClaim:
    """The value claimed, and the multipliers of rows and of earlier levels' values, times ``scale``."""

    value: int
    scale: int
    rows: Sequence[int]
    earlier: Sequence[int]


def proved_bounds(
    rows: Sequence[BoundRow], columns: Sequence[BoundColumn], levels: Sequence[LevelClaim]
) -> list[int | None]:
    """The least value of each level that the multipliers prove, among plans no worse at the levels before.

    None where they prove nothing at all. Rows and columns are narrowed in place. A bound above the value
    means that the multipliers or the value are wrong; nothing is proved from there on.
    """
    found: list[int | None] = []
    left = [c for c in columns if c.lower or c.upper]
    for number, level in enumerate(levels):
        earlier = [(levels[at].value, bound != levels[at].value) for at, bound in enumerate(found)]
        summed = _limits(rows, level, earlier)
        if summed is None:
            found.append(None)
            continue
        reduced = [(c, _reduced(c, number, level)) for c in left]
        summed += sum(r * (column.lower if r > 0 else column.upper) for column, r in reduced)
        found.append(-(-summed // level.scale))
        gap = level.value * level.scale - summed
        if gap < 0:
            return found + [None] * (len(levels) - len(found))
        left = _narrowed(reduced, gap)
        _met(rows, level, gap)
    return found


def _limits(rows: Sequence[BoundRow], level: LevelClaim, earlier: Sequence[tuple[int, bool]]) -> int | None:
    """Return what the limits alone come to; ``earlier``: the value of each level before, whether it was
    missed.
    """
    total = 0
    for w, (value, missed) in zip(level.earlier, earlier, strict=True):
        if w > 0 and missed:
            return None
        total += w * value
    for row, y in zip(rows, level.rows, strict=True):
        if y > 0:
            if row.lower is None:
                return None
            total += y * row.lower
        else:
            total += y * row.upper
    return total


def _reduced(column: BoundColumn, number: int, level: LevelClaim) -> int:
    r = level.scale * column.costs[number]
    for row, coefficient in column.rows:
        r -= level.rows[row] * coefficient
    for earlier, w in enumerate(level.earlier):
        r -= w * column.costs[earlier]
    return r


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
