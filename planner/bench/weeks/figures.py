"""The objective of a list of timed visits: late, left over, set-ups, earliest. Knows no solver."""

from collections.abc import Sequence

from planner.bench.weeks.values import Bench, Figures, Job, TimedVisit


def day_index(bench: Bench, minute: int) -> int | None:
    """Return the index of the open day that holds a minute (first to last bench minute), or None."""
    for index, day in enumerate(bench.days):
        if day.start <= minute <= day.end:
            return index
    return None


def due_index(bench: Bench, job: Job) -> int:
    """Return the last open day on which the job is on time; -1 if even the first is late."""
    if job.due is None:
        return len(bench.days) - 1
    return sum(day.day <= job.due for day in bench.days) - 1


def measure(
    bench: Bench, jobs: Sequence[Job], visits: Sequence[TimedVisit]
) -> tuple[Figures, tuple[str, ...], tuple[str, ...]]:
    """Return (figures, late numbers, left-over numbers); an order left over is late too."""
    of: dict[str, list[TimedVisit]] = {job.number: [] for job in jobs}
    for visit in visits:
        of[visit.job].append(visit)
    ends = [day.end for day in bench.days]
    late, left, late_weight, left_weight, finish = [], [], 0, 0, 0
    for job in jobs:
        mine = of[job.number]
        done = len(mine) >= len(job.visits)
        day = _first_at_least(ends, max(v.end for v in mine)) if done else len(ends)
        finish += day
        if not done:
            left.append(job.number)
            left_weight += job.weight
        if day > due_index(bench, job):
            late.append(job.number)
            late_weight += job.weight
    setups = sum(v.sets_up for v in visits)
    figures = Figures(late_weight=late_weight, left_weight=left_weight, setups=setups, finish_days=finish)
    return figures, tuple(sorted(late)), tuple(sorted(left))


def _first_at_least(ends: Sequence[int], minute: int) -> int:
    from bisect import bisect_left

    return bisect_left(ends, minute)
