"""The ledgers of a chain in, one judged proposal out: prices, moves, each shop's plan, what is proved.

A job for each shop: what may leave and come by which run, things alike taken together.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from fleet.base.days import day_at
from fleet.base.entries import utc_text
from fleet.base.errors import PlanFault
from fleet.facts.boots import Boot
from fleet.facts.kinds import KindRule
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.rules.loads import binding_stays, boot_stays, pair_stays
from fleet.tables.snapshot import Fleet
from planner.plan.chain import (
    Chain,
    ChainLevel,
    ChainMove,
    ChainPlan,
    VanRun,
    VanThing,
    after_moves,
    id_there,
    with_received,
)
from planner.plan.part_prices import mount_worths, refuse_no_prices
from planner.plan.values import Plan
from planner.planning.assign.classes import BindingSort, boot_classes, count_bindings, pair_classes
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.linear_program import Deadline, Ints
from planner.planning.assign.plan import plan_fleet
from planner.planning.chain.prices import (
    ChainProof,
    Coming,
    Leaving,
    Master,
    Names,
    ShopJob,
    chain_levels,
    settle_prices,
)
from planner.planning.chain.side_by_side import SideBySide
from planner.planning.judge.moves import chain_values, judge_chain


def loose_kits(fleet: Fleet) -> dict[BindingSort, list[tuple[str, str]]]:
    """The bindings in stock that a van may take, two of a sort together, by sort."""
    loose: dict[BindingSort, list[str]] = defaultdict(list)
    for binding in fleet.bindings.values():
        if not binding_stays(fleet, binding):
            loose[BindingSort.of(binding)].append(binding.binding_id)
    return {
        sort: [(ids[at], ids[at + 1]) for at in range(0, len(ids) - 1, 2)]
        for sort, ids in sorted(loose.items())
        if len(ids) > 1
    }


def pattern_differs(sender: Fleet, receiver: Fleet, name: str) -> str:
    """Return why what carries this pattern cannot be planned there: both shops must mean the same by it."""
    ours, theirs = sender.patterns.get(name), receiver.patterns.get(name)
    if theirs is None or ours is None:
        return f"{receiver.shop} has no pattern {name}"
    if _bare(ours) != _bare(theirs):
        return f"the pattern {name} is another in {receiver.shop}"
    if not ours.model_kinds <= theirs.model_kinds:
        return f"{receiver.shop} has not stated what {ours.binding_model} is for"
    return ""


def _bare(pattern: Pattern) -> Pattern:
    return replace(pattern.leaving(0), model_kinds=frozenset())


def pair_not_there(sender: Fleet, receiver: Fleet, pair: Pair) -> str:
    """Return why a pair that may leave cannot go to that shop; "" where it can."""
    if pair.tag not in receiver.lent and (pair.tag in receiver.pairs or pair.tag in receiver.renamed):
        return f"{receiver.shop} has a pair {pair.tag} of its own"
    names = {mount.pattern for mount in pair.mounts}
    names |= {binding.pattern for binding in sender.bindings_on(pair.tag).values() if binding.pattern}
    return next((why for name in sorted(names) if (why := pattern_differs(sender, receiver, name))), "")


def boot_not_there(receiver: Fleet, boot: Boot) -> str:
    """Return why boots that may leave cannot go to that shop; "" where they can."""
    theirs = boot.tag in receiver.boots and boot.tag not in receiver.lent
    return f"{receiver.shop} has boots {boot.tag} of its own" if theirs else ""


def kit_not_there(sender: Fleet, receiver: Fleet, kit: Sequence[str]) -> str:
    """Return why two loose bindings that may leave cannot go to that shop; "" where they can."""
    for name in kit:
        there = receiver.bindings.get(id_there(name, sender.shop, receiver.shop))
        if there is not None and there.on_pair not in receiver.lent:
            return f"{receiver.shop} has a binding {there.binding_id} of its own"
    return pattern_differs(sender, receiver, sender.bindings[kit[0]].pattern)


def movable(sender: Fleet, receiver: Fleet, now: datetime) -> Iterator[tuple[VanThing, tuple[str, ...]]]:
    """The things that may move from one shop to the other, each thing by its names, in canonical order."""
    for tag, pair in sender.pairs.items():
        if not (pair_stays(sender, pair, now) or pair_not_there(sender, receiver, pair)):
            yield VanThing.PAIR, (tag,)
    for tag, boot in sender.boots.items():
        if not (boot_stays(boot) or boot_not_there(receiver, boot)):
            yield VanThing.BOOT, (tag,)
    for kits in loose_kits(sender).values():
        for kit in kits:
            if not kit_not_there(sender, receiver, kit):
                yield VanThing.BINDINGS, kit


def not_there(sender: Fleet, receiver: Fleet) -> Iterator[tuple[str, str]]:
    """Yield the pairs, boots and sorts of bindings that cannot go to that shop whatever their standing."""
    for tag, pair in sender.pairs.items():
        if why := pair_not_there(sender, receiver, pair):
            yield tag, why
    for tag, boot in sender.boots.items():
        if why := boot_not_there(receiver, boot):
            yield tag, why
    for sort in loose_kits(sender):
        if why := pattern_differs(sender, receiver, sort.pattern):
            yield f"bindings {sort.pattern}", why


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainLink:
    """Things that no shop tells apart, and a shop that they may go to. ``members``: their names at home."""

    home: str
    reaches: str
    thing: VanThing
    members: tuple[Names, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainJobs:
    """A job for each shop, in the order of the chain. ``links``: by their number in the jobs.

    ``runs``: of each shop those that reach it, in the order of its rooms.
    """

    jobs: tuple[ShopJob, ...]
    links: tuple[ChainLink, ...]
    runs: tuple[tuple[VanRun, ...], ...]


def chain_jobs(
    fleets: Mapping[str, Fleet], chain: Chain, now: datetime, ways: SweptWays | None = None
) -> ChainJobs:
    """The jobs of a chain. ``fleets``: by the shop's name, each as its ledger has it."""
    offered = _offered(fleets, chain, now)
    extended: dict[str, Fleet] = {}
    for name, fleet in fleets.items():
        come = [
            (fleets[home], *thing)
            for (home, reaches), found in offered.items()
            if reaches == name
            for thing in found
        ]
        extended[name] = with_received(fleet, come)
    alike = {name: _Classes(fleet) for name, fleet in extended.items()}
    links: list[ChainLink] = []
    leaving: dict[str, list[Leaving]] = defaultdict(list)
    coming: dict[str, list[Coming]] = defaultdict(list)
    runs = {name: tuple(run for run in chain.runs if run.reaches == name) for name in fleets}
    for home in fleets:
        for (thing, _, where), members in _groups(home, offered, alike).items():
            numbers = []
            for reaches, _ in where:
                numbers.append(len(links))
                links.append(ChainLink(home=home, reaches=reaches, thing=thing, members=members))
                shops = fleets[home].shop, fleets[reaches].shop
                there = tuple(names_there(thing, names, *shops) for names in members)
                coming[reaches] += [
                    Coming(
                        thing=thing,
                        members=there,
                        link=numbers[-1],
                        room=len(VanThing) * number + list(VanThing).index(thing),
                        minutes=run.minutes,
                        price_cents=run.price_cents,
                    )
                    for number, run in enumerate(runs[reaches])
                    if run.leaves == home
                ]
            leaving[home].append(Leaving(thing=thing, members=members, links=tuple(numbers)))
    priorities = tuple(sorted({w.priority for fleet in fleets.values() for w in fleet.wishes}))
    return ChainJobs(
        jobs=tuple(
            ShopJob(
                fleet=extended[shop.name],
                minutes_limit=shop.minutes_limit,
                priorities=priorities,
                worth=any(mount_worths(fleet.policy) is not None for fleet in fleets.values()),
                leaving=tuple(leaving[shop.name]),
                coming=tuple(coming[shop.name]),
                rooms=tuple(run.room.get(thing, 0) for run in runs[shop.name] for thing in VanThing),
                budget_cents=shop.budget_cents,
                ways=ways or SweptWays(),
            )
            for shop in chain.shops
        ),
        links=tuple(links),
        runs=tuple(runs[shop.name] for shop in chain.shops),
    )


def names_there(thing: VanThing, names: Names, shop: str, there: str) -> Names:
    """The names of a thing of ``shop`` in the shop ``there``."""
    return tuple(id_there(name, shop, there) for name in names) if thing is VanThing.BINDINGS else names


def _offered(
    fleets: Mapping[str, Fleet], chain: Chain, now: datetime
) -> dict[tuple[str, str], tuple[tuple[VanThing, Names], ...]]:
    """The things that may move, by (from, to). Of two of one name for one shop, that of the first shop."""
    found: dict[tuple[str, str], tuple[tuple[VanThing, Names], ...]] = {}
    taken: dict[str, set[tuple[VanThing, Names]]] = defaultdict(set)
    for leaves, reaches in dict.fromkeys((run.leaves, run.reaches) for run in chain.runs):
        some = tuple(
            each
            for each in movable(fleets[leaves], fleets[reaches], now)
            if each[0] is VanThing.BINDINGS or each not in taken[reaches]
        )
        taken[reaches].update(some)
        found[leaves, reaches] = some
    return found


class _Classes:
    """The classes of things that a shop does not tell apart, in its fleet with everything that may come."""

    def __init__(self, fleet: Fleet) -> None:
        wishes = sorted(fleet.wishes, key=lambda w: w.wish)
        rule, bindings = KindRule(fleet.policy), count_bindings(fleet.bindings.values())
        plannable = [pair for pair in fleet.pairs.values() if pair.plannable]
        self.own, self.fleet = bindings.on_pair, fleet
        self.pairs = _number(c.tags for c in pair_classes(plannable, wishes, bindings, rule))
        self.boots = _number(c.tags for c in boot_classes(fleet.boots.values(), wishes, rule))

    def key(self, thing: VanThing, names: Names) -> object:
        """The same for what this shop does not tell apart; None for what it has no use for."""
        if thing is VanThing.BOOT:
            return self.boots.get(names[0])
        if thing is VanThing.BINDINGS:
            return BindingSort.of(self.fleet.bindings[names[0]])
        key = (self.pairs.get(names[0]), self.own.get(names[0]))
        return None if key == (None, None) else key


def _number(classes: Iterable[tuple[str, ...]]) -> dict[str, int]:
    return {tag: number for number, tags in enumerate(classes) for tag in tags}


_Key = tuple[VanThing, object, tuple[tuple[str, object], ...]]


def _groups(
    home: str,
    offered: Mapping[tuple[str, str], tuple[tuple[VanThing, Names], ...]],
    alike: Mapping[str, _Classes],
) -> dict[_Key, tuple[Names, ...]]:
    """The things that may leave a shop, by what it is there and everywhere that it may go to."""
    goes: dict[tuple[VanThing, Names], list[tuple[str, object]]] = defaultdict(list)
    for (leaves, reaches), things in offered.items():
        if leaves != home:
            continue
        for thing, names in things:
            shops = alike[home].fleet.shop, alike[reaches].fleet.shop
            there = alike[reaches].key(thing, names_there(thing, names, *shops))
            if there is not None:
                goes[thing, names].append((reaches, there))
    groups: dict[_Key, list[Names]] = defaultdict(list)
    for (thing, names), where in goes.items():
        groups[thing, alike[home].key(thing, names), tuple(where)].append(names)
    return {key: tuple(members) for key, members in groups.items()}


REPAIR_SECONDS: Final = 60.0
"""The time that the whole-number program of the moves may use; most chains need less than one."""
_TRIES: Final = 4

Plans = dict[str, Plan]


def plan_chain(
    fleets: Mapping[str, Fleet],
    chain: Chain,
    *,
    now: datetime,
    ready_by: str | None = None,
    processes: int | None = None,
    say: Callable[[str], None] | None = None,
    seconds: float = REPAIR_SECONDS,
) -> ChainPlan:
    """The best plan found for all shops together, judged, with what is proved of it. Writes nothing.

    ``fleets``: by the shop's name in the chain. A run of a day gone by, or after the sets must be ready,
    takes nothing along. Raises PlanFault where the judge objects, BadInput where a shop with a budget has not
    set what its parts cost.
    """
    for shop in chain.shops:
        if shop.budget_cents is not None:
            refuse_no_prices(fleets[shop.name].policy)
    chain = in_time(chain, fleets, now, ready_by)
    say = say or (lambda _: None)
    say(f"looking for ways: {len(fleets)} shops")
    jobs = chain_jobs(fleets, chain, now)
    levels = chain_levels(jobs.jobs[0].priorities, worth=jobs.jobs[0].worth)
    with SideBySide(processes) as side:
        proofs, moves = choose_moves(jobs, side, levels, say, seconds)

        def made(moves: Sequence[ChainMove], kept: Plans) -> Plans:
            """The plans after these moves; those ``kept`` are not made again."""
            names = [name for name in fleets if name not in kept]
            after = after_moves(fleets, chain, moves)
            limits = {shop.name: shop.minutes_limit for shop in chain.shops}
            left = chain.parts_limits_cents(moves)
            say(f"planning {len(names)} shops with {len(moves)} things moved")
            plans = side.each(
                _plan,
                [after[name] for name in names],
                [utc_text(now)] * len(names),
                [ready_by] * len(names),
                [limits[name] for name in names],
                [left[name] for name in names],
            )
            return {name: plan for name in fleets for plan in (kept.get(name),) if plan} | dict(
                zip(names, plans, strict=True)
            )

        plans = made(moves, {})
        for _ in range(_TRIES):
            idle = _not_used(fleets, chain, moves, plans)
            if not idle:
                break
            moves = tuple(move for move in moves if move not in idle)
            touched = chain.ends(idle)
            plans = made(moves, {name: plan for name, plan in plans.items() if name not in touched})
        at_home = chain.ends(moves)
        alone = made((), {name: plan for name, plan in plans.items() if name not in at_home})
    if moves and chain_values(fleets, chain, (), alone) <= chain_values(fleets, chain, moves, plans):
        moves, plans = (), alone
    values = chain_values(fleets, chain, moves, plans)
    plan = ChainPlan(
        made_at=utc_text(now),
        moves=tuple(sorted(moves, key=lambda m: (m.run, m.thing, m.names))),
        plans={name: plans[name] for name in fleets},
        levels=tuple(
            ChainLevel(name=name, value=value, bound=proof.bound(values[:number]))
            for number, (name, value, proof) in enumerate(zip(levels, values, proofs, strict=True))
        ),
        stays=tuple(_stays(fleets, chain, now)),
    )
    say("judging")
    if objections := judge_chain(fleets, chain, plan, now):
        raise PlanFault(
            f"the judge refuses the chain's plan ({len(objections)} objections): {objections[0]}",
            cure="nothing was written; please report this with the ledgers",
        )
    return plan


def in_time(chain: Chain, fleets: Mapping[str, Fleet], now: datetime, ready_by: str | None = None) -> Chain:
    """The chain with the runs that still leave, by the calendar of the shop they leave, and come in time."""

    def leaves(run: VanRun) -> bool:
        today = day_at(now, fleets[run.leaves].zone).isoformat()
        return today <= run.day and (ready_by is None or run.day <= ready_by)

    return replace(chain, runs=tuple(run for run in chain.runs if leaves(run)))


def choose_moves(
    jobs: ChainJobs, side: SideBySide, levels: Sequence[str], say: Callable[[str], None], seconds: float
) -> tuple[tuple[ChainProof, ...], tuple[ChainMove, ...]]:
    """The proof of each level, and the moves of the best whole plan of what any shop wanted."""
    frames = side.open(jobs.jobs)
    proofs, master = settle_prices(
        frames, len(jobs.links), lambda ask: side.ask(len(frames), ask), say, levels
    )
    say("choosing the moves")
    return proofs, tuple(_moves(jobs, master, master.whole(Deadline(seconds))))


def _plan(
    fleet: Fleet, made_at: str, ready_by: str | None, minutes_limit: int | None, money_cents: int | None
) -> Plan:
    return plan_fleet(
        fleet,
        made_at=made_at,
        ready_by=ready_by,
        minutes_limit=minutes_limit,
        parts_limit_cents=money_cents,
    )


def _moves(jobs: ChainJobs, master: Master, values: Ints) -> Iterator[ChainMove]:
    """The things that come by each run in a whole plan of the master."""
    left: dict[tuple[str, VanThing, tuple[Names, ...]], Iterator[Names]] = {}
    counts = {
        (shop, column.number): count
        for (shop, column), count in zip(master.joined, values.tolist(), strict=True)
        if column.sign > 0 and count
    }
    for (shop, number), count in sorted(counts.items()):
        job = jobs.jobs[shop]
        coming = job.coming[number - _first_coming(jobs, master, shop)]
        link = jobs.links[coming.link]
        group = left.setdefault((link.home, link.thing, link.members), iter(link.members))
        run = jobs.runs[shop][coming.room // len(VanThing)]
        for _ in range(count):
            yield ChainMove(run=run.name, thing=link.thing, names=next(group))


def _first_coming(jobs: ChainJobs, master: Master, shop: int) -> int:
    """The number of the shop's first column of what comes: those of what leaves stand before."""
    moves = master.frames[shop].moves
    return (moves[0].number if moves else 0) + sum(len(each.links) for each in jobs.jobs[shop].leaving)


def _not_used(
    fleets: Mapping[str, Fleet], chain: Chain, moves: Sequence[ChainMove], plans: Mapping[str, Plan]
) -> set[ChainMove]:
    """The moves of what serves no set where it came to."""
    idle: set[ChainMove] = set()
    kits: dict[tuple[str, BindingSort], list[ChainMove]] = defaultdict(list)
    for move in moves:
        run = chain.run(move.run)
        plan = plans[run.reaches]
        if move.thing is VanThing.BINDINGS:
            sort = BindingSort.of(fleets[run.leaves].bindings[move.names[0]])
            kits[run.reaches, sort].append(move)
        elif not any(move.names[0] in (s.pair, s.boot, s.binding_from) for s in plan.sets):
            idle.add(move)
    for (shop, sort), came in kits.items():
        taken = sum(
            s.binding_from == "stock" and BindingSort.named(s.way.pattern, s.brake_um) == sort
            for s in plans[shop].sets
        )
        needed = taken - count_bindings(fleets[shop].bindings.values()).stock.get(sort, 0)
        idle.update(came[max(0, needed) :])
    return idle


def _stays(fleets: Mapping[str, Fleet], chain: Chain, now: datetime) -> Iterator[tuple[str, str, str]]:
    """The things that no van may take of the shops that a van leaves, or to one shop of those it goes to."""
    for name in dict.fromkeys(run.leaves for run in chain.runs):
        fleet = fleets[name]
        for tag, pair in fleet.pairs.items():
            if why := pair_stays(fleet, pair, now):
                yield name, tag, why
        for tag, boot in fleet.boots.items():
            if why := boot_stays(boot):
                yield name, tag, why
    for leaves, reaches in dict.fromkeys((run.leaves, run.reaches) for run in chain.runs):
        for tag, why in not_there(fleets[leaves], fleets[reaches]):
            yield leaves, tag, f"not to {reaches}: {why}"
