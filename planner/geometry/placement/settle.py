"""One offset for a combination of stands: the best range of the boot centre, and the order of trials."""

from collections.abc import Iterator

from fleet.base.units import BENCH_STEP_UM
from planner.geometry.placement.intervals import Interval


def fitting_range(hard: Interval, fits: list[Interval]) -> Interval:
    """Return the offsets (µm) at which the reused pieces fit best.

    Where all stand at their own place: those offsets; else the middle of what they disagree about; ``hard``
    where nothing is reused. The result may lie outside ``hard``: then the pieces' own places and the new
    holes do not go together.
    """
    low = max((fit[0] for fit in fits), default=hard[0])
    high = min((fit[1] for fit in fits), default=hard[1])
    if low > high:
        low = high = _middle(low, high)
    return low, high


def _middle(low: int, high: int) -> int:
    total = low + high
    # // rounds down; below 0 that is away from the mark, so the sign is taken out first
    return total // 2 if total >= 0 else -(-total // 2)


def candidates(hard: Interval, best: Interval) -> Iterator[int]:
    """Yield the offsets to try, best first.

    First half millimetres of the best range, by size; if it is too narrow to hold one, half millimetres
    within a quarter beside it; at last the exact offset nearest the mark.
    """
    if half_steps(*best):
        inside = half_steps(max(best[0], hard[0]), min(best[1], hard[1]))
        yield from sorted(inside, key=lambda u: (abs(u), u))
    else:
        quarter = BENCH_STEP_UM // 2
        beside = half_steps(max(hard[0], best[0] - quarter), min(hard[1], best[1] + quarter))
        yield from sorted(beside, key=lambda u: (max(best[0] - u, u - best[1]), abs(u), u))
    low, high = max(best[0], hard[0]), min(best[1], hard[1])
    exact = min(max(0, low), high)
    if low <= high and exact % BENCH_STEP_UM:
        yield exact


def half_steps(low: int, high: int, *, base_um: int = 0) -> range:
    """Return the values in the closed range that lie a whole number of half millimetres from the base."""
    first = low + (base_um - low) % BENCH_STEP_UM
    return range(first, high + 1, BENCH_STEP_UM)
