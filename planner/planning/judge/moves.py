"""The check of a chain's plan: every move by ledgers and vans, then each shop's plan by its own judge.

It knows nothing of prices. What moves is looked up in the ledgers anew: a thing that is stopped, ordered, out
or in question moves nowhere, nothing moves twice, and a van takes no more than it has room for.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from fleet.base.days import stored_day_text
from fleet.facts.pairs import Binding, Brake, Pair
from fleet.facts.recalls import Reach
from fleet.facts.standing import Place
from fleet.rules.clearance import cured_after
from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, ChainMove, ChainPlan, VanRun, VanThing, after_moves, id_there
from planner.plan.part_prices import mount_worths
from planner.plan.values import Plan
from planner.planning.judge.certificate import level_values, levels_told
from planner.planning.judge.limits import Objection
from planner.planning.judge.plan_check import judge_plan

_IN_THE_SHOP = (Place.FLAT, Place.READY, Place.BACK)
_TWO = 2


def judge_chain(
    fleets: Mapping[str, Fleet], chain: Chain, plan: ChainPlan, now: datetime
) -> tuple[Objection, ...]:
    """Every objection to a plan for these ledgers; none means that it may be written."""
    found = tuple(_moves(fleets, chain, plan, now))
    return found or tuple(_plans(fleets, chain, plan))


def _moves(fleets: Mapping[str, Fleet], chain: Chain, plan: ChainPlan, now: datetime) -> Iterator[Objection]:
    runs = {run.name: run for run in chain.runs}
    if set(plan.plans) != set(fleets) or set(fleets) != {shop.name for shop in chain.shops}:
        yield Objection(about="the chain", rule="shops", message="its plans are not those of its shops")
        return
    taken: Counter[tuple[str, VanThing]] = Counter()
    gone: Counter[tuple[str, VanThing, str]] = Counter()
    there: Counter[tuple[str, VanThing, str]] = Counter()
    for move in plan.moves:
        run = runs.get(move.run)
        if run is None:
            yield _no(move, "run", f"there is no run {move.run}")
            continue
        taken[move.run, move.thing] += 1
        gone.update((run.leaves, move.thing, name) for name in move.names)
        if move.thing is not VanThing.BINDINGS:
            there.update((run.reaches, move.thing, name) for name in move.names)
        yield from _day(move, run, plan, now.astimezone(ZoneInfo(fleets[run.leaves].zone)).date())
        yield from _stopped(fleets[run.leaves], move, now)
        yield from _known_there(fleets[run.reaches], move, fleets[run.leaves].shop)
    for (name, thing), count in sorted(taken.items()):
        if count > (room := runs[name].room.get(thing, 0)):
            message = f"{count} of {thing.value} are more than the {room} that it has room for"
            yield Objection(about=f"run {name}", rule="room", message=message)
    for counts in (gone, there):
        for (shop, thing, name), times in sorted(counts.items()):
            if times > 1:
                message = f"{thing.value} {name} moves {times} times"
                yield Objection(about=shop, rule="once", message=message)


def _no(move: ChainMove, rule: str, message: str) -> Objection:
    return Objection(about=f"{move.thing.value} {' and '.join(move.names)}", rule=rule, message=message)


def _day(move: ChainMove, run: VanRun, plan: ChainPlan, today: date) -> Iterator[Objection]:
    """Yield an objection to a run of a day gone by; ``today``: in the shop that it leaves."""
    ready = {each.ready_by for each in plan.plans.values()} - {None}
    if run.day < today.isoformat() or any(run.day > str(day) for day in ready):
        yield _no(
            move,
            "day",
            f"run {run.name} of {stored_day_text(run.day)} is over, or after the sets must be ready",
        )


def _stopped(fleet: Fleet, move: ChainMove, now: datetime) -> Iterator[Objection]:
    """Yield an objection to whatever may not leave as its own ledger has it."""
    if len(move.names) != (_TWO if move.thing is VanThing.BINDINGS else 1):
        yield _no(move, "names", "it is named otherwise than such a thing is")
        return
    known: dict[VanThing, Collection[str]] = {
        VanThing.PAIR: fleet.pairs,
        VanThing.BOOT: fleet.boots,
        VanThing.BINDINGS: fleet.bindings,
    }
    if any(name not in known[move.thing] for name in move.names):
        yield _no(move, "thing", f"it is not in the ledger of {fleet.shop}")
        return
    if move.thing is VanThing.PAIR:
        why = _pair_stopped(fleet, fleet.pairs[move.names[0]], now)
    elif move.thing is VanThing.BOOT:
        boot = fleet.boots[move.names[0]]
        why = "" if boot.place is Place.READY and not boot.hold_entry and not boot.asks else "it is stopped"
    else:
        why = _kit_stopped(fleet, [fleet.bindings[name] for name in move.names])
    if why:
        yield _no(move, "stopped", why)


def _pair_stopped(fleet: Fleet, pair: Pair, now: datetime) -> str:
    on = [b for b in fleet.bindings.values() if b.on_pair == pair.tag]
    ends = [cured_after(at, fleet.policy.cure_hours(adhesive)) for adhesive, at in pair.glued]
    asked = {
        f"it is {pair.place.words}": pair.place not in _IN_THE_SHOP,
        "it is stopped": bool(pair.stops),
        "a note on it waits for an answer": bool(pair.asks),
        "it has an open work order": bool(fleet.ordered.get(pair.tag)),
        "glue in it may not have cured": any(end is None or end > now for end in ends),
        "a recall may reach its binding": any(_recalled(fleet, b) for b in on),
        "it carries one binding": len(on) == 1,
    }
    return "; ".join(words for words, stopped in asked.items() if stopped)


def _kit_stopped(fleet: Fleet, kit: Sequence[Binding]) -> str:
    sorts = {(b.pattern, b.brake_to_plan) for b in kit}
    asked = {
        "they are not in the stock": any(b.on_pair is not None for b in kit),
        "a note on them waits for an answer": any(b.asks for b in kit),
        "they are not alike": len(sorts) != 1 or len({b.binding_id for b in kit}) != _TWO,
        "nobody knows their brake": any(b.brake_um is Brake.UNKNOWN for b in kit),
        "a recall may reach them": any(_recalled(fleet, b) for b in kit),
    }
    return "; ".join(words for words, stopped in asked.items() if stopped)


def _recalled(fleet: Fleet, binding: Binding) -> bool:
    return any(recall.reaches(binding) is not Reach.NOT for recall in fleet.recalls)


def _known_there(fleet: Fleet, move: ChainMove, sender: str) -> Iterator[Objection]:
    """Yield an objection where the other ledger has something of that name, not lent by its shop."""
    theirs: Collection[str] = {*fleet.pairs, *fleet.renamed} - fleet.lent
    names = move.names
    if move.thing is VanThing.BOOT:
        theirs = {*fleet.boots} - fleet.lent
    elif move.thing is VanThing.BINDINGS:
        theirs = [name for name, binding in fleet.bindings.items() if binding.on_pair not in fleet.lent]
        names = tuple(id_there(name, sender, fleet.shop) for name in move.names)
    for name in names:
        if name in theirs:
            yield _no(move, "name", f"{fleet.shop} has something of that name")


def _plans(fleets: Mapping[str, Fleet], chain: Chain, plan: ChainPlan) -> Iterator[Objection]:
    for name, fleet in after_moves(fleets, chain, plan.moves).items():
        for each in judge_plan(fleet, plan.plans[name]):
            yield Objection(about=f"{name}, {each.about}", rule=each.rule, message=each.message)
    limits = {shop.name: shop.minutes_limit for shop in chain.shops}
    for name, own in plan.plans.items():
        if own.minutes_limit != limits[name]:
            yield Objection(about=name, rule="minutes", message="its limit of minutes is not the chain's")
    for shop in chain.shops:
        paid = sum(
            run.price_cents
            for move in plan.moves
            for run in chain.runs
            if run.name == move.run
            if run.reaches == shop.name
        )
        left = None if shop.budget_cents is None else shop.budget_cents - paid
        if plan.plans[shop.name].parts_limit_cents != left or (left is not None and left < 0):
            message = f"its money for parts is not its budget less {paid} hundredths for what comes"
            yield Objection(about=shop.name, rule="money", message=message)
    values = chain_values(fleets, chain, plan.moves, plan.plans)
    if tuple(level.value for level in plan.levels) != values:
        said = [level.value for level in plan.levels]
        yield Objection(about="the chain", rule="totals", message=f"it has {list(values)}, it says {said}")
    for level in plan.levels:
        if level.bound is not None and level.bound > level.value:
            message = f"{level.name}: {level.bound} would be proved, it has {level.value} itself"
            yield Objection(about="the chain", rule="bound", message=message)


def chain_values(
    fleets: Mapping[str, Fleet], chain: Chain, moves: Sequence[ChainMove], plans: Mapping[str, Plan]
) -> tuple[int, ...]:
    """The value of each level of the chain, all to be small: the sets served of each priority taken
    negative, the worth of mounts where a shop sets one, holes, minutes with those of the vans, things moved.
    """
    minutes = {run.name: run.minutes for run in chain.runs}
    ranks = sorted({w.priority for fleet in fleets.values() for w in fleet.wishes})
    summed: Counter[str] = Counter()
    served: Counter[int] = Counter()
    for name, plan in plans.items():
        told = levels_told(fleets[name], plan)
        for level, value in zip(told, level_values(fleets[name], plan), strict=True):
            if level.priority is None:
                summed[level.name] += value
            else:
                served[level.priority] += value
    vans = sum(minutes[move.run] for move in moves)
    worth = any(mount_worths(fleet.policy) is not None for fleet in fleets.values())
    costs = ([summed["mount_worth"]] if worth else []) + [summed["drilled"], summed["minutes"] + vans]
    return (*(served[rank] for rank in ranks), *costs, len(moves))
