"""Iterative repair: missed orders move forward in the list, it is read again; hopeless ones are given up.

A list read once puts first what is due first. Where an order that could be on time is late all the same,
it had to begin earlier: for its jig's turn, its cure or its second person. So it is moved forward in the
list. If that only pushes others out, the order that costs least for the minutes it frees is given up.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from time import process_time

from planner.bench.weeks.dispatch import Ranks
from planner.bench.weeks.figures import due_index, measure
from planner.bench.weeks.values import Bench, Figures, Job, TimedVisit

Read = Callable[[Ranks, int], tuple[TimedVisit, ...]]
"""Reads a ranking by the rule with this index (taken round)."""

FORWARD = 12 * 60
"""Minutes that a missed order moves forward in the list each time it is missed."""
FIRST_ROUND = 8
"""So many readings try the rules in turn; later ones mostly keep the rule of the best."""
PATIENCE = 6
"""Readings without anything better before an order is given up or taken up again."""


def iterative_repair(
    bench: Bench,
    jobs: Sequence[Job],
    ranks_of: Callable[[Collection[str]], Mapping[str, tuple[int, ...]]],
    on_time: Collection[str],
    read: Read,
    *,
    readings: int,
    good_enough: int,
    ends: float,
) -> tuple[Figures, tuple[TimedVisit, ...]] | None:
    """Return the best of so many readings, by late and left weight, then set-ups; None if there was no time.

    ``ranks_of``: the list with these orders in front by their latest end and the others behind.
    ``good_enough``: a late weight that nothing goes below. ``ends``: the moment of this process's clock after
    which no reading ends. The same input gives the same readings.
    """
    known = {job.number: job for job in jobs}
    due = {job.number: due_index(bench, job) for job in jobs}
    wanted = set(on_time)
    forward: dict[str, int] = {}
    best: tuple[Figures, tuple[TimedVisit, ...]] | None = None
    idle, best_rule, longest = 0, 0, 0.0
    base = ranks_of(wanted)
    for reading in range(readings):
        if process_time() + longest > ends:
            break
        begun = process_time()
        ranks = {n: tuple(r - forward.get(n, 0) for r in ends) for n, ends in base.items()}
        rule = reading if reading < FIRST_ROUND or reading % 4 == 0 else best_rule
        visits = read(ranks, rule)
        figures, late, _ = measure(bench, jobs, visits)
        longest = max(longest, process_time() - begun)
        if best is None or figures.key() < best[0].key():
            idle = 0 if best is None or figures.late_weight < best[0].late_weight else idle + 1
            best, best_rule = (figures, visits), rule
        else:
            idle += 1
        if best[0].late_weight <= good_enough:
            break
        missed = [n for n in late if n in wanted]
        for number in missed:
            forward[number] = forward.get(number, 0) + FORWARD
        if missed and idle >= PATIENCE:
            last = max(due[n] for n in missed)
            wanted.discard(
                min(
                    (n for n in sorted(wanted) if due[n] <= last), key=lambda n: _price(known[n], n in missed)
                )
            )
        elif not missed:
            given_up = [n for n in late if n in base and due[n] >= 0]
            if not given_up:
                break
            wanted.add(max(given_up, key=lambda n: (known[n].weight, -_minutes(known[n]), n)))
        else:
            continue
        idle = 0
        base = ranks_of(wanted)
    return best


def _minutes(job: Job) -> int:
    return sum(visit.minutes for visit in job.visits)


def _price(job: Job, missed: bool) -> tuple[float, bool, str]:
    """Return the weight for each minute that giving the order up frees; of equals one that is late anyway."""
    return job.weight / _minutes(job), not missed, job.number
