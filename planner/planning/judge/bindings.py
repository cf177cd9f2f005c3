"""The places of the bindings: on pairs with two alike, and loose, sort by sort."""

from collections import Counter
from collections.abc import Iterable

from fleet.facts.holes import Side
from fleet.facts.pairs import Binding, Brake, BrakeWidth, brake_to_plan

Sort = tuple[str, BrakeWidth]
"""A sort of binding: pattern and brake in micrometres, None without a brake, or that it is not known."""


def where_bindings_are(bindings: Iterable[Binding]) -> tuple[dict[str, Sort], Counter[Sort]]:
    """Sort on each pair with two alike, and how many pairs of bindings lie loose, sort by sort.

    A lone binding is no pair: its sort does not stand there. A loose one whose brake is not known fits
    nobody knows what: it does not count.
    """
    on: dict[Side, dict[str, Sort]] = {side: {} for side in Side}
    loose: Counter[Sort] = Counter()
    sorts = _Sorts()
    for row in bindings:
        if row.on_pair is not None and row.on_ski is not None:
            on[row.on_ski][row.on_pair] = sorts[row.pattern, row.brake_um]
        elif row.on_pair is None and not row.asks and row.brake_um is not Brake.UNKNOWN:
            loose[sorts[row.pattern, row.brake_um]] += 1
    alike = {tag: sort for tag, sort in on[Side.A].items() if on[Side.B].get(tag) == sort}
    return alike, Counter({sort: n // 2 for sort, n in loose.items() if n >= 2})


class _Sorts(dict[Sort, Sort]):
    """The sort as plans count it, by pattern and brake as they are recorded."""

    def __missing__(self, recorded: Sort) -> Sort:
        self[recorded] = (recorded[0], brake_to_plan(recorded[1]))
        return self[recorded]
