"""The certificate of a plan, checked against the fleet: limits counted anew, sums in whole numbers.

Two checks share the sums. Given every way there could be (`proved_levels` with ``ways``), they prove that no
plan is better: made when the plan is made, and by tests from ways listed pair by pair. A plan read back from
a file has only its own sets (`judge_certificate`): then it is shown that the limits are those of the fleet,
that the sums of limits give the values, and that the plan's own ways are charged what they cost; it is NOT
shown that no way left out of the file is cheaper, because that needs the geometry of every pair again.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from operator import attrgetter
from typing import NamedTuple

from fleet.facts.kinds import Kind, Kinds
from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from planner.plan.objective import (
    COST_LEVELS,
    DRILLED,
    GROUPS,
    IF_COUNTED,
    MINUTES,
    CaseProof,
    Certificate,
    Level,
    LevelProof,
    Sort,
    cost_levels,
    counted_in,
    gap_percent,
    levels_of,
    of_every_level,
)
from planner.plan.values import Plan, Way
from planner.planning.judge.bound import (
    NO_ROW,
    BoundColumns,
    BoundRow,
    proved_bounds,
)
from planner.planning.judge.limits import Objection, parts_cents
from planner.planning.judge.set_check import Facts


class Count(NamedTuple):
    """The judge's own sum at a level: for a way, with the cap on clearance, and for a stripped pair."""

    way: Callable[[Way, int], int]
    strip: Callable[[int], int] = lambda minutes: 0


COUNT_OF = of_every_level(
    {
        "mount_worth": Count(lambda way, cap: way.mount_worth),
        "drilled": Count(lambda way, cap: way.drilled),
        "minutes": Count(lambda way, cap: way.minutes, strip=lambda minutes: minutes),
        "offset_um": Count(lambda way, cap: abs(way.offset_um)),
        "clearance_lost_um": Count(
            lambda way, cap: 0 if way.clearance_um is None else max(0, cap - way.clearance_um)
        ),
        "room_lost": Count(
            lambda way, cap: 0 if way.room is None else max(0, way.room.before - way.room.kept)
        ),
    }
)
"""Apart from the solver's costs: of the plan's ways, which `set_check` holds against the coordinates."""


_MINUTES_AT, _DRILLED_AT = (COST_LEVELS.index(level) for level in (MINUTES, DRILLED))


@dataclass(frozen=True, slots=True, kw_only=True)
class PossibleWays:
    """Ways by numbers of the certificate's classes, one place in every list a way.

    ``brakes`` -1: the pair keeps its own binding. ``costs``: a list for each of `COST_LEVELS`.
    ``parts_cents``: what the parts of a way cost, in hundredths.
    """

    pair: list[int]
    boot: list[int]
    brakes: list[int]
    costs: list[list[int]]
    parts_cents: list[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """The budget of a plan: bench minutes, and hundredths of money on parts; None: as much as it takes."""

    minutes: int | None
    parts_cents: int | None


class BadCertificate(Exception):
    """The certificate speaks of another fleet, or of nothing."""


def levels_told(fleet: Fleet, plan: Plan) -> tuple[Level, ...]:
    """The levels of the objective in order, those of room and worth where the plan counted them."""
    return levels_of((w.priority for w in fleet.wishes), counted_in(plan.totals))


def level_values(fleet: Fleet, plan: Plan) -> tuple[int, ...]:
    """Return what the plan's sets come to at each level, all to be small."""
    cap = fleet.policy.um("clearance_counted_max_mm")
    priority = {w.wish: w.priority for w in fleet.wishes}
    served = Counter(priority.get(s.wish) for s in plan.sets)
    ways, strips = [s.way for s in plan.sets], [s.strip_minutes for s in plan.sets if s.strip_minutes]
    found = []
    for level in levels_told(fleet, plan):
        if level.priority is None:
            count = COUNT_OF[level.name]
            found.append(sum([count.way(way, cap) for way in ways]) + sum(map(count.strip, strips)))
        else:
            found.append(-served[level.priority])
    return tuple(found)


def proved_levels(
    fleet: Fleet, certificate: Certificate, budget: Budget, ways: PossibleWays
) -> list[int | None]:
    """The bounds that the multipliers prove over these ways, as `bound.proved_bounds` gives them.

    Raises BadCertificate where its classes, links or multipliers are not those of the fleet.
    """
    return prover(fleet, certificate, budget, ways)(certificate)


def prover(
    fleet: Fleet, like: Certificate, budget: Budget, ways: PossibleWays
) -> Callable[[Certificate], list[int | None]]:
    """`proved_levels` for certificates that differ from this one in their multipliers and values only."""
    limits = _Limits(Facts(fleet), like, budget)
    columns = limits.columns(ways)

    def proved(certificate: Certificate) -> list[int | None]:
        if _without_proofs(certificate) != _without_proofs(like):
            raise BadCertificate("it is not of the same classes and levels")
        return _proved(limits, certificate, columns)

    return proved


def _without_proofs(certificate: Certificate) -> tuple[object, ...]:
    return replace(certificate, levels=()), *(proof.name for proof in certificate.levels)


def _proved(limits: _Limits, certificate: Certificate, columns: BoundColumns) -> list[int | None]:
    for number, proof in enumerate(certificate.levels):
        _refuse_misfit(limits, proof, proof.name, number)
    return proved_bounds(  # narrows rows and columns, so each proof has its own
        [BoundRow(row.lower, row.upper) for row in limits.rows],
        replace(columns, lower=columns.lower.copy(), upper=columns.upper.copy()),
        certificate.levels,
    )


def judge_certificate(facts: Facts, plan: Plan) -> Iterator[Objection]:
    """Objections to the plan's certificate, as far as its own sets tell; none if it carries none, and does
    not call itself proved.
    """
    fleet, certificate = facts.fleet, plan.certificate
    if certificate is None:
        if plan.status == "proved best":
            yield Objection(
                about="the plan",
                rule="certificate",
                message="it says proved best and carries no certificate: nothing is proved of it",
            )
        return
    try:
        values = level_values(fleet, plan)
        if [proof.name for proof in certificate.levels] != [level.name for level in levels_told(fleet, plan)]:
            raise BadCertificate("its levels are not those of the objective")
        if tuple(level.value for level in certificate.levels) != values:
            raise BadCertificate("its values are not those of the plan")
        _judge_bounds(plan, certificate.levels)
        budget = Budget(minutes=plan.minutes_limit, parts_cents=plan.parts_limit_cents)
        ways = _own_ways(facts, plan, certificate)
        limits = _Limits(facts, certificate, budget)
        bounds = _proved(limits, certificate, limits.columns(ways))
        for number, level in enumerate(certificate.levels):
            found = bounds[number]
            if level.bound is not None and (found is None or found < level.bound):
                raise BadCertificate(f"{level.name}: it proves {found}, the plan says {level.bound}")
            if found is not None and found > level.value:
                raise BadCertificate(f"{level.name}: it proves {found}, the plan itself has {level.value}")
    except BadCertificate as fault:
        yield Objection(
            about="the plan", rule="certificate", message=f"the certificate does not hold: {fault}"
        )


def _judge_bounds(plan: Plan, levels: Sequence[LevelProof]) -> None:
    """Refuse a plan that says of itself what its bounds do not. Raises BadCertificate."""
    bounds, values = [level.bound for level in levels], [level.value for level in levels]
    if any(level.bound is not None and level.bound > level.value for level in levels):
        raise BadCertificate(f"its bounds {bounds} are above its values {values}")
    missed = [gap_percent(level.value, level.bound) for level in levels if level.value != level.bound]
    if plan.status == "proved best" and missed:
        raise BadCertificate(f"it proves {bounds}, the plan says {values}")
    gap = missed[0] if missed else 0
    if plan.gap_percent != gap:
        raise BadCertificate(f"its gap is {gap:g} %, the plan says {plan.gap_percent:g} %")


def _own_ways(facts: Facts, plan: Plan, certificate: Certificate) -> PossibleWays:
    fleet, on = facts.fleet, facts.bindings[0]
    cap = fleet.policy.um("clearance_counted_max_mm")
    pair_of = {tag: p for p, tags in enumerate(certificate.pairs) for tag in tags}
    boot_of = {tag: b for b, tags in enumerate(certificate.boots) for tag in tags}
    number = {frozenset(sorts): i for i, sorts in enumerate(certificate.brake_sets)}
    counts = [COUNT_OF[level.name].way for level in COST_LEVELS]
    over = fleet.policy.um("brake_over_waist_max_mm")
    fitting: dict[tuple[int | None, str, Sort | None], frozenset[Sort]] = {}
    found = []
    for s in plan.sets:
        if s.pair not in fleet.pairs or s.pair not in pair_of or s.boot not in boot_of:
            raise BadCertificate(f"it knows no {s.pair} or no {s.boot}")
        costs = tuple([count(s.way, cap) for count in counts])
        brakes = -1
        if s.binding_from != "own":
            asked = (fleet.pairs[s.pair].waist_um, s.way.pattern, on.get(s.pair))
            if asked not in fitting:
                fitting[asked] = _fitting(*asked, facts.supply, over)
            if fitting[asked] not in number:
                raise BadCertificate(f"it knows no bindings for {s.pair}")
            brakes = number[fitting[asked]]
        found.append((pair_of[s.pair], boot_of[s.boot], brakes, parts_cents(fleet, s) or 0, *costs))
    # sets alike are one column of the proof, and counted once
    once = list(dict.fromkeys(found))
    pair, boot, given, cents, *levels = ([way[k] for way in once] for k in range(4 + len(COST_LEVELS)))
    return PossibleWays(pair=pair, boot=boot, brakes=given, costs=levels, parts_cents=cents)


def _fitting(
    waist_um: int | None, pattern: str, own: Sort | None, supply: Iterable[Sort], over_um: int
) -> frozenset[Sort]:
    """The sorts that a pair could be given: another than its own, with a brake that fits its waist."""
    return frozenset(
        (name, brake)
        for name, brake in supply
        if name == pattern
        and (name, brake) != own
        and (brake is None or (isinstance(brake, int) and _covers(waist_um, brake, over_um)))
    )


def _covers(waist_um: int | None, brake_um: int, over_um: int) -> bool:
    return waist_um is not None and waist_um <= brake_um <= waist_um + over_um


def _sort_key(sort: Sort) -> tuple[str, int]:
    """Sorts of a pattern in order: brake not known, no brake, then by width."""
    pattern, brake = sort
    return pattern, brake if isinstance(brake, int) else -1 if brake is None else -2


class _Limits:
    """Every limit of the fleet as a row, in the order of `GROUPS`."""

    def __init__(self, facts: Facts, certificate: Certificate, budget: Budget) -> None:
        fleet, (on, stock), supply = facts.fleet, facts.bindings, facts.supply
        self.certificate, self.budget = certificate, budget
        if certificate.parts_step < 1:
            raise BadCertificate("the step of its budget is none")
        names = {proof.name for proof in certificate.levels}
        self.told = cost_levels([level for level in IF_COUNTED if level.name in names])
        self.wishes = sorted(fleet.wishes, key=lambda w: w.wish)
        self.kinds = facts.kinds
        self.strip_minutes = ceil(fleet.policy.number("minutes_take_off"))
        self.sorts = sorted(supply, key=_sort_key)
        self.sort_number = {sort: k for k, sort in enumerate(self.sorts)}
        self.supply = [supply[s] for s in self.sorts]
        self.pair_wishes, self.own = self._pairs(fleet, on)
        self.boot_wishes = self._boots(fleet)
        self.sizes = [len(tags) for tags in certificate.pairs]
        self.boots = [len(tags) for tags in certificate.boots]
        self.link_of: defaultdict[frozenset[int], dict[int, int]] = defaultdict(dict)
        for number, (p, b) in enumerate(certificate.links):
            if not (0 <= p < len(self.sizes) and 0 <= b < len(self.boots)):
                raise BadCertificate(f"its link {p}/{b} is of no class")
            self.link_of[self.pair_wishes[p]][b] = number
        if sum(map(len, self.link_of.values())) != len(certificate.links):
            raise BadCertificate("a link stands there twice")
        for sort in (s for sorts in certificate.brake_sets for s in sorts):
            if sort not in self.sort_number:
                raise BadCertificate(f"the shop has no {sort[0]} binding of that brake")
        self.first: dict[str, int] = {}
        self.rows: list[BoundRow] = []
        for group, rows in zip(GROUPS, self._rows(stock), strict=False):
            self.first[group] = len(self.rows)
            self.rows += rows

    def _rows(self, stock: Counter[Sort]) -> Iterator[list[BoundRow]]:
        links = self.certificate.links
        yield [BoundRow(0, n) for n in self.sizes]
        yield [BoundRow(0, 0) for _ in links]
        yield [BoundRow(0, self.boots[b]) for _, b in links]
        yield [BoundRow(0, n) for n in self.boots]
        yield [BoundRow(0, w.quantity) for w in self.wishes]
        yield [BoundRow(0, 0) for _ in self.certificate.brake_sets]
        yield [BoundRow(0, n) for n in self.supply]
        yield [BoundRow(None, stock[s]) for s in self.sorts]
        for limit, step in ((self.budget.minutes, 1), (self.budget.parts_cents, self.certificate.parts_step)):
            yield [] if limit is None else [BoundRow(0, limit - limit % step)]

    def _pairs(self, fleet: Fleet, on: dict[str, Sort]) -> tuple[list[frozenset[int]], list[int]]:
        """Wishes and own sort of each class of pairs: the same for all members, each pair there once."""
        of: dict[tuple[Kind, int], frozenset[int]] = {}
        asked: dict[str, frozenset[int]] = {}
        for tag, pair in fleet.pairs.items():
            if pair.plannable:
                size = (pair.kind, pair.length_mm)
                wishes = of[size] if size in of else of.setdefault(size, self._asked(pair))
                if wishes:
                    asked[tag] = wishes
        if not _each_once(self.certificate.pairs, asked):
            raise BadCertificate("its pairs are not those that could be planned")
        found, own = [], []
        for tags in self.certificate.pairs:
            if len({(asked[tag], on.get(tag)) for tag in tags}) != 1:
                raise BadCertificate(f"the pairs with {tags[0]} are not alike")
            found.append(asked[tags[0]])
            sort = on.get(tags[0])
            own.append(-1 if sort is None else self.sort_number[sort])
        return found, own

    def _asked(self, pair: Pair) -> frozenset[int]:
        return frozenset(
            i
            for i, w in enumerate(self.wishes)
            if self.kinds.meet((w.kind,), (pair.kind,))
            and w.length_min_mm <= pair.length_mm <= w.length_max_mm
        )

    def _boots(self, fleet: Fleet) -> list[frozenset[int]]:
        of: dict[tuple[object, ...], _Alike] = {}
        one: dict[_Alike, _Alike] = {}
        told: dict[str, _Alike] = {}
        for tag, boot in fleet.boots.items():
            facts = _OF_BOOT(boot)
            if facts not in of:
                asked = self._fits(boot.mondopoint_mm, boot.kinds)
                alike = (asked, boot.bsl_um, boot.sole_type, boot.kinds)
                of[facts] = one.setdefault(alike, alike)
            if of[facts][0] and boot.bsl_um is not None and boot.plannable:
                told[tag] = of[facts]
        if not _each_once(self.certificate.boots, told):
            raise BadCertificate("its boots are not those that could be planned")
        for tags in self.certificate.boots:
            if any(told[tag] is not told[tags[0]] for tag in tags):
                raise BadCertificate(f"the boots with {tags[0]} are not alike")
        return [told[tags[0]][0] for tags in self.certificate.boots]

    def _fits(self, size: int | None, kinds: Kinds) -> frozenset[int]:
        return frozenset(
            i
            for i, w in enumerate(self.wishes)
            if size is not None
            and w.mondopoint_min_mm <= size <= w.mondopoint_max_mm
            and self.kinds.meet((w.kind,), kinds)
        )

    def columns(self, ways: PossibleWays) -> BoundColumns:
        """Ways, then wishes at links, then sorts for sets of sorts, then pairs stripped."""
        first, others = self.first, list(self._others())
        one, two, three, gives = self._rows_of_ways(ways)
        drilled, minutes = ways.costs[_DRILLED_AT], ways.costs[_MINUTES_AT]
        sizes = zip(
            map(self.sizes.__getitem__, ways.pair), map(self.boots.__getitem__, ways.boot), strict=True
        )
        upper = [pairs if pairs < boots else boots for pairs, boots in sizes]
        costs = [
            [0] * len(upper) + [-(each.serves == rank) for each in others]
            for rank in sorted({w.priority for w in self.wishes})
        ]
        for level in self.told:
            strip = COUNT_OF[level.name].strip(self.strip_minutes)
            of_ways = ways.costs[COST_LEVELS.index(level)]
            costs.append(of_ways + [strip * each.strips for each in others])
        amounts = {}
        if self.budget.minutes is not None:
            amounts[first["bench"]] = minutes + [self.strip_minutes * each.strips for each in others]
        if self.budget.parts_cents is not None:
            if any(cents % self.certificate.parts_step for cents in ways.parts_cents):
                raise BadCertificate("a way's parts are no multiple of the step of the budget")
            amounts[first["parts"]] = ways.parts_cents + [0] * len(others)
        told = zip(ways.pair, ways.boot, ways.brakes, drilled, minutes, ways.parts_cents, strict=True)
        return BoundColumns(
            costs=costs,
            lower=[0] * (len(upper) + len(others)),
            upper=upper + [each.upper for each in others],
            takes=(
                one + [each.takes[0] for each in others],
                two + [each.takes[1] for each in others],
                three + [each.takes[2] for each in others],
            ),
            gives=gives + [each.gives for each in others],
            amounts=amounts,
            figures=[*told, *[()] * len(others)],
        )

    def _rows_of_ways(self, ways: PossibleWays) -> tuple[list[int], list[int], list[int], list[int]]:
        """The rows that each way takes one of, and the row that it gives one of."""
        links = [self.link_of[who] for who in self.pair_wishes]
        pairs, supply, brakes, stock = (self.first[n] for n in ("pairs", "supply", "brakes", "stock"))
        try:
            of_link = [self.first["links"] + links[p][b] for p, b in zip(ways.pair, ways.boot, strict=True)]
        except KeyError:
            raise BadCertificate("a way has no link") from None
        bindings = list(zip(ways.brakes, map(self.own.__getitem__, ways.pair), strict=True))
        if any(b < 0 and own < 0 for b, own in bindings):
            raise BadCertificate("a pair without a binding keeps its own")
        return (
            [pairs + p for p in ways.pair],
            of_link,
            [supply + own if b < 0 else brakes + b for b, own in bindings],
            [NO_ROW if b < 0 or own < 0 else stock + own for b, own in bindings],
        )

    def _others(self) -> Iterator[_Other]:
        """The choices that are no way: a set for a want, a binding for a set of sorts, a pair stripped."""
        first = self.first
        for number, (p, b) in enumerate(self.certificate.links):
            for w in sorted(self.pair_wishes[p] & self.boot_wishes[b]):
                yield _Other(
                    upper=min(self.boots[b], self.wishes[w].quantity),
                    takes=(first["link_caps"] + number, first["boots"] + b, first["wishes"] + w),
                    gives=first["links"] + number,
                    serves=self.wishes[w].priority,
                )
        for number, sorts in enumerate(self.certificate.brake_sets):
            for k in (self.sort_number[sort] for sort in sorts):
                takes = (first["supply"] + k, first["stock"] + k, NO_ROW)
                yield _Other(upper=self.supply[k], takes=takes, gives=first["brakes"] + number)
        for k, upper in enumerate(self.supply):
            yield _Other(upper=upper, takes=(NO_ROW,) * 3, gives=first["stock"] + k, strips=True)


class _Other(NamedTuple):
    """A choice that is no way: what it takes and gives of the limits, whom it serves, what it strips."""

    upper: int
    takes: tuple[int, int, int]
    gives: int
    serves: int | None = None
    strips: bool = False


_Alike = tuple[frozenset[int], int | None, str, Kinds]
_OF_BOOT = attrgetter("mondopoint_mm", "bsl_um", "sole_type", "model", "kind", "model_kind")
"""The facts that the class of a boot hangs on: its kinds follow from its model and sole too."""


def _each_once(classes: Sequence[Sequence[str]], things: Mapping[str, object]) -> bool:
    named = [tag for tags in classes for tag in tags]
    return len(named) == len(things) and things.keys() == set(named) and all(classes)


def _refuse_misfit(limits: _Limits, proof: LevelProof | CaseProof, name: str, number: int) -> None:
    """Raise BadCertificate unless the multipliers of a level, and of its cases, are those of the limits."""
    split = proof.cases if isinstance(proof, LevelProof) else proof.split
    for case in () if split is None else (split.fewer, split.more):
        _refuse_misfit(limits, case, name, number)
    if split is not None and isinstance(proof, CaseProof):
        return
    sizes = [len(proof.multipliers[group]) for group in GROUPS[:-1]]
    starts = [limits.first[group] for group in GROUPS[:-1]] + [len(limits.rows)]
    if [starts[i] + n for i, n in enumerate(sizes)] != starts[1:] or proof.scale < 1:
        raise BadCertificate(f"the multipliers of {name} do not match the limits")
    if len(proof.multipliers["earlier"]) != number:
        raise BadCertificate(f"{name} does not stand on the levels before it")
