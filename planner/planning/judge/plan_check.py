"""The whole plan: each set alone, then what sets share, then the figures of the objective."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from math import ceil

from fleet.base.units import mm_text
from fleet.facts.pairs import Brake, BrakeWidth
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.plan.set_aside import as_planned, lead_of
from planner.plan.values import Plan, PlannedSet
from planner.planning.judge.certificate import judge_certificate, level_values, levels_told
from planner.planning.judge.limits import Objection, Sort, parts_cents, prices_known
from planner.planning.judge.room import judge_room
from planner.planning.judge.set_check import Facts, alike_sets, judge_set, of_each


def judge_plan(fleet: Fleet, plan: Plan, *, best: bool = True) -> tuple[Objection, ...]:
    """Every objection to a plan for this fleet; none means that it may be written.

    ``best`` False: what it claims of itself against other plans is not asked (its proof, the room it leaves).
    """
    return (*_own_wants(fleet, plan), *_aside(fleet, plan), *_all(as_planned(fleet, plan), plan, best=best))


def _all(fleet: Fleet, plan: Plan, *, best: bool) -> Iterator[Objection]:
    if (plan.ledger_entry, plan.ledger_head) != (fleet.head.seq, fleet.head.hash):
        made, now = (plan.ledger_entry, plan.ledger_head[:8]), (fleet.head.seq, fleet.head.hash[:8])
        yield _no("ledger", f"it was made at {made[0]}:{made[1]}, the ledger is at {now[0]}:{now[1]}")
    if dict(plan.policy) != {s.name: s.value for s in fleet.policy}:
        yield _no("policy", "it was made under another policy")
    facts, alike = Facts(fleet), alike_sets(fleet, plan.sets)
    yield from of_each(plan.sets, alike, partial(judge_set, facts))
    yield from _once(fleet, plan)
    yield from _bindings(facts, plan)
    yield from _totals(fleet, plan)
    yield from _every_no(fleet, plan)
    if best:
        yield from judge_room(facts, plan, alike)
        yield from judge_certificate(facts, plan)


def _own_wants(fleet: Fleet, plan: Plan) -> Iterator[Objection]:
    """Wants that the plan brings along: each once, and as in the ledger where it has one of that name."""
    known = {w.wish: w for w in fleet.wishes}
    for name, times in sorted(Counter(w.wish for w in plan.wants or ()).items()):
        if times > 1:
            yield _no("wants", f"{name} stands {times} times among the plan's own wants")
    for want in plan.wants or ():
        same = known.get(want.wish)
        if same is not None and replace(same, quantity=want.quantity) != want:
            yield _no("wants", f"{want.wish} is another want in the ledger than in the plan")
        lead = known.get(lead_of(want.wish)) if same is None else None
        if lead is not None and not _within(want, lead):
            yield _no("wants", f"{want.wish} asks for sets that {lead.wish} in the ledger does not take")


def _aside(fleet: Fleet, plan: Plan) -> Iterator[Objection]:
    """Yield objections unless what was set aside is there, is said once, and has a reason."""
    known = {"pair": fleet.pairs, "boot": fleet.boots, "pattern": fleet.patterns}
    for (what, name), times in sorted(Counter((each.what, each.name) for each in plan.set_aside).items()):
        if name not in known.get(what, ()) or times > 1:
            yield _no("set aside", f"{what} {name} is set aside {times} times, or is not in the ledger")
    for each in plan.set_aside:
        if not each.reason:
            yield _no("set aside", f"no reason is given for {each.what} {each.name}")


def _within(want: Wish, lead: Wish) -> bool:
    return (
        want.kind is lead.kind
        and lead.length_min_mm <= want.length_min_mm
        and want.length_max_mm <= lead.length_max_mm
        and lead.mondopoint_min_mm <= want.mondopoint_min_mm
        and want.mondopoint_max_mm <= lead.mondopoint_max_mm
    )


def _no(rule: str, message: str, *, pair: str = "") -> Objection:
    return Objection(about="the plan", rule=rule, message=message, pair=pair)


def _once(fleet: Fleet, plan: Plan) -> Iterator[Objection]:
    for what in ("boot", "pair"):
        for tag, times in sorted(Counter(getattr(s, what) for s in plan.sets).items()):
            if times > 1:
                yield _no("once", f"{what} {tag} is planned {times} times")
    served = Counter(s.wish for s in plan.sets)
    for wish in fleet.wishes:
        if served[wish.wish] > wish.quantity:
            yield _no("quantity", f"{wish.wish} gets {served[wish.wish]} of {wish.quantity} sets")
    if list(plan.sets) != sorted(plan.sets, key=PlannedSet.sort_key):
        yield _no("order", "the sets are not in order of wish, boot, pair")


def _bindings(facts: Facts, plan: Plan) -> Iterator[Objection]:
    """Each binding is where the plan takes it from, and taken once."""
    fleet, (on, loose) = facts.fleet, facts.bindings
    stock = Counter(loose)
    serving = {s.pair: s for s in plan.sets}
    takers: Counter[str] = Counter()
    take_off = ceil(fleet.policy.number("minutes_take_off"))
    stripped: set[tuple[str, str, BrakeWidth]] = set()
    for planned in plan.sets:
        sort: Sort = (planned.way.pattern, planned.brake_um)
        source, extra = planned.binding_from, 0
        if source == "own":
            if on.get(planned.pair) != sort:
                words = f"{planned.pair} does not carry {_sort(sort)} on both skis"
                yield _no("binding", words, pair=planned.pair)
        elif source == "stock":
            stock[sort] -= 1
        else:
            takers[source] += 1
            giver = fleet.pairs.get(source)
            if giver is None or not giver.plannable or on.get(source) != sort:
                words = f"{source} has no {_sort(sort)} to give to {planned.pair}"
                yield _no("binding", words, pair=planned.pair)
            if source not in serving:
                stripped.add((source, *sort))
                extra = take_off
            elif serving[source].binding_from == "own":
                yield _no("binding", f"{source} both keeps its binding and gives it to {planned.pair}")
        if planned.strip_minutes != extra:
            yield _no("minutes", f"{planned.pair}: stripping takes {extra} min, not {planned.strip_minutes}")
    for sort, left in sorted(stock.items(), key=str):
        if left < 0:
            yield _no("binding", f"{-left} more {_sort(sort)} are used than are in stock")
    for tag, times in sorted(takers.items()):
        if times > 1:
            yield _no("binding", f"the binding of {tag} is given away {times} times")
    if {(s.pair, s.pattern, s.brake_um) for s in plan.strip} != stripped or len(plan.strip) != len(stripped):
        yield _no("strip", "the list of stripped pairs is not what the sets take")


def _sort(sort: Sort) -> str:
    if isinstance(sort[1], int):
        return f"{sort[0]} bindings with {mm_text(sort[1])} mm brake"
    return f"{sort[0]} bindings {'without brake' if sort[1] is None else 'whose brake is not known'}"


def _totals(fleet: Fleet, plan: Plan) -> Iterator[Objection]:
    cap = fleet.policy.um("clearance_counted_max_mm")
    priority = {w.wish: w.priority for w in fleet.wishes}
    ranks = sorted(set(priority.values()))
    served = Counter(priority.get(s.wish, 0) for s in plan.sets)
    said = plan.totals
    minutes = sum(s.minutes for s in plan.sets)
    truth: dict[str, tuple[object, object]] = {
        "wanted": (sum(w.quantity for w in fleet.wishes), said.wanted),
        "served": (len(plan.sets), said.served),
        "fit not known": (_fit_not_known(fleet, plan), said.fit_not_known),
        "served by priority": ({p: served[p] for p in ranks}, dict(said.served_by_priority)),
    }
    for level, value in zip(levels_told(fleet, plan), level_values(fleet, plan), strict=True):
        if level.priority is None:
            counted = level.total_for(value, sets=len(plan.sets), cap_um=cap)
            truth[level.total] = (counted, level.total_in(said))
    parts = [parts_cents(fleet, planned) for planned in plan.sets]
    spent = None if not prices_known(fleet) else sum(each or 0 for each in parts)
    truth["parts in hundredths"] = (spent, said.parts_cents)
    for name, (true, claimed) in truth.items():
        if true != claimed:
            yield _no("totals", f"{name} is {true}, the plan says {claimed}")
    if plan.minutes_limit is not None and minutes > plan.minutes_limit:
        yield _no("minutes", f"{minutes} bench minutes are more than the {plan.minutes_limit} there are")
    if plan.parts_limit_cents is not None and (spent is None or spent > plan.parts_limit_cents):
        yield _no("parts", "the parts cost more than the budget, or have no price")
    if plan.status not in ("proved best", "best found") or plan.gap_percent < 0:
        yield _no("status", f"status {plan.status!r} with a gap of {plan.gap_percent} %")


def _fit_not_known(fleet: Fleet, plan: Plan) -> int:
    """Sets whose brake, or the waist of whose pair, is not known: none of them is proved to fit."""
    return sum(
        s.brake_um is Brake.UNKNOWN or (s.brake_um is not None and fleet.pair(s.pair).waist_um is None)
        for s in plan.sets
        if s.pair in fleet.pairs
    )


def _every_no(fleet: Fleet, plan: Plan) -> Iterator[Objection]:
    """Every unserved want and every unplanned pair is there, with a reason."""
    served = Counter(s.wish for s in plan.sets)
    short = {w.wish: w.quantity - served[w.wish] for w in fleet.wishes if w.quantity > served[w.wish]}
    if {u.wish: u.missing for u in plan.unserved} != short:
        yield _no("unserved", "the unserved wants are not those that the sets leave open")
    if [u.pair for u in plan.unplanned_pairs] != sorted(set(fleet.pairs) - {s.pair for s in plan.sets}):
        yield _no("unplanned", "the unplanned pairs are not those that the sets leave over")
    silent = [u.wish for u in plan.unserved if not u.reason or not u.remedy]
    silent += [u.pair for u in plan.unplanned_pairs if not u.reason]
    if silent:
        yield _no("reason", f"no reason is given for {', '.join(silent)}")
