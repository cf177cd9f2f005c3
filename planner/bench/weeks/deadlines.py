"""Time windows of visits, by opening hours and cures alone: no earlier than, no later than.

Optimistic on purpose: with people and jigs left out, no real plan can do better, so what is impossible
here is impossible on the bench, and capacity counted against it gives a valid bound.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from planner.bench.weeks.figures import due_index
from planner.bench.weeks.values import Bench, Job


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeWindow:
    """For each visit of a job: the earliest and the latest day and minute (indexes, UTC)."""

    earliest_day: tuple[int, ...]
    latest_day: tuple[int, ...]
    latest_end: tuple[int, ...]


class Days:
    """The open days as sorted starts and ends, for fast look-up."""

    def __init__(self, bench: Bench) -> None:
        self.starts = [day.start for day in bench.days]
        self.ends = [day.end for day in bench.days]

    def latest(self, end_by: int, minutes: int) -> tuple[int, int] | None:
        """Return (day, end) of the latest place for a visit that ends by ``end_by``, or None."""
        day = bisect_right(self.starts, end_by - minutes) - 1
        while day >= 0:
            end = min(end_by, self.ends[day])
            if end - minutes >= self.starts[day]:
                return day, end
            day -= 1
        return None

    def day_of(self, minute: int) -> int:
        """Return the open day that a minute falls into, or the last that began before it."""
        return max(0, bisect_right(self.starts, minute) - 1)

    def earliest(self, from_: int, minutes: int) -> tuple[int, int] | None:
        """Return (day, end) of the earliest place for a visit that starts from ``from_`` on, or None."""
        day = bisect_left(self.ends, from_ + minutes)
        while day < len(self.ends):
            start = max(from_, self.starts[day])
            if start + minutes <= self.ends[day]:
                return day, start + minutes
            day += 1
        return None


def _time_window(job: Job, days: Days, last_day: int) -> TimeWindow | None:
    """The windows of the visits of a job whose last one must end by that day's close; None if none fit."""
    if last_day < 0:
        return None
    earliest = []
    at = max(days.starts[0], job.ready)
    for visit in job.visits:
        found = days.earliest(at, visit.minutes)
        if found is None or found[0] > last_day:
            return None
        earliest.append(found[0])
        at = found[1] + visit.cure_minutes
    latest: list[tuple[int, int]] = []
    end_by = days.ends[last_day]
    for number in range(len(job.visits) - 1, -1, -1):
        place = days.latest(end_by, job.visits[number].minutes)
        if place is None or place[0] < earliest[number]:
            return None
        latest.append(place)
        if number:
            end_by = place[1] - job.visits[number].minutes - job.visits[number - 1].cure_minutes
    latest.reverse()
    return TimeWindow(
        earliest_day=tuple(earliest),
        latest_day=tuple(day for day, _ in latest),
        latest_end=tuple(end for _, end in latest),
    )


def time_windows(
    bench: Bench, jobs: Sequence[Job]
) -> tuple[list[TimeWindow | None], list[TimeWindow | None]]:
    """Return (windows to be on time, windows to be done at all), in the order of the jobs."""
    days, last = Days(bench), len(bench.days) - 1
    by_shape: dict[tuple[object, int, int], TimeWindow | None] = {}

    def found(job: Job, by: int) -> TimeWindow | None:
        key = (job.visits, by, job.ready)
        if key not in by_shape:
            by_shape[key] = _time_window(job, days, by)
        return by_shape[key]

    return [found(job, due_index(bench, job)) for job in jobs], [found(job, last) for job in jobs]
