"""The places of the bindings: on pairs with two alike, and loose, sort by sort."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from fleet.facts.bindings import Binding
from fleet.facts.brakes import Brake, BrakeWidth
from fleet.facts.holes import Side

Sort = tuple[str, BrakeWidth]
"""A sort of binding: pattern and brake in micrometres, None without a brake, or that it is not known."""


def where_bindings_are(bindings: Iterable[Binding]) -> tuple[dict[str, Sort], Counter[Sort]]:
    """Sort on each pair with two alike, and how many pairs of bindings lie loose, sort by sort.

    A lone binding is no pair: its sort does not stand there. A loose one whose brake is not known fits
    nobody knows what: it does not count.
    """
    on: dict[tuple[str, Side], Sort] = {}
    loose: Counter[Sort] = Counter()
    for row in bindings:
        if row.on_pair is not None and row.on_ski is not None:
            on[row.on_pair, row.on_ski] = (row.pattern, row.brake_to_plan)
        elif row.on_pair is None and not row.asks and row.brake_um is not Brake.UNKNOWN:
            loose[row.pattern, row.brake_to_plan] += 1
    alike = {
        tag: sort for (tag, side), sort in on.items() if side is Side.A and on.get((tag, Side.B)) == sort
    }
    return alike, Counter({sort: n // 2 for sort, n in loose.items() if n >= 2})
