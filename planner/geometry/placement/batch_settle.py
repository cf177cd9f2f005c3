"""The offset of a combination, for many at once: `settle` and `ways` in half millimetres and bits.

The offsets of a sole are bits of one number, in the order in which they are tried where a half millimetre
fits: 0, then half a millimetre toward the tail, toward the tip, and so on. The lowest bit left is taken.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.patterns import Piece
from planner.geometry.placement.batch_rooms import BatchRooms
from planner.geometry.placement.hole_table import Bools, Long, Rows

_QUARTER_UM = BENCH_STEP_UM // 2


@dataclass(frozen=True, slots=True)
class Ranges:
    """Closed ranges of offsets, one a combination: ``hard`` must hold; ``best`` is that of
    `fitting_range`.
    """

    hard_low: Long
    hard_high: Long
    best_low: Long
    best_high: Long


def ranges(hard_low: Long, hard_high: Long, fit_low: Long, fit_high: Long) -> Ranges:
    """Return the ranges of `fitting_range`: where reused pieces disagree, the middle, rounded toward the
    mark.
    """
    total = fit_low + fit_high
    middle = np.sign(total) * (np.abs(total) // 2)
    apart = fit_low > fit_high
    return Ranges(hard_low, hard_high, np.where(apart, middle, fit_low), np.where(apart, middle, fit_high))


@dataclass(frozen=True, slots=True)
class _Steps:
    """``first`` to ``last``: the half millimetres to try; ``inside``: they lie in the best range.

    ``low`` to ``high``: where the exact offset may lie, the best range within the hard one.
    """

    inside: Bools
    first: Long
    last: Long
    low: Long
    high: Long


def _steps(of: Ranges) -> _Steps:
    # -(-a // b) rounds up, a // b down: the first and the last half millimetre inside
    inside = -(-of.best_low // BENCH_STEP_UM) <= of.best_high // BENCH_STEP_UM
    beside = np.where(inside, 0, _QUARTER_UM)
    first = -(-np.maximum(of.hard_low, of.best_low - beside) // BENCH_STEP_UM)
    last = np.minimum(of.hard_high, of.best_high + beside) // BENCH_STEP_UM
    return _Steps(
        inside,
        first,
        last,
        np.maximum(of.best_low, of.hard_low),
        np.minimum(of.best_high, of.hard_high),
    )


def _off_best(of: Ranges, step: Long) -> tuple[Long, Long]:
    """Return the rank of a half millimetre beside the best range; neighbours differ in it."""
    u = step * BENCH_STEP_UM
    return np.maximum(of.best_low - u, u - of.best_high), np.abs(u)


def _first_of_two(of: Ranges, one: Long, other: Long) -> Bools:
    """Return True where ``one`` is tried before ``other``."""
    a, b = _off_best(of, one), _off_best(of, other)
    found: Bools = (a[0] < b[0]) | ((a[0] == b[0]) & (a[1] < b[1]))
    return found


def first_offset(of: Ranges) -> tuple[Bools, Long]:
    """Return the first offset tried if every offset is legal, as (found, offset)."""
    steps = _steps(of)
    some = steps.first <= steps.last
    nearest = np.clip(0, steps.first, np.maximum(steps.first, steps.last))
    beside = np.where(_first_of_two(of, steps.first, steps.last), steps.first, steps.last)
    exact = np.minimum(np.maximum(0, steps.low), steps.high)
    has_exact = (steps.low <= steps.high) & (exact % BENCH_STEP_UM != 0)
    u = np.where(some, np.where(steps.inside, nearest, beside) * BENCH_STEP_UM, exact)
    return some | has_exact, u


class OffsetBits:
    """Bit sets over the offsets from ``-most`` to ``most`` half millimetres."""

    def __init__(self, most: int) -> None:
        """Take ``most``, 31 at most, so that all bits fit a whole number of 64."""
        self.most = most
        offered = np.arange(-most, most + 1)
        bit = np.int64(1) << place_of(offered)
        sums = np.concatenate([[0], np.cumsum(bit)])
        self._of_range = np.maximum(sums[None, 1:] - sums[:-1, None], 0)

    def legal(self, rooms: BatchRooms, ends: Long) -> Long:
        """Return a bit set (pairs, soles) of the offsets at which a free piece has room."""
        found = np.zeros((len(rooms.best), len(ends)), np.int64)
        there = (rooms.best >= 0).astype(np.int64)
        for step in range(-self.most, self.most + 1):
            found |= there[:, ends + step - rooms.start_at] << int(place_of(np.int64(step)))
        return found

    def within(self, first: Long, last: Long) -> Long:
        """Return the bits from ``first`` to ``last`` half millimetres; none where first is above last."""
        low, high = np.clip(first, -self.most, self.most), np.clip(last, -self.most, self.most)
        there = (first <= last) & (first <= self.most) & (last >= -self.most)
        return np.where(there, self._of_range[low + self.most, high + self.most], 0)

    def has(self, bits: Long, step: Long) -> Bools:
        """Return True where the bit of a half millimetre is set."""
        inside = np.abs(step) <= self.most
        found: Bools = inside & (bits >> place_of(np.where(inside, step, 0)) & 1 == 1)
        return found


def place_of(step: NDArray[np.int64] | np.int64) -> Long:
    """Return the rank of an offset in the order 0, -1, 1, -2, 2 ... (half millimetres)."""
    return 2 * np.abs(step) - (step < 0)


def lowest(bits: Long) -> Long:
    """Return the half millimetre of the lowest set bit; 0 where none is set."""
    # bits & -bits leaves the lowest set bit alone; frexp gives its exponent for a whole array at once.
    # Exact: a float holds every power of two below 2**63.
    place = np.frexp((bits & -bits).astype(np.float64))[1].astype(np.int64) - 1
    size = (place + 1) // 2
    return np.where(place % 2 == 1, -size, size)


@dataclass(frozen=True, slots=True)
class Tried:
    """The offsets chosen where one piece is free. Steps are half millimetres.

    ``settled``: something is, at ``first``; ``again``: stretches that ``first`` does not reach may take
    ``second``. Stretches that take neither may stand at an exact offset from ``low`` to ``high``, beside
    the half millimetres ``below`` and ``above`` of which none was ``taken``.
    """

    settled: Bools
    first: Long
    again: Bools
    second: Long
    low: Long
    high: Long
    below_tried: Bools
    above_tried: Bools
    taken: Bools

    @property
    def below(self) -> Long:
        """The half millimetre before the exact offsets."""
        return self.low // BENCH_STEP_UM

    @property
    def above(self) -> Long:
        """The half millimetre after the exact offsets."""
        return -(-self.high // BENCH_STEP_UM)

    @property
    def between(self) -> Bools:
        """True where all exact offsets lie between two neighbouring half millimetres of which neither is
        taken.
        """
        some = (self.low <= self.high) & (self.low % BENCH_STEP_UM != 0) & (self.high % BENCH_STEP_UM != 0)
        found: Bools = some & (self.above - self.below == 1) & ~self.taken
        return found

    @property
    def nearest(self) -> Long:
        """The exact offset nearest the mark."""
        return np.minimum(np.maximum(0, self.low), self.high)


def tried(of: Ranges, bits: Long, offsets: OffsetBits) -> Tried:
    """Return the offsets that combinations with one free piece take; ``bits``: the offsets where it has
    room.
    """
    steps = _steps(of)
    left = bits & offsets.within(steps.first, steps.last)
    settled = left != 0
    first = lowest(left)
    mirrored = steps.inside & (first < 0) & offsets.has(left, -first)
    two = ~steps.inside & (steps.first < steps.last) & settled
    earlier = _first_of_two(of, steps.first, steps.last)
    one = np.where(earlier, steps.first, steps.last)
    other = np.where(earlier, steps.last, steps.first)
    one_open = offsets.has(left, one)
    both = two & one_open & offsets.has(left, other)
    below, above = steps.low // BENCH_STEP_UM, -(-steps.high // BENCH_STEP_UM)
    return Tried(
        settled=settled,
        first=np.where(two, np.where(one_open, one, other), first),
        again=mirrored | both,
        second=np.where(both, other, -first),
        low=steps.low,
        high=steps.high,
        below_tried=(steps.first <= below) & (below <= steps.last),
        above_tried=(steps.first <= above) & (above <= steps.last),
        taken=offsets.has(left, below) | offsets.has(left, above),
    )


def just_out_of_reach(
    rooms: BatchRooms, piece: Piece, pair: Rows, end: Long, found: Tried
) -> tuple[Bools, Bools]:
    """(beyond the top, before the foot) of the exact offsets: a stretch that begins there, less than a
    quarter away, so that an exact offset may reach it and be printed as a place of it.
    """
    back, forward = piece.back_um // BENCH_STEP_UM, piece.forward_um // BENCH_STEP_UM
    some = found.low <= found.high

    def legal(step: Long) -> Bools:
        k = step - rooms.start
        inside = (k >= 0) & (k < rooms.room.shape[1])
        found: Bools = inside & (rooms.room[pair, np.where(inside, k, 0)] >= 0)
        return found

    top = found.above - 1 + end + back
    at_top = some & (found.high % BENCH_STEP_UM >= _QUARTER_UM) & ~found.above_tried
    foot = found.below + 1 + end - forward
    rest = found.low % BENCH_STEP_UM
    at_foot = some & (rest > 0) & (rest <= _QUARTER_UM) & ~found.below_tried
    return at_top & ~legal(top) & legal(top + 1), at_foot & ~legal(foot) & legal(foot - 1)
