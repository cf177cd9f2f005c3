"""The rules of `positions` as arrays: the agreement of positions, and the mounts that a sole reaches."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fleet.base.units import BENCH_STEP_UM
from fleet.facts.patterns import Follows, Pattern
from fleet.facts.spacing import too_near

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

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
