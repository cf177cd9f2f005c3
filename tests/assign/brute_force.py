"""Every plan of a small fleet, tried one after the other; shares nothing with the solver."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from decimal import Decimal

from fleet.facts.boots import Boot
from fleet.facts.pairs import Pair
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.plan.values import Rung, Way
from tests.assign.builders import HandMadeWays

Row = tuple[str, str, str, str, int, bool, Way]
"""wish, boot, pair, pattern, brake (-1: none), own binding, way"""


def best(
    fleet: Fleet, ways: HandMadeWays, minutes_limit: int | None, parts_limit: Decimal | None = None
) -> tuple[list[int], set[tuple]]:
    """The levels' values, and of every plan that reaches them the sorted (wish, boot, pair, way ...)."""
    rows = list(_rows(fleet, ways))
    search = _Search(fleet, rows, minutes_limit, parts_limit)
    search.run(0, [])
    assert search.best is not None
    return search.best


def _rows(fleet: Fleet, ways: HandMadeWays) -> Iterator[Row]:
    on = _on_pairs(fleet)
    sorts = {(b.pattern, -1 if b.brake_um is None else b.brake_um) for b in fleet.bindings.values()}
    fits = {(f.sole_type, f.pattern) for f in fleet.fits}
    slack = fleet.policy.um("brake_over_waist_max_mm")
    for wish in fleet.wishes:
        for boot in fleet.boots.values():
            for pair in fleet.pairs.values():
                if not _asked(wish, boot, pair):
                    continue
                for name, brake in sorted(sorts):
                    own = on.get(pair.tag) == (name, brake)
                    if (boot.sole_type, name) not in fits:
                        continue
                    if brake >= 0 and pair.waist_um is None and not own:
                        continue
                    if brake >= 0 and pair.waist_um and not pair.waist_um <= brake <= pair.waist_um + slack:
                        continue
                    for way in ways(
                        pair=pair,
                        pattern=fleet.patterns[name],
                        bsl_um=boot.bsl_um or 0,
                        policy=fleet.policy,
                        mounted=own,
                    ):
                        yield wish.wish, boot.tag, pair.tag, name, brake, own, way


def _asked(wish: Wish, boot: Boot, pair: Pair) -> bool:
    size = boot.mondopoint_mm or 0
    return (
        wish.kind is pair.kind
        and wish.length_min_mm <= pair.length_mm <= wish.length_max_mm
        and wish.mondopoint_min_mm <= size <= wish.mondopoint_max_mm
    )


def _on_pairs(fleet: Fleet) -> dict[str, tuple[str, int]]:
    found: dict[str, list[tuple[str, int]]] = {}
    for b in fleet.bindings.values():
        if b.on_pair:
            found.setdefault(b.on_pair, []).append((b.pattern, -1 if b.brake_um is None else b.brake_um))
    return {tag: sorts[0] for tag, sorts in found.items() if len(sorts) == 2 and sorts[0] == sorts[1]}


class _Search:
    def __init__(
        self, fleet: Fleet, rows: list[Row], minutes_limit: int | None, parts_limit: Decimal | None
    ) -> None:
        self.fleet, self.minutes_limit, self.parts_limit = fleet, minutes_limit, parts_limit
        self.pairs = sorted(fleet.pairs)
        self.by_pair = {tag: [r for r in rows if r[2] == tag] for tag in self.pairs}
        self.on = _on_pairs(fleet)
        loose = Counter(
            (b.pattern, -1 if b.brake_um is None else b.brake_um)
            for b in fleet.bindings.values()
            if b.on_pair is None
        )
        self.stock = {k: n // 2 for k, n in loose.items()}
        self.priority = {w.wish: w.priority for w in fleet.wishes}
        self.quantity = {w.wish: w.quantity for w in fleet.wishes}
        self.cap = fleet.policy.um("clearance_counted_max_mm")
        self.take_off = int(fleet.policy.number("minutes_take_off"))
        self.best: tuple[list[int], set[tuple]] | None = None
        self.boots: set[str] = set()
        self.wishes: Counter[str] = Counter()

    def run(self, index: int, chosen: list[Row]) -> None:
        if index == len(self.pairs):
            self._compare(chosen)
            return
        self.run(index + 1, chosen)
        for row in self.by_pair[self.pairs[index]]:
            if row[1] in self.boots or self.wishes[row[0]] == self.quantity[row[0]]:
                continue
            self.boots.add(row[1])
            self.wishes[row[0]] += 1
            self.run(index + 1, [*chosen, row])
            self.boots.remove(row[1])
            self.wishes[row[0]] -= 1

    def _compare(self, chosen: list[Row]) -> None:
        strips = self._strips(chosen)
        if strips is None:
            return
        minutes = sum(r[6].minutes for r in chosen) + strips * self.take_off
        if self.minutes_limit is not None and minutes > self.minutes_limit:
            return
        if self.parts_limit is not None and sum(map(self._parts, chosen)) > self.parts_limit:
            return
        served = Counter(self.priority[r[0]] for r in chosen)
        value = [-served[p] for p in sorted(set(self.priority.values()))]
        value.append(sum(r[6].drilled for r in chosen))
        value.append(minutes)
        value.append(sum(abs(r[6].offset_um) for r in chosen))
        value.append(
            -sum(self.cap if r[6].clearance_um is None else min(r[6].clearance_um, self.cap) for r in chosen)
        )
        if self.best is not None and value > self.best[0]:
            return
        rows = sorted((w, b, p, y.rung.rank, n, not own, brake) for w, b, p, n, brake, own, y in chosen)
        tuples = tuple([r[:-1] for r in rows] + [r[-1:] for r in rows])
        if self.best is None or value < self.best[0]:
            self.best = (value, set())
        self.best[1].add(tuples)

    def _parts(self, row: Row) -> Decimal:
        """New holes, screws into old holes and plugs at their prices; nothing where no screw is touched."""
        way, price = row[6], self.fleet.policy.number
        if way.rung in (Rung.AS_IS, Rung.ADJUST):
            return Decimal(0)
        screws = 2 * sum(len(piece.holes) for piece in self.fleet.patterns[way.pattern].pieces)
        return (
            way.drilled * price("price_new_hole")
            + (screws - way.drilled) * price("price_reused_hole")
            + way.plugged * price("price_plug")
        )

    def _strips(self, chosen: list[Row]) -> int | None:
        """Pairs left flat for their binding, or None if the bindings do not suffice."""
        needed: Counter[tuple[str, int]] = Counter()
        freed: Counter[tuple[str, int]] = Counter()
        idle = Counter(sort for tag, sort in self.on.items() if tag not in {r[2] for r in chosen})
        for row in chosen:
            if not row[5]:
                needed[row[3], row[4]] += 1
                if row[2] in self.on:
                    freed[self.on[row[2]]] += 1
        strips = 0
        for sort, count in needed.items():
            more = max(0, count - self.stock.get(sort, 0) - freed[sort])
            if more > idle[sort]:
                return None
            strips += more
        return strips
