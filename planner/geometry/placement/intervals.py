"""Interval sets: whole numbers as sorted, disjoint (low, high) pairs; both ends belong to the set."""

from collections.abc import Iterable, Sequence

Interval = tuple[int, int]
EVERYWHERE: Interval = (-(10**12), 10**12)
"""Beyond every ski, in micrometres."""


def union(parts: Iterable[Interval]) -> list[Interval]:
    """Return the set, sorted and merged. Neighbours one micrometre apart are merged: nothing lies between
    them.
    """
    merged: list[Interval] = []
    for low, high in sorted(parts):
        if merged and low <= merged[-1][1] + 1:
            if high > merged[-1][1]:
                merged[-1] = (merged[-1][0], high)
        else:
            merged.append((low, high))
    return merged


def intersection(one: Sequence[Interval], other: Sequence[Interval]) -> list[Interval]:
    """Return the numbers that both sets hold, by two pointers over sorted sets."""
    found: list[Interval] = []
    i = j = 0
    while i < len(one) and j < len(other):
        low, high = max(one[i][0], other[j][0]), min(one[i][1], other[j][1])
        if low <= high:
            found.append((low, high))
        if one[i][1] < other[j][1]:
            i += 1
        else:
            j += 1
    return found


def without(kept: Sequence[Interval], taken: Iterable[Interval]) -> list[Interval]:
    """Return the first set minus the second."""
    left: list[Interval] = []
    holes = union(taken)
    first = 0
    for low, high in kept:
        while first < len(holes) and holes[first][1] < low:
            first += 1
        start, at = low, first
        while at < len(holes) and holes[at][0] <= high:
            if holes[at][0] > start:
                left.append((start, holes[at][0] - 1))
            start = holes[at][1] + 1
            at += 1
        if start <= high:
            left.append((start, high))
    return left


def holds(parts: Iterable[Interval], value: int) -> bool:
    """Return True if the value belongs to the set."""
    return any(low <= value <= high for low, high in parts)
