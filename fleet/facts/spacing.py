"""The distance rule: what a hole keeps from the holes that are there, and which old hole takes which screw.

Each question for one hole and, beside it, for arrays of holes. All lengths are whole micrometres. Squares are
compared and never roots, so that 10.000 mm is allowed and 9.999 mm is not, on every machine. Along means
along the ski, across means sideways. The judge has a rule of its own, on purpose.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isqrt
from typing import TYPE_CHECKING, Any

from fleet.facts.holes import Hole, HoleState, Knowledge
from fleet.facts.patterns import PatternHole
from fleet.facts.policy import Policy

if TYPE_CHECKING:
    from numpy.typing import NDArray

SIGHT_UM = 30_000
"""Farther than any hole asks with all the room that counts: arrays hold all beyond it for alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spacing:
    """The distances that holes keep, centre to centre, by knowledge, state and size of the old hole.

    ``spacing_um`` alone counts between new holes; ``reuse_spacing_um`` alone between a screw that goes into
    an old hole and the other old holes. ``drill_um`` None: construction unknown, its size is on the ski.
    """

    spacing_um: int
    reuse_spacing_um: int
    asked_by_knowledge_um: Mapping[Knowledge, int]
    extra_by_state_um: Mapping[HoleState, int]
    wall_um: int | None
    drill_um: int | None
    shop_drills_um: frozenset[int]

    def asked_um(self, hole: Hole) -> int:
        """Return what a new hole keeps from this old one.

        Spacing, bench error, allowance and what the state adds; with a minimum wall in force at least the
        wall, both radii, bench error and allowance. A diameter that nobody knows counts as the shop's
        largest drill.
        """
        asked = self.asked_by_knowledge_um[hole.knowledge]
        if self.wall_um is not None:
            largest = max(self.shop_drills_um)
            both = (self.drill_um or largest) + (hole.diameter_um or largest)
            asked = max(asked, asked - self.spacing_um + self.wall_um + (both + 1) // 2)
        return asked + self.extra_by_state_um[hole.state]

    def screws_of(self, hole: Hole) -> tuple[int, int]:
        """The diameter of the wood screw and of the thread that may go into this old hole; 0 for none.

        State open or screwed, well enough known, diameter known. An insert takes its own thread only, and
        its diameter must not be a drill for wood screws.
        """
        if not hole.knowledge.may_be_reused or hole.diameter_um is None:
            return 0, 0
        if hole.state is HoleState.INSERT:
            return 0, 0 if hole.diameter_um in self.shop_drills_um else hole.diameter_um
        return (hole.diameter_um if hole.state in (HoleState.OPEN, HoleState.SCREWED) else 0), 0

    def may_reuse(self, hole: Hole, wanted: PatternHole) -> bool:
        """Return whether the wanted screw may go into this old hole, position apart.

        The screw is as thick as this ski's drill; where the construction is unknown, as the pattern lists.
        """
        listed = wanted.diameter_um or 0
        return bool(takes(*self.screws_of(hole), drill_um=self.drill_um or listed, listed_um=listed))


def reuse_spacing_um(policy: Policy) -> int:
    """Return what a screw in an old hole keeps from the other old holes; the spacing where it is not set."""
    own = policy.optional_um("reuse_spacing_mm")
    return policy.um("spacing_mm") if own is None else own


def takes(wood_um: Any, thread_um: Any, *, drill_um: Any, listed_um: int) -> Any:
    """Return whether holes take a screw, by `Spacing.screws_of`; the same words for one hole and for
    arrays.
    """
    return ((wood_um > 0) & (wood_um == drill_um)) | ((thread_um > 0) & (thread_um == listed_um))


def too_near(along_um: Any, across_um: Any, asked_um: Any) -> Any:
    """Return whether two holes are nearer than asked; the same words for one pair of holes and for arrays.

    Arrays must be wide enough for the squares: 64 bits, or distances within the sight.
    """
    return along_um * along_um + across_um * across_um < asked_um * asked_um


def forbidden_half_um(across_um: int, asked_um: int) -> int:
    """A hole so far across is too near while it is no farther along than this; -1: never.

    along² < asked² - across² is, in whole numbers, along <= isqrt(asked² - across² - 1).
    """
    room = asked_um * asked_um - across_um * across_um
    return isqrt(room - 1) if room > 0 else -1


def forbidden_halves_um(across_um: NDArray[Any], asked_um: Any) -> NDArray[Any]:
    """The same for arrays."""
    across = sighted(across_um)
    return _halves(asked_um * asked_um - across * across - 1)


def window_half_um(across_um: int, tolerance_um: int) -> int:
    """A screw so far across goes into the old hole while it is no farther along than this; -1: never."""
    room = tolerance_um * tolerance_um - across_um * across_um
    return isqrt(room) if room >= 0 else -1


def window_halves_um(across_um: NDArray[Any], tolerance_um: int) -> NDArray[Any]:
    """The same for arrays."""
    across = sighted(across_um)
    return _halves(tolerance_um * tolerance_um - across * across)


def _halves(squares: NDArray[Any]) -> NDArray[Any]:
    import numpy as np

    found: NDArray[Any] = np.where(squares >= 0, roots(squares), -1)
    return found


def sighted(distance_um: NDArray[Any]) -> NDArray[Any]:
    """A distance along one axis, no farther than the sight: two squares then fit 32 bits."""
    import numpy as np

    found: NDArray[Any] = np.clip(distance_um, -SIGHT_UM, SIGHT_UM)
    return found


def roots(squares: NDArray[Any]) -> NDArray[Any]:
    """Whole square roots, rounded down; nought below nought.

    The root of a float is exact here: squares below 2**52 are exact as floats, and so is the floor.
    """
    import numpy as np

    found: NDArray[Any] = np.sqrt(np.maximum(squares, 0).astype(np.float64)).astype(squares.dtype)
    return found
