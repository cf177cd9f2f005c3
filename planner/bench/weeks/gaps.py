"""An earlier plan kept to the minute: its visits stay, and other orders go into the gaps between.

An earlier plan's visits are taken over one by one where they still are legal on this bench; an order that is
new, or of which a visit no longer stands, is put into gaps without moving anybody else.
"""

from bisect import bisect_left, insort
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

from planner.bench.weeks.deadlines import Days
from planner.bench.weeks.figures import due_index
from planner.bench.weeks.values import Bench, Job, TimedVisit, Window

Stretch = tuple[int, int, str, bool]
"""Start and end of a jig's use, the sole length it is set for, whether it was set up for this use."""


def kept_visits(bench: Bench, jobs: Sequence[Job], before: Sequence[TimedVisit]) -> tuple[TimedVisit, ...]:
    """Return the earlier visits of these orders that are still legal, with the other orders in the gaps.

    An order for which no gap is found has no visits.
    """
    known = {job.number: job for job in jobs}
    wanted = [v for v in sorted(before, key=lambda v: (v.start, v.person)) if v.job in known]
    dropped = {job.number for job in jobs} - _whole(known, wanted)
    while True:
        standing = StandingVisits(bench)
        fallen = {v.job for v in wanted if v.job not in dropped and not standing.takes_over(known[v.job], v)}
        if not fallen:
            break
        dropped |= fallen
    for job in sorted(jobs, key=lambda job: (due_index(bench, job), -job.weight, job.number)):
        if job.number in dropped:
            standing.insert(job)
    return tuple(sorted(standing.visits(), key=lambda v: (v.start, v.person)))


def _whole(known: dict[str, Job], visits: Sequence[TimedVisit]) -> set[str]:
    """Return numbers of the orders that have each of their visits once."""
    found: dict[str, list[int]] = defaultdict(list)
    for v in visits:
        found[v.job].append(v.visit)
    return {n for n, numbers in found.items() if sorted(numbers) == list(range(len(known[n].visits)))}


class StandingVisits:
    """Visits that stay, with the free time of people and jigs."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.days = bench, Days(bench)
        self.busy: dict[int, list[tuple[int, int]]] = defaultdict(list)
        self.uses: dict[tuple[str, int], list[Stretch]] = defaultdict(list)
        self.of: dict[str, list[TimedVisit]] = {}

    def visits(self) -> Iterator[TimedVisit]:
        """Yield all visits, order after order."""
        for visits in self.of.values():
            yield from visits

    def takes_over(self, job: Job, visit: TimedVisit) -> bool:
        """Keep the visit exactly as it is, if that is legal. Visits must come in order of their start."""
        asked = job.visits[visit.visit]
        length = asked.minutes + visit.sets_up * self.bench.setup_minutes
        mine = self.of.setdefault(job.number, [])
        place = self._place(job, mine, visit.start, visit.end, visit.person, (visit.jig, visit.sets_up))
        if visit.visit != len(mine) or visit.end - visit.start != length or place is None:
            return False
        self._stand(job, replace(visit, jig=place[0], sets_up=place[1]))
        return True

    def insert(self, job: Job) -> bool:
        """Put each visit as early as a gap allows; nothing else moves. Return False, with nothing done,
        without a gap.
        """
        self.of[job.number] = []
        for number in range(len(job.visits)):
            found = self._earliest(job, number)
            if found is None:
                self._take_out(job)
                return False
            self._stand(job, found)
        return True

    def _stand(self, job: Job, visit: TimedVisit) -> None:
        self.of[job.number].append(visit)
        insort(self.busy[visit.person], (visit.start, visit.end))
        jig = job.visits[visit.visit].jig
        if jig is not None and visit.jig is not None:
            insort(self.uses[jig.kind, visit.jig], (visit.start, visit.end, jig.setting, visit.sets_up))

    def _take_out(self, job: Job) -> None:
        for visit in self.of.pop(job.number):
            self.busy[visit.person].remove((visit.start, visit.end))
            jig = job.visits[visit.visit].jig
            if jig is not None and visit.jig is not None:
                self.uses[jig.kind, visit.jig].remove((visit.start, visit.end, jig.setting, visit.sets_up))

    def _earliest(self, job: Job, number: int) -> TimedVisit | None:
        mine, asked = self.of[job.number], job.visits[number]
        ready = self._ready(job, mine)
        best: TimedVisit | None = None
        for index in range(self.days.day_of(ready), len(self.bench.days)):
            for person, windows in sorted(self.bench.days[index].windows.items()):
                for start in self._starts(windows, person, ready, job, number):
                    if best is not None and start >= best.start:
                        break
                    found = self._fits(job, mine, start, person)
                    if found is not None:
                        jig, sets = found
                        end = start + asked.minutes + sets * self.bench.setup_minutes
                        best = TimedVisit(
                            job=job.number,
                            visit=number,
                            person=person,
                            start=start,
                            end=end,
                            jig=jig,
                            sets_up=sets,
                        )
                        break
            if best is not None:
                return best
        return None

    def _starts(self, windows: Sequence[Window], person: int, ready: int, job: Job, number: int) -> list[int]:
        """Return the minutes at which something changes for this person or a jig of the kind."""
        jig = job.visits[number].jig
        ends = {end for _, end in self.busy[person]} | {ready}
        if jig is not None:
            for unit in range(self.bench.jig_count(jig.kind)):
                ends |= {use[1] for use in self.uses[jig.kind, unit]}
        return sorted(
            start
            for w in windows
            for start in {w.start} | {e for e in ends if w.start < e < w.end}
            if start >= ready
        )

    def _ready(self, job: Job, mine: Sequence[TimedVisit]) -> int:
        if not mine:
            return max(job.ready, self.days.starts[0])
        return mine[-1].end + job.visits[mine[-1].visit].cure_minutes

    def _fits(
        self, job: Job, mine: Sequence[TimedVisit], start: int, person: int
    ) -> tuple[int | None, bool] | None:
        """Return (jig, True if it is set up) for a visit from this minute on, or None."""
        asked = job.visits[len(mine)]
        if asked.jig is None:
            return self._place(job, mine, start, start + asked.minutes, person, (None, False))
        for sets in (False, True):
            end = start + asked.minutes + sets * self.bench.setup_minutes
            for unit in range(self.bench.jig_count(asked.jig.kind)):
                place = self._place(job, mine, start, end, person, (unit, sets))
                if place is not None:
                    return place
        return None

    def _place(
        self,
        job: Job,
        mine: Sequence[TimedVisit],
        start: int,
        end: int,
        person: int,
        on: tuple[int | None, bool],
    ) -> tuple[int | None, bool] | None:
        """Return jig and set-up as given if the next visit of the job is legal there, else None."""
        asked, (unit, sets) = job.visits[len(mine)] if len(mine) < len(job.visits) else None, on
        if asked is None or start < self._ready(job, mine):
            return None
        if asked.people is not None and person not in asked.people:
            return None
        if asked.other_person and mine[-1].person == person:
            return None
        day = self.bench.days[self.days.day_of(start)]
        if not any(w.start <= start and end <= w.end for w in day.windows.get(person, ())):
            return None
        if not _free(self.busy[person], start, end):
            return None
        if asked.jig is None:
            return (None, False) if unit is None and not sets else None
        if unit is None or not 0 <= unit < self.bench.jig_count(asked.jig.kind):
            return None
        uses = self.uses[asked.jig.kind, unit]
        if not _free(uses, start, end):
            return None
        at = bisect_left(uses, (start,))
        stays = at > 0 and uses[at - 1][0] >= day.start and uses[at - 1][2] == asked.jig.setting
        breaks = at < len(uses) and not uses[at][3] and uses[at][2] != asked.jig.setting
        return None if breaks or not (stays or sets) else (unit, sets)


def _free(taken: Sequence[tuple[int, ...]] | Sequence[Stretch], start: int, end: int) -> bool:
    at = bisect_left(taken, (start,))
    if at < len(taken) and taken[at][0] < end:
        return False
    return at == 0 or taken[at - 1][1] <= start
