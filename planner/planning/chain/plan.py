"""The ledgers of a chain in, one judged proposal out: prices, moves, each shop's plan, what is proved."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final

from fleet.base.days import day_at
from fleet.base.entries import utc_text
from fleet.base.errors import PlanFault
from fleet.rules.loads import boot_stays, pair_stays
from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, ChainLevel, ChainMove, ChainPlan, VanRun, VanThing, after_moves
from planner.plan.part_prices import refuse_no_prices
from planner.plan.values import Plan
from planner.planning.assign.classes import BindingSort, count_bindings
from planner.planning.assign.deadline import Deadline
from planner.planning.assign.linear_program import Ints
from planner.planning.assign.plan import plan_fleet
from planner.planning.chain.jobs import ChainJobs, chain_jobs, not_there
from planner.planning.chain.prices import ChainProof, Settled, settle_prices
from planner.planning.chain.shop_program import Names, chain_levels
from planner.planning.chain.side_by_side import SideBySide
from planner.planning.judge.moves import chain_values, judge_chain

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
    settled = settle_prices(frames, len(jobs.links), lambda ask: side.ask(len(frames), ask), say, levels)
    say("choosing the moves")
    return settled.proofs, tuple(_moves(jobs, settled, settled.master.whole(Deadline(seconds))))


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


def _moves(jobs: ChainJobs, settled: Settled, values: Ints) -> Iterator[ChainMove]:
    """The things that come by each run in a whole plan of the master."""
    left: dict[tuple[str, VanThing, tuple[Names, ...]], Iterator[Names]] = {}
    counts = {
        (shop, column.number): count
        for (shop, column), count in zip(settled.master.joined, values.tolist(), strict=True)
        if column.sign > 0 and count
    }
    for (shop, number), count in sorted(counts.items()):
        job = jobs.jobs[shop]
        coming = job.coming[number - _first_coming(jobs, settled, shop)]
        link = jobs.links[coming.link]
        group = left.setdefault((link.home, link.thing, link.members), iter(link.members))
        run = jobs.runs[shop][coming.room // len(VanThing)]
        for _ in range(count):
            yield ChainMove(run=run.name, thing=link.thing, names=next(group))


def _first_coming(jobs: ChainJobs, settled: Settled, shop: int) -> int:
    """The number of the shop's first column of what comes: those of what leaves stand before."""
    moves = settled.master.frames[shop].moves
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
