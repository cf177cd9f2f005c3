"""Questions that thousands of skis ask again, answered once for a pattern, a rule and the fleet's soles."""

from __future__ import annotations

from collections.abc import Sequence

from fleet.patterns import Pattern
from planner.life.positions import Position, agree, apart_um, offsets_um
from planner.placement.rule import Rule


class Memory:
    """Remembers which positions agree and which make a mount. One for each pattern and construction."""

    def __init__(self, pattern: Pattern, rule: Rule, bsls_um: Sequence[int]) -> None:
        self.pattern = pattern
        self.rule = rule
        self.bsls_um = sorted({b for b in bsls_um if pattern.takes_bsl(b)})
        self._asked_um = apart_um(rule)
        self._agree: dict[tuple[object, ...], bool] = {}
        self._place: dict[tuple[int, ...], tuple[int, int] | None] = {}

    def agree(self, a: Position, b: Position) -> bool:
        """As `positions.agree`; the spacing depends on the pieces, their roles and their distance only."""
        if not a.reuses.isdisjoint(b.reuses):
            return False
        key = (
            a.piece,
            b.piece,
            b.reference_um - a.reference_um,
            a.roles,
            b.roles,
        )
        known = self._agree.get(key)
        if known is None:
            known = self._agree[key] = agree(a, b, self._asked_um)
        return known

    def place(self, references_um: tuple[int, ...]) -> tuple[int, int] | None:
        """(bsl, offset) nearest the mark for pieces at these places, None if no sole of the fleet fits."""
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
