"""One plan for many seasons: its wants, and the sets it serves beside two simpler plans."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt
from statistics import fmean, stdev
from typing import Final

import numpy as np

from fleet.facts.boots import Boot
from fleet.facts.kinds import KindRule
from fleet.facts.pairs import Pair
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.plan.set_aside import shared_name
from planner.plan.values import Plan
from planner.planning.assign.circulation import Circulation
from planner.planning.assign.classes import Wishes, wants_boot, wants_pair
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.linear_program import Ints
from planner.planning.assign.plan import judged_plan, plan_fleet
from planner.planning.assign.problem import build_problem
from planner.planning.seasons.season_program import (
    MINUTES_MORE,
    FirstStage,
    OneMore,
    Resource,
    best_stock,
    first_stage,
    values_of_one_more,
)
from planner.planning.seasons.seasons import Demand, quantile, share_to_be_ready_for

Stock = Mapping[Wishes, int]
"""Sets that are ready, counted by the wants that each may serve."""


class SeasonFlow:
    """Serves any number of seasons from one stock. ``priorities``: of each want, 1 first."""

    def __init__(self, stock: Stock, priorities: Sequence[int]) -> None:
        types = [(who, n) for who, n in sorted(stock.items()) if n and who]
        first = 1 + len(types)
        rows = [(0, i, n) for i, (_, n) in enumerate(types, start=1)]
        rows += [(i, first + w, n) for i, (who, n) in enumerate(types, start=1) for w in who]
        self._last = len(rows)
        rows += [(first + w, 0, 0) for w in range(len(priorities))]
        self._table: Ints = np.array(rows, dtype=np.int64).reshape(-1, 3)
        self._nodes = first + len(priorities)
        self._priorities = np.array(priorities, dtype=np.int64)

    def serve(self, peaks: Sequence[int]) -> tuple[int, ...]:
        """Sets served of every want: the most that can be, priority by priority, so whole numbers."""
        upper = self._table[:, 2].copy()
        upper[self._last :] = peaks
        flow = Circulation(
            nodes=self._nodes,
            tail=self._table[:, 0],
            head=self._table[:, 1],
            lower=np.zeros(len(upper), dtype=np.int64),
            upper=upper,
        )
        for rank in sorted(set(self._priorities.tolist())):
            cost = np.zeros(len(upper), dtype=np.int64)
            cost[self._last :] = -(self._priorities == rank).astype(np.int64)
            flow.minimise(cost)
        return tuple(flow.flow[self._last :].tolist())


_EACH: Final = 3
"""So many pairs, boots and bindings are named with what one more of them is worth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Mean sets a season that another plan serves, and our gain over it with its 95 % interval.

    The gain is paired season by season; the interval is normal, 1.96 standard errors, with one season the
    gain itself. ``price``: the use that the sets which only ours makes ready must find to pay, sets a season.
    """

    price: float
    served: float
    gain: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """Mean sets served a season, beside the plan for the mean season and the one by the simple rule."""

    seasons: int
    ours: float
    mean: Comparison
    rule: Comparison


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonPlan:
    """The plan with its own wants, and what the seasons say of it.

    ``ready``: the share of seasons that one want alone is made ready for. ``asked``: sets the seasons would
    have ready. ``mean_sets``: sets that the plan for the mean season sets up; ``rule_sets``: the plan that
    asks of each want alone for what is enough in that share of the seasons. ``wanted``: mean sets a season
    asks for. ``serves``: of each own want the wants it may serve. ``seen``: in the plan's own seasons;
    ``unseen``: in further ones. ``gap_percent``: the most by which a plan could be better than this one in
    its own seasons, by sets served less the price of those ready. ``worth``: what one more would be, in
    words, and the mean sets a season that it adds.
    """

    plan: Plan
    demand: Demand
    ready: float
    asked: int
    mean_sets: int
    rule_sets: int
    wanted: float
    serves: tuple[tuple[Wish, tuple[str, ...]], ...]
    seen: Served
    unseen: Served | None
    gap_percent: float
    worth: tuple[tuple[str, float], ...]


def plan_for_seasons(
    fleet: Fleet,
    demand: Demand,
    *,
    made_at: str,
    ready_by: str | None,
    minutes_limit: int | None,
    parts_limit_cents: int | None = None,
    progress: Callable[[str], None] | None = None,
    ways: SweptWays | None = None,
) -> SeasonPlan:
    """The plan that serves the seasons best on average, judged; it asks for sets of its own.

    The plans for the mean season and by the simple rule are made beside it, for the same fleet with the same
    limits.
    Raises PlanFault if the judge refuses the plan.
    """
    say = progress or (lambda _: None)
    geometry = ways or SweptWays()
    wanted = replace(fleet, wishes=demand.wishes)
    say(f"looking for ways: {len(fleet.pairs)} pairs, {len(fleet.boots)} boots")
    stage = first_stage(
        build_problem(wanted, ways=geometry, minutes_limit=minutes_limit, parts_limit_cents=parts_limit_cents)
    )
    ready = share_to_be_ready_for(fleet.policy)
    ranks = [w.priority for w in demand.wishes]
    say(f"what {len(demand.peaks)} seasons would have ready")
    stock = best_stock(stage, demand.peaks, ranks, ready=ready)
    serves = _own_wants(demand.wishes, stock.counts)

    def planned(wishes: tuple[Wish, ...]) -> Plan:
        return plan_fleet(
            replace(fleet, wishes=wishes),
            made_at=made_at,
            ready_by=ready_by,
            minutes_limit=minutes_limit,
            parts_limit_cents=parts_limit_cents,
            progress=progress,
            ways=geometry,
            judged=False,
        )

    plan = replace(planned(tuple(w for w, _ in serves)), wants=tuple(w for w, _ in serves))
    say("judging")
    plan = judged_plan(fleet, plan)
    say("the plans for the mean season and by the simple rule beside it")
    rule = [quantile(peaks, ready) for peaks in zip(*demand.peaks, strict=True)]
    mean_plan, rule_plan = (
        planned(tuple(replace(w, quantity=n) for w, n in zip(demand.wishes, asked, strict=True)))
        for asked in (demand.mean, rule)
    )
    say("what one more of each thing would add")
    flows = [SeasonFlow(types_of(fleet, each, demand.wishes), ranks) for each in (plan, mean_plan, rule_plan)]
    prices = [(1.0 - ready) * (len(plan.sets) - len(each.sets)) for each in (mean_plan, rule_plan)]
    seen = _served(flows, prices, demand.peaks)
    value = seen.ours - (1.0 - ready) * len(plan.sets)
    return SeasonPlan(
        plan=plan,
        demand=demand,
        ready=ready,
        asked=sum(stock.counts.values()),
        mean_sets=len(mean_plan.sets),
        rule_sets=len(rule_plan.sets),
        wanted=fmean(sum(peaks) for peaks in demand.peaks),
        serves=tuple((w, tuple(demand.wishes[i].wish for i in who)) for w, who in serves),
        seen=seen,
        unseen=_served(flows, prices, demand.unseen) if demand.unseen else None,
        gap_percent=max(0.0, 100 * (stock.bound - value) / stock.bound) if stock.bound > 1e-9 else 0.0,
        worth=tuple(
            (_in_words(fleet, stage, one), one.sets)
            for one in values_of_one_more(stock, each=_EACH, alike=_kinds(fleet, stage))
        ),
    )


def _own_wants(wishes: Sequence[Wish], counts: Mapping[Wishes, int]) -> list[tuple[Wish, Wishes]]:
    """A want for each type of set, what its windows have in common, in order of name."""
    found = []
    shared = 0
    for who, count in sorted(counts.items()):
        mine = [wishes[w] for w in who]
        lead = min(mine, key=lambda w: (w.priority, w.wish))
        name = lead.wish
        if len(mine) > 1:
            shared += 1
            name = shared_name(lead.wish, shared)
        want = replace(
            lead,
            wish=name,
            length_min_mm=max(w.length_min_mm for w in mine),
            length_max_mm=min(w.length_max_mm for w in mine),
            mondopoint_min_mm=max(w.mondopoint_min_mm for w in mine),
            mondopoint_max_mm=min(w.mondopoint_max_mm for w in mine),
            quantity=count,
        )
        found.append((want, who))
    return sorted(found, key=lambda row: row[0].wish)


def types_of(fleet: Fleet, plan: Plan, wishes: Sequence[Wish]) -> Counter[Wishes]:
    """The sets of a plan, counted by the wants that each may serve."""
    rule = KindRule(fleet.policy)

    def may_serve(pair: Pair, boot: Boot) -> Wishes:
        return tuple(
            i for i, w in enumerate(wishes) if wants_pair(w, pair, rule) and wants_boot(w, boot, rule)
        )

    return Counter(may_serve(fleet.pairs[s.pair], fleet.boots[s.boot]) for s in plan.sets)


def _served(flows: Sequence[SeasonFlow], prices: Sequence[float], seasons: Sequence[Sequence[int]]) -> Served:
    ours, *others = ([sum(flow.serve(peaks)) for peaks in seasons] for flow in flows)
    mean, rule = (_compared(ours, theirs, price) for theirs, price in zip(others, prices, strict=True))
    return Served(seasons=len(ours), ours=fmean(ours), mean=mean, rule=rule)


def _compared(ours: Sequence[int], theirs: Sequence[int], price: float) -> Comparison:
    gains = [a - b for a, b in zip(ours, theirs, strict=True)]
    gain = fmean(gains)
    half = 1.96 * stdev(gains) / sqrt(len(gains)) if len(gains) > 1 else 0.0
    return Comparison(price=price, served=fmean(theirs), gain=gain, low=gain - half, high=gain + half)


def _kinds(fleet: Fleet, stage: FirstStage) -> Callable[[Resource, int], object]:
    """The kinds that a person would buy one more of: pairs by kind and length, boots by sole and size."""

    def kind(thing: Resource, number: int) -> object:
        if thing is Resource.PAIR:
            pair = fleet.pairs[stage.pair_tags[number]]
            return pair.kind, pair.length_mm
        if thing is Resource.BOOT:
            boot = fleet.boots[stage.boot_tags[number]]
            return boot.sole_type, boot.mondopoint_mm
        return number

    return kind


def _in_words(fleet: Fleet, stage: FirstStage, one: OneMore) -> str:
    """One more of what, named after one that the shop has."""
    if one.thing is Resource.MINUTES:
        return f"{MINUTES_MORE} more bench minutes"
    if one.thing is Resource.BINDING:
        sort = sorted(stage.supply)[one.number]
        brake = sort.brake_text + ("" if sort.brake_um is None else "s")
        return f"one more pair of {sort.pattern} bindings {brake}"
    if one.thing is Resource.BOOT:
        boot = fleet.boots[stage.boot_tags[one.number]]
        size = f", {boot.mondopoint_mm / 10:g}" if boot.mondopoint_mm else ""
        return f"one more boot like {boot.tag} ({boot.sole_type}{size})"
    pair = fleet.pairs[stage.pair_tags[one.number]]
    binding = "no binding" if stage.own[one.number] is None else "its binding included"
    return f"one more pair like {pair.tag} ({pair.kind.value}, {pair.length_mm / 10:g} cm, {binding})"
