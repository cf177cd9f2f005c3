"""A cache for life left: answers that thousands of skis need again, for one pattern, rule and set of
soles.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fleet.facts.patterns import Pattern
from planner.geometry.life.grid import Roles, agreement, nearest_the_mark
from planner.geometry.life.positions import apart_um, offsets_um
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
        """Return `grid.agreement` for this rule's spacing."""
        key = one, other
        if key not in self._agreement:
            self._agreement[key] = agreement(one, other, self._asked_um)
        return self._agreement[key]

    def nearest(self, places_um: Sequence[NDArray[np.int64]]) -> NDArray[np.int64]:
        """Return `grid.nearest_the_mark` for this pattern and the fleet's soles."""
        return nearest_the_mark(self.pattern, places_um, self.bsls_um, self.rule.limit_um)

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
