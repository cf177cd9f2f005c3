"""The plan of the bench weeks: days for the orders to be on time, dispatch, prove or state the gap, judge.

The model that won (measured in tests/bench): whole days as whole numbers decide which orders can be on
time, on which day each visit stands, and with how few set-ups; each day is then packed by jig with the
exact clock. A list read hour by hour is tried beside it. Small benches go through the exact search as well.
What stays between plan and bound is printed, never rounded away.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from time import process_time

from fleet.base.errors import PlanFault
from planner.bench.weeks.day_fill import AGAIN_MOST, fill_days
from planner.bench.weeks.day_model import days_to_work_by, plan_days
from planner.bench.weeks.deadlines import Days, time_windows
from planner.bench.weeks.dispatch import DispatchRule, Ranks, dispatch
from planner.bench.weeks.figures import measure
from planner.bench.weeks.gaps import kept_visits
from planner.bench.weeks.judge import judge_bench_plan
from planner.bench.weeks.late_model import least_late_and_left
from planner.bench.weeks.values import Bench, BenchPlan, Figures, JigUse, Job, Proof, TimedVisit

FAR = 10**8
"""Added to the rank of what cannot be on time: after everything that can."""
SMALL = 8
"""Up to so many orders the exact search runs as well."""
TURNS = 4
"""The most times that the same days are packed: each turn begins from other seeds."""
DAYS, DAYS_OF_MANY = 2 / 5, 1 / 2
"""The share of the seconds left that planning the days may take; those of many orders are planned once."""
_DAY = 24 * 60
DISPATCH_RULES = tuple(
    DispatchRule(stay_minutes=stay * _DAY, wait_minutes=wait * _DAY)
    for stay in (1, 2, 3, 100)
    for wait in (0, 1)
)

Found = tuple[Figures, tuple[TimedVisit, ...], str]


def plan_bench(
    bench: Bench,
    jobs: Sequence[Job],
    *,
    seconds: float = 30.0,
    before: Sequence[TimedVisit] = (),
    progress: Callable[[str], None] | None = None,
) -> BenchPlan:
    """Return the best plan found, with its proofs; it is judged first.

    ``before``: the visits of an earlier plan; then, after late and left over, as few orders as possible
    move to another day. ``seconds`` of this process's own work (not of the wall's clock) bound the search:
    where they end it, the same input may give another plan. Raises PlanFault if the judge objects.
    """
    jobs = sorted(jobs, key=lambda job: job.number)
    if not jobs:
        return _finished(bench, jobs, (), Proof(late_weight=0, left_weight=0, setups=0), "nothing to do", ())
    ends = process_time() + seconds
    late, left = least_late_and_left(bench, jobs, seconds=min(10.0, seconds / 4))
    proof = Proof(late_weight=late, left_weight=left)
    best = _best_of(_tries(bench, jobs, process_time() + seconds / 20), bench, before)
    best = _better(best, _kept_days(bench, jobs, before, process_time() + seconds / 4), bench, before)
    if len(jobs) <= SMALL:
        from planner.bench.weeks.interval_model import solve_exactly

        exact = solve_exactly(bench, jobs, seconds=seconds / 2)
        if exact is not None:
            found = (measure(bench, jobs, exact.visits)[0], exact.visits, "exact search")
            best = _better(best, found, bench, before)
            proof = exact.proof
    else:
        best, proof = _by_days(bench, jobs, best, proof, seconds, ends, before, progress)
        proof = replace(proof, setups=_setups_bound(bench, jobs) if not best[0].left_weight else None)
    return _finished(bench, jobs, best[1], proof, best[2], before)


def _by_days(
    bench: Bench,
    jobs: Sequence[Job],
    best: Found,
    proof: Proof,
    seconds: float,
    ends: float,
    before: Sequence[TimedVisit],
    progress: Callable[[str], None] | None,
) -> tuple[Found, Proof]:
    """Return the days of the day model, packed by the clock as often as there is time for; its bound where it
    is higher.
    """
    bound = _setups_bound(bench, jobs)
    if best[0].key()[:3] == (proof.late_weight, 0, bound):
        return best, proof
    share = DAYS if len(jobs) <= AGAIN_MOST else DAYS_OF_MANY
    work_by = days_to_work_by(bench, jobs, seconds=share * max(0.0, ends - process_time()))
    if work_by is None:
        return best, proof
    took = 0.0
    for turn in range(TURNS):
        begun = process_time()
        if turn and (best[0].late_weight <= (proof.late_weight or 0) or begun + took > ends):
            break
        best = _better(best, _packed(bench, jobs, work_by.day_of, ends, turn), bench, before)
        took = process_time() - begun
        if progress is not None:
            progress(f"late weight {best[0].late_weight}, no plan below {proof.late_weight}")
        if not turn and best[0].late_weight > (proof.late_weight or 0):
            # half of what is left: the solver hears of the end of its time between its steps only
            days = plan_days(bench, jobs, seconds=min(seconds / 6, max(0.0, ends - process_time()) / 2))
            if days is not None:
                proof = replace(proof, late_weight=max(proof.late_weight or 0, days.late_bound))
    return best, proof


def _tries(bench: Bench, jobs: Sequence[Job], ends: float) -> list[Found]:
    """Return one dispatch for each rule; at least one, however late it is."""
    ranks = due_ranks(bench, jobs)
    workable = [job for job in jobs if job.number in ranks]
    found: list[Found] = []
    for rule in DISPATCH_RULES:
        if found and process_time() > ends:
            break
        visits = whole_orders(bench, workable, ranks, rule)
        found.append((measure(bench, jobs, visits)[0], visits, "day model and replay"))
    return found


def due_ranks(bench: Bench, jobs: Sequence[Job]) -> dict[str, tuple[int, ...]]:
    """Return ranks by the latest end that is still on time; jobs that cannot be on time come after.

    A job that cannot be done within these days at all has no rank.
    """
    ranks = {}
    for job, on_window, done_window in zip(jobs, *time_windows(bench, jobs), strict=True):
        if on_window is not None:
            ranks[job.number] = on_window.latest_end
        elif done_window is not None:
            ranks[job.number] = tuple(FAR + end for end in done_window.latest_end)
    return ranks


def whole_orders(
    bench: Bench, jobs: Sequence[Job], ranks: Ranks, rule: DispatchRule
) -> tuple[TimedVisit, ...]:
    """Dispatch until every order that is begun is also finished; the others are left over untouched."""
    while True:
        visits = dispatch(bench, jobs, ranks, rule)
        done: dict[str, int] = {}
        for visit in visits:
            done[visit.job] = done.get(visit.job, 0) + 1
        whole = [job for job in jobs if done.get(job.number, 0) == len(job.visits)]
        if len(whole) == len(jobs):
            return visits
        jobs = whole


def _packed(
    bench: Bench, jobs: Sequence[Job], day_of: Mapping[str, tuple[int, ...]], ends: float, turn: int
) -> Found:
    """Return the days of these orders packed by the clock, by then at the latest."""
    visits = fill_days(bench, jobs, day_of, until=ends, turn=turn)
    return measure(bench, jobs, visits)[0], visits, "day model, days packed by jig"


def _kept_days(bench: Bench, jobs: Sequence[Job], before: Sequence[TimedVisit], until: float) -> Found | None:
    """Return the earlier plan as it stands, or its days, or its order; new orders come into gaps.

    ``until``: the moment of this process's clock after which its days are filled by one rule each.
    """
    if not before:
        return None
    standing = kept_visits(bench, jobs, before)
    stays = measure(bench, jobs, standing)[0], standing, "earlier plan, kept"
    old = {(v.job, v.visit): v.start for v in before}
    ranks, day_of, days = {}, {}, Days(bench)
    for job, ends in due_ranks(bench, jobs).items():
        ranks[job] = tuple(old.get((job, n), end % FAR) for n, end in enumerate(ends))
        day_of[job] = tuple(days.day_of(rank) for rank in ranks[job])
    workable = [job for job in jobs if job.number in ranks]
    visits = whole_orders(bench, workable, ranks, DispatchRule(stay_minutes=60))
    listed = measure(bench, jobs, visits)[0], visits, "order of the earlier plan"
    packed = fill_days(bench, jobs, day_of, until=until, again=False)
    kept = measure(bench, jobs, packed)[0], packed, "days of the earlier plan, packed by jig"
    return _best_of((stays, listed, kept), bench, before)


def moved_orders(bench: Bench, before: Sequence[TimedVisit], after: Sequence[TimedVisit]) -> tuple[str, ...]:
    """Return the orders of both plans that have a visit on another day now."""
    from planner.bench.weeks.calendar import wall

    old = {(v.job, v.visit): wall(v.start, bench.zone).date() for v in before}
    return tuple(
        sorted(
            {
                v.job
                for v in after
                if (v.job, v.visit) in old and old[v.job, v.visit] != wall(v.start, bench.zone).date()
            }
        )
    )


def _key(found: Found, bench: Bench, before: Sequence[TimedVisit]) -> tuple[int, ...]:
    figures, visits, _ = found
    moved = len(moved_orders(bench, before, visits)) if before else 0
    return (figures.late_weight, figures.left_weight, moved, figures.setups, figures.finish_days)


def _best_of(found: Sequence[Found], bench: Bench, before: Sequence[TimedVisit]) -> Found:
    return min(found, key=lambda f: _key(f, bench, before))


def _better(old: Found, new: Found | None, bench: Bench, before: Sequence[TimedVisit]) -> Found:
    return old if new is None else _best_of((old, new), bench, before)


def _setups_bound(bench: Bench, jobs: Sequence[Job]) -> int:
    """Return a lower bound of set-ups for all of this work: each setting, a jig's longest day at a time."""
    work: dict[JigUse, int] = {}
    for job in jobs:
        for visit in job.visits:
            if visit.jig is not None:
                work[visit.jig] = work.get(visit.jig, 0) + visit.minutes
    room = max(1, max(day.end - day.start for day in bench.days) - bench.setup_minutes)
    # -(-a // b) rounds up: part of a day needs a set-up too
    return sum(-(-amount // room) for amount in work.values())


def _finished(
    bench: Bench,
    jobs: Sequence[Job],
    visits: tuple[TimedVisit, ...],
    proof: Proof,
    how: str,
    before: Sequence[TimedVisit],
) -> BenchPlan:
    figures, late, left = measure(bench, jobs, visits)
    plan = BenchPlan(
        visits=tuple(sorted(visits, key=lambda v: (v.start, v.person))),
        late=late,
        left_over=left,
        moved=moved_orders(bench, before, visits),
        figures=figures,
        proof=proof,
        how=how,
    )
    objections = judge_bench_plan(bench, jobs, plan)
    if objections:
        raise PlanFault(
            f"the check refused the bench plan: {objections[0]}",
            cure="nothing was written; please report this with the ledger's head",
        )
    return plan
