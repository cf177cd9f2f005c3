"""Dispatch: a ranking of visits becomes timed visits, hour by hour, as people, jigs and cures allow.

One pass over the bench weeks. Whoever is free first takes the most urgent visit that may begin; a jig that
is set up keeps its setting as long as there is work for it that day.
"""

import heapq
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from planner.bench.weeks.values import Bench, JigUse, Job, TimedVisit, Visit

_NEVER = 10**12

Ranks = Mapping[str, tuple[int, ...]]
"""For each job's number the urgency of each visit: a UTC minute by which it should end; small is urgent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DispatchRule:
    """A dispatching rule: the way in which the list is read. Each is tried; the best plan counts.

    ``stay_minutes``: work on a jig that is set counts as this much more urgent. ``wait_minutes``: a jig is
    set up only for work that is due within this, or when all that goes with it lies ready.
    """

    stay_minutes: int = 3 * 24 * 60
    wait_minutes: int = 10**9


class _Unit:
    """One jig: the minute when it is free, its setting, and the day since when."""

    __slots__ = ("day", "free", "setting")

    def __init__(self) -> None:
        self.free, self.setting, self.day = 0, "", -1


def dispatch(bench: Bench, jobs: Sequence[Job], ranks: Ranks, rule: DispatchRule) -> tuple[TimedVisit, ...]:
    """Return the visits of the jobs with person and time, by one pass over the bench weeks."""
    return _Dispatch(bench, jobs, ranks, rule).run()


class _Dispatch:
    """The pass itself: queues of visits that may begin, and one walk through each day."""

    def __init__(self, bench: Bench, jobs: Sequence[Job], ranks: Ranks, rule: DispatchRule) -> None:
        self.bench, self.rule, self.ranks = bench, rule, ranks
        self.jobs = {job.number: job for job in jobs}
        self.minutes = {job.number: tuple(visit.minutes for visit in job.visits) for job in jobs}
        self.last_person: dict[str, int] = {}
        self.out: list[TimedVisit] = []
        self.curing: list[tuple[int, str, int]] = []  # (ready at, number, visit)
        self.plain: list[tuple[int, str, int]] = []  # heap (rank, number, visit)
        self.on_jig: dict[JigUse, list[tuple[int, str, int]]] = defaultdict(list)
        # visits that are not ready yet: how many of each rank
        self.to_come: dict[JigUse, dict[int, int]] = defaultdict(lambda: defaultdict(int))
        self.shortest: dict[JigUse, int] = {}
        self.units: dict[str, list[_Unit]] = {}
        for job in jobs:
            for index, visit in enumerate(job.visits):
                if visit.jig is not None:
                    shortest = min(visit.minutes, self.shortest.get(visit.jig, visit.minutes))
                    self.shortest[visit.jig] = shortest
                    self.to_come[visit.jig][ranks[job.number][index]] += 1
                    self.units.setdefault(
                        visit.jig.kind, [_Unit() for _ in range(bench.jig_count(visit.jig.kind))]
                    )
            heapq.heappush(self.curing, (max(job.ready, bench.days[0].start), job.number, 0))

    def run(self) -> tuple[TimedVisit, ...]:
        for index, day in enumerate(self.bench.days):
            free = [
                (w.start, p, i) for p, ws in day.windows.items() for i, w in enumerate(ws)
            ]  # a person's second window waits its turn: the start orders them
            heapq.heapify(free)
            while free:
                now, person, window = heapq.heappop(free)
                end = day.windows[person][window].end
                self._wake(now)
                taken = self._take(index, now, person, end)
                if taken is not None:
                    if taken.end < end:
                        heapq.heappush(free, (taken.end, person, window))
                elif (later := self._next_change(now, [f[0] for f in free])) < end:
                    heapq.heappush(free, (later, person, window))
        return tuple(sorted(self.out, key=lambda v: (v.start, v.person)))

    def _wake(self, now: int) -> None:
        while self.curing and self.curing[0][0] <= now:
            _, number, visit = heapq.heappop(self.curing)
            jig = self.jobs[number].visits[visit].jig
            entry = (self.ranks[number][visit], number, visit)
            if jig is None:
                heapq.heappush(self.plain, entry)
            else:
                waiting = self.to_come[jig]
                waiting[entry[0]] -= 1
                if not waiting[entry[0]]:
                    del waiting[entry[0]]
                heapq.heappush(self.on_jig[jig], entry)

    def _next_change(self, now: int, frees: Sequence[int]) -> int:
        times = [t for t in frees if t > now]
        times += [u.free for units in self.units.values() for u in units if u.free > now]
        if self.curing:
            times.append(self.curing[0][0])
        return min(times, default=_NEVER)

    def _may(self, number: str, visit: Visit, person: int) -> bool:
        if visit.people is not None and person not in visit.people:
            return False
        return not (visit.other_person and self.last_person.get(number) == person)

    def _first(self, heap: list[tuple[int, str, int]], person: int, room: int) -> tuple[int, str, int] | None:
        """Return the most urgent entry this person may do in this room; at most 40 others are skipped."""
        if heap and self._fits(heap[0], person, room):
            return heap[0]
        passed: list[tuple[int, str, int]] = []
        found = None
        while heap and len(passed) < 40:
            entry = heapq.heappop(heap)
            passed.append(entry)
            if self._fits(entry, person, room):
                found = entry
                break
        for entry in passed:
            heapq.heappush(heap, entry)
        return found

    def _fits(self, entry: tuple[int, str, int], person: int, room: int) -> bool:
        _, number, index = entry
        if self.minutes[number][index] > room:
            return False
        return self._may(number, self.jobs[number].visits[index], person)

    def _take(self, day: int, now: int, person: int, end: int) -> TimedVisit | None:
        best: tuple[int, int, tuple[int, str, int], JigUse | None, int, bool] | None = None
        entry = self._first(self.plain, person, end - now)
        if entry is not None:
            best = (entry[0], 0, entry, None, -1, False)
        for jig, heap in self.on_jig.items():
            if not heap or end - now < self.shortest[jig]:
                continue
            if best is not None and heap[0][0] - self.rule.stay_minutes > best[0]:
                continue
            unit, sets = self._unit(jig, day, now, end)
            if unit is None:
                continue
            setup = self.bench.setup_minutes if sets else 0
            if end - now - setup < self.shortest[jig]:
                continue
            entry = self._first(heap, person, end - now - setup)
            if entry is None:
                continue
            if sets and not self._worth(jig, heap, entry, now, end):
                continue
            urgency = entry[0] if sets else entry[0] - self.rule.stay_minutes
            if best is None or (urgency, int(sets)) < best[:2]:
                best = (urgency, int(sets), entry, jig, unit, sets)
        if best is None:
            return None
        _, _, chosen, on, number, sets = best
        return self._do(day, now, person, chosen, on, number, sets)

    def _unit(self, jig: JigUse, day: int, now: int, end: int) -> tuple[int | None, bool]:
        """Return (a free jig of the kind, True if it must be set up), or (None, True).

        While one is set and only busy, a second is not set up for the same sole length, unless more work
        lies ready than the busy one can take today.
        """
        spare: int | None = None
        least = _NEVER
        busy = 0
        for number, unit in enumerate(self.units[jig.kind]):
            standing = unit.day == day
            if standing and unit.setting == jig.setting:
                if unit.free <= now:
                    return number, False
                busy += max(0, end - unit.free)
            elif unit.free <= now:
                lost = len(self.on_jig[JigUse(kind=jig.kind, setting=unit.setting)]) if standing else -1
                if lost < least:  # the jig whose setting has least work left today
                    spare, least = number, lost
        if busy:
            _, job, visit = self.on_jig[jig][0]
            if len(self.on_jig[jig]) * self.minutes[job][visit] <= busy:
                return None, True
        return spare, True

    def _worth(
        self,
        jig: JigUse,
        heap: Sequence[tuple[int, str, int]],
        entry: tuple[int, str, int],
        now: int,
        end: int,
    ) -> bool:
        if entry[0] <= now + self.rule.wait_minutes:
            return True
        if min(self.to_come[jig], default=_NEVER) > entry[0] + self.rule.stay_minutes:
            return True
        minutes = self.minutes[entry[1]][entry[2]]
        return len(heap) * minutes >= end - now - self.bench.setup_minutes

    def _do(
        self,
        day: int,
        now: int,
        person: int,
        entry: tuple[int, str, int],
        jig: JigUse | None,
        unit: int,
        sets: bool,
    ) -> TimedVisit:
        _, number, index = entry
        heap = self.plain if jig is None else self.on_jig[jig]
        if heap[0] == entry:
            heapq.heappop(heap)
        else:
            heap.remove(entry)
            heapq.heapify(heap)
        visit = self.jobs[number].visits[index]
        until = now + visit.minutes + (self.bench.setup_minutes if sets else 0)
        if jig is not None:
            held = self.units[jig.kind][unit]
            held.free, held.setting, held.day = until, jig.setting, day
        self.last_person[number] = person
        if index + 1 < len(self.jobs[number].visits):
            heapq.heappush(self.curing, (until + visit.cure_minutes, number, index + 1))
        done = TimedVisit(
            job=number,
            visit=index,
            person=person,
            start=now,
            end=until,
            jig=unit if jig is not None else None,
            sets_up=sets,
        )
        self.out.append(done)
        return done
