"""The compatibility graph of a pattern on a pair: positions that agree, and positions that make a mount.

The rules of `positions` as arrays, answers kept that thousands of skis need again, and the most positions
that all agree.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.patterns import Follows, Pattern
from fleet.facts.spacing import too_near
from planner.geometry.life.positions import Position, apart_um, offsets_um
from planner.geometry.placement.rule import Rule

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class AgreementCache:
    """A cache of the positions that agree and of those that make a mount, for one pattern and
    construction.
    """

    def __init__(self, pattern: Pattern, rule: Rule, bsls_um: Sequence[int]) -> None:
        self.pattern = pattern
        self.rule = rule
        self.bsls_um = sorted({b for b in bsls_um if pattern.takes_bsl(b)})
        self._asked_um = apart_um(rule)
        self._agreement: dict[tuple[Roles, Roles], NDArray[np.bool_]] = {}
        self._place: dict[tuple[int, ...], tuple[int, int] | None] = {}

    def agreement(self, one: Roles, other: Roles) -> NDArray[np.bool_]:
        """Return `agreement` for this rule's spacing."""
        key = one, other
        if key not in self._agreement:
            self._agreement[key] = agreement(one, other, self._asked_um)
        return self._agreement[key]

    def place(self, references_um: tuple[int, ...]) -> tuple[int, int] | None:
        """Return (bsl, offset) nearest the mark, µm, for pieces at these places; None if no sole of the fleet
        fits.
        """
        if references_um in self._place:
            return self._place[references_um]
        best: tuple[int, int] | None = None
        for bsl in self.bsls_um:
            span = offsets_um(self.pattern, references_um, bsl, self.rule.limit_um)
            if span is not None:
                u = min(max(0, span[0]), span[1])
                if best is None or abs(u) < abs(best[1]):
                    best = (bsl, u)
        self._place[references_um] = best
        return best


Roles = tuple[tuple[int, int], ...]
"""(x, y) of the holes that a position drills, relative to its piece, micrometres."""


def agreement(one: Roles, other: Roles, asked_um: int) -> NDArray[np.bool_]:
    """Return True for every step d of the bench at which holes of ``one`` at 0 and of ``other`` at d keep
    ``asked_um``.

    The middle of the table is d = 0; beyond its ends they always do.
    """
    import numpy as np

    apart = [(bx - ax, by - ay) for ax, ay in one for bx, by in other]
    reach = (max(abs(x) for x, _ in apart) + asked_um) // BENCH_STEP_UM + 1
    d = np.arange(-reach, reach + 1, dtype=np.int64) * BENCH_STEP_UM
    fine = np.ones(d.shape, dtype=bool)
    for x, y in set(apart):
        fine &= ~too_near(d + x, y, asked_um)
    return fine


def looked_up(
    table: NDArray[np.bool_], ones_um: NDArray[np.int64], others_um: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Return the table's answers, (len(ones), len(others)). All places are multiples of the bench's step."""
    import numpy as np

    reach = len(table) // 2
    steps = (others_um[None, :] - ones_um[:, None]) // BENCH_STEP_UM
    answers: NDArray[np.bool_] = table[np.clip(steps, -reach, reach) + reach]
    return answers


def nearest_the_mark(
    pattern: Pattern, places_um: Sequence[NDArray[np.int64]], bsls_um: Sequence[int], limit_um: int
) -> NDArray[np.int64]:
    """Return the smallest |offset| (µm) that some sole reaches, one axis for each piece; -1 where no sole
    fits.

    The exact rule of `positions.offsets_um` for every combination of places at once.
    """
    import numpy as np

    shape = tuple(len(places) for places in places_um)
    nearest = np.full(shape, limit_um + 1, dtype=np.int64)
    marks = np.ones(shape, dtype=bool)
    ends = []
    for axis, (piece, places) in enumerate(zip(pattern.pieces, places_um, strict=True)):
        along = places.reshape([-1 if k == axis else 1 for k in range(len(shape))])
        low, high = along - piece.back_um, along + piece.forward_um
        if piece.follows is Follows.MARK:
            marks &= (low <= 0) & (high >= 0)
        else:
            ends.append((piece.follows, low, high))
    # Soles of the same half length reach the same: an odd micrometre is cut by both.
    for half in sorted({bsl // 2 for bsl in bsls_um}):
        low_most: NDArray[np.int64] | int = -limit_um
        high_most: NDArray[np.int64] | int = limit_um
        for follows, low, high in ends:
            end = {Follows.TOE: half, Follows.HEEL: -half, Follows.CENTRE: 0}[follows]
            low_most = np.maximum(low_most, low - end)
            high_most = np.minimum(high_most, high - end)
        distance = np.maximum(0, np.maximum(low_most, -np.asarray(high_most)))
        nearest = np.where(np.asarray(low_most) <= high_most, np.minimum(nearest, distance), nearest)
    return np.where(marks & (nearest <= limit_um), nearest, -1)


def most_agreeing(
    agrees: Sequence[int], free: int, known: dict[int, int], step: Callable[[], None] = lambda: None
) -> int:
    """Return the size of a largest set of agreeing nodes within ``free``.

    ``agrees[v]`` has a bit for every node that agrees with v. Agreement of positions along a line depends
    on nearby positions only, so after a choice the remaining sets repeat: ``known`` holds what they came to.
    ``step`` is called for each set that is not known yet.
    """
    if not free:
        return 0
    if free not in known:
        step()
        # the lowest set bit: positions ascend along the ski; free & (free - 1) is the set without it
        v = (free & -free).bit_length() - 1
        rest = free & (free - 1)
        size = 1 + most_agreeing(agrees, rest & agrees[v], known, step)
        # A node that disagrees with nothing left is always taken; else the other branch is looked at.
        if rest & ~agrees[v]:
            size = max(size, most_agreeing(agrees, rest, known, step))
        known[free] = size
    return known[free]


def bits(mask: int) -> list[int]:
    """Return the node numbers of a bit set, ascending."""
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found


Combination = tuple[int, ...]
"""A mount as the numbers of its positions, one for each piece."""


class CompatibilityGraph:
    """Positions of one pattern on one pair. Two agree if both may be used; some together make a mount."""

    def __init__(self, cache: AgreementCache, positions: Sequence[Position]) -> None:
        self.cache = cache
        self.positions = list(positions)
        self.by_piece: list[list[int]] = [[] for _ in cache.pattern.pieces]
        for v, position in enumerate(self.positions):
            self.by_piece[position.piece].append(v)

    @cached_property
    def combinations(self) -> NDArray[np.int64]:
        """Every mount of agreeing positions that adds a hole: one row a mount, one column a piece."""
        return self._ranked[0]

    @cached_property
    def mounts(self) -> list[Combination]:
        """The rows of ``combinations`` as tuples of position numbers."""
        return [tuple(row) for row in self.combinations.tolist()]

    @cached_property
    def from_mark_um(self) -> NDArray[np.int64]:
        """The smallest distance of the boot centre from the mark for each mount, µm."""
        return self._ranked[1]

    @cached_property
    def references_um(self) -> NDArray[np.int64]:
        """The place of each position, µm from the pair's reference."""
        import numpy as np

        return np.array([p.reference_um for p in self.positions], dtype=np.int64)

    @cached_property
    def _ranked(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        import numpy as np

        pieces = [np.array(piece, dtype=np.int64) for piece in self.by_piece]
        if not all(len(piece) for piece in pieces):
            return np.zeros((0, len(pieces)), dtype=np.int64), np.zeros(0, dtype=np.int64)
        places = [self.references_um[piece] for piece in pieces]
        cache = self.cache
        nearest = nearest_the_mark(cache.pattern, places, cache.bsls_um, cache.rule.limit_um)
        found = np.nonzero(nearest >= 0)
        rows = np.stack([piece[index] for piece, index in zip(pieces, found, strict=True)], axis=1)
        new = np.array([p.is_new for p in self.positions], dtype=bool)
        kept = new[rows].any(axis=1)
        for a, b in combinations(range(len(pieces)), 2):
            kept &= self.agree_matrix[rows[:, a], rows[:, b]]
        return rows[kept], nearest[found][kept]

    @cached_property
    def useful(self) -> int:
        """The positions that some mount uses, as a bit set."""
        return sum(1 << v for v in set(self.combinations.ravel().tolist()))

    @cached_property
    def agree_matrix(self) -> NDArray[np.bool_]:
        """The (positions, positions) table: True if both may be used in one life; False on the diagonal."""
        import numpy as np

        matrix = np.ones((len(self.positions), len(self.positions)), dtype=bool)
        alike: dict[Roles, list[int]] = {}
        standing_on: dict[str, list[int]] = {}
        for v, position in enumerate(self.positions):
            if position.is_new:
                alike.setdefault(position.roles, []).append(v)
            for hole in position.reuses:
                standing_on.setdefault(hole, []).append(v)
        classes = list(alike.items())
        for index, (one, ones) in enumerate(classes):
            for other, others in classes[: index + 1]:
                table = self.cache.agreement(one, other)
                fine = looked_up(table, self.references_um[ones], self.references_um[others])
                matrix[np.ix_(ones, others)] = fine
        matrix &= matrix.T
        for upon in standing_on.values():
            matrix[np.ix_(upon, upon)] = False
        np.fill_diagonal(matrix, val=False)
        return matrix

    @cached_property
    def agrees(self) -> list[int]:
        """A bit set for each position: the other positions that may be used in the same life."""
        import numpy as np

        packed = np.packbits(self.agree_matrix, axis=1, bitorder="little")
        return [int.from_bytes(row.tobytes(), "little") for row in packed]

    def upper_bound(self, achieved: int = 0) -> int:
        """Return an upper bound: the largest set of agreeing positions of the piece that has the fewest.

        Looks no further once a piece allows no more than what is ``achieved``.
        """
        bound: int | None = None
        for piece in sorted(self.by_piece, key=len):
            allowed = sum(1 << v for v in piece) & self.useful
            size = most_agreeing(self.agrees, allowed, {})
            bound = size if bound is None else min(bound, size)
            if bound <= achieved:
                break
        return bound or 0
