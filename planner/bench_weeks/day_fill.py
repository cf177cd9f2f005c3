"""The days of a day plan become timed steps: each day's visits packed by jig over the people at the bench.

The day plan says what stands at the bench on which day. A day is filled from its opening on: what must cure
into tomorrow first, then jig after jig, the small work without a jig last, because it fills what is left
before closing time to the minute. What does not fit by the clock moves to the next day; who has nothing
left takes work of later days that lies ready.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from planner.bench_weeks.deadlines import Days
from planner.bench_weeks.figures import due_index
from planner.bench_weeks.values import Bench, JigUse, Job, TimedVisit, Visit

ATTEMPTS = 6
"""So often a day is filled again, each time with what was missed before in front."""
LAST_STRETCH = 100
"""Minutes before closing from which on work is chosen so that it ends as near to closing as it can; twice
as many each time the day is filled again."""
_NO_DAY = 10**6


class Entry(NamedTuple):
    """One visit that waits: its order's number and which visit of it."""

    number: str
    visit: int


class Option(NamedTuple):
    """What somebody could do now; the first in order is preferred."""

    rank: tuple[int, ...]
    entry: Entry
    length: int
    unit: int
    sets: bool


@dataclass(slots=True)
class State:
    """Where every order stands: its next visit, from when on it may begin, who did the last one."""

    visit: dict[str, int]
    ready: dict[str, int]
    person: dict[str, int] = field(default_factory=dict)


def fill_days(
    bench: Bench, jobs: Sequence[Job], day_of: Mapping[str, tuple[int, ...]]
) -> tuple[TimedVisit, ...]:
    """Timed visits of all orders that end within the weeks; orders without days come where room is left."""
    jobs = list(jobs)
    while True:
        visits = _Weeks(bench, jobs, day_of).run()
        done: dict[str, int] = defaultdict(int)
        for visit in visits:
            done[visit.job] += 1
        whole = [job for job in jobs if done[job.number] == len(job.visits)]
        if len(whole) == len(jobs):
            return visits
        jobs = whole


class _Weeks:
    """All orders, and the days one after another."""

    def __init__(self, bench: Bench, jobs: Sequence[Job], day_of: Mapping[str, tuple[int, ...]]) -> None:
        self.bench, self.days = bench, Days(bench)
        self.jobs = {job.number: job for job in jobs}
        self.day_of = {
            job.number: day_of.get(job.number, (_NO_DAY + due_index(bench, job),) * len(job.visits))
            for job in jobs
        }
        self.due = {job.number: due_index(bench, job) for job in jobs}
        start = bench.days[0].start
        self.state = State(
            visit=dict.fromkeys(self.jobs, 0), ready={job.number: max(job.ready, start) for job in jobs}
        )

    def run(self) -> tuple[TimedVisit, ...]:
        out: list[TimedVisit] = []
        for index in range(len(self.bench.days)):
            best: _Day | None = None
            urgent: dict[Entry, int] = {}
            for attempt in range(ATTEMPTS):
                day = _Day(self, index, urgent, LAST_STRETCH << attempt)
                day.run()
                if best is None or day.cost < best.cost:
                    best = day
                if day.cost[:2] == (0, 0):
                    break
                for entry in day.missed:
                    urgent[entry] = urgent.get(entry, 0) + 1
            assert best is not None
            out += best.out
            self._take_over(best.out)
        return tuple(sorted(out, key=lambda v: (v.start, v.person)))

    def _take_over(self, visits: Sequence[TimedVisit]) -> None:
        for v in visits:
            job = self.jobs[v.job]
            self.state.visit[v.job] = v.visit + 1
            self.state.ready[v.job] = v.end + job.visits[v.visit].cure_minutes
            self.state.person[v.job] = v.person
            if v.visit + 1 == len(job.visits):
                del self.jobs[v.job]

    def asked(self, entry: Entry) -> Visit:
        return self.jobs[entry.number].visits[entry.visit]

    def last_day(self, entry: Entry) -> int:
        """The last day on which this visit may stand for the order to be on time, cures counted."""
        due, visits = self.due[entry.number], self.jobs[entry.number].visits
        if due < 0:
            return -1
        by = self.days.ends[due]
        for number in range(len(visits) - 1, entry.visit, -1):
            place = self.days.latest(by, visits[number].minutes)
            if place is None:
                return -1
            by = place[1] - visits[number].minutes - visits[number - 1].cure_minutes
        place = self.days.latest(by, visits[entry.visit].minutes)
        return -1 if place is None else place[0]


class _Jig:
    """One jig on one day: until when it is busy, and what it is set for."""

    __slots__ = ("free", "setting")

    def __init__(self) -> None:
        self.free, self.setting = 0, ""


class _Day:
    """One filling of one day; the state of the weeks is read, not changed."""

    def __init__(self, weeks: _Weeks, index: int, urgent: Mapping[Entry, int], stretch: int) -> None:
        self.weeks, self.index, self.urgent, self.stretch = weeks, index, urgent, stretch
        self.bench, self.day = weeks.bench, weeks.bench.days[index]
        self.end = self.day.end
        self.out: list[TimedVisit] = []
        self.ready: dict[Entry, int] = {}
        self.before: dict[Entry, int | None] = {}
        self.planned: dict[JigUse | None, list[Entry]] = defaultdict(list)
        self.later: dict[JigUse | None, list[Entry]] = defaultdict(list)
        self.hot: set[Entry] = set()
        self.jigs: dict[str, list[_Jig]] = {}
        self.on: dict[int, tuple[JigUse, int]] = {}
        for number, visit in weeks.state.visit.items():
            if number in weeks.jobs:
                self._enter(Entry(number, visit), weeks.state.ready[number], weeks.state.person.get(number))
        for entries in self.later.values():
            entries.sort(key=lambda e: (weeks.day_of[e.number][e.visit], e))
        self.missed: list[Entry] = []
        self.cost: tuple[int, int, int] = (0, 0, 0)

    def _enter(self, entry: Entry, ready: int, person: int | None) -> None:
        weeks, visit = self.weeks, self.weeks.asked(entry)
        if ready + visit.minutes > self.end:
            return
        self.ready[entry], self.before[entry] = ready, person
        days = weeks.day_of[entry.number]
        if days[entry.visit] > self.index:
            self.later[visit.jig].append(entry)
            return
        self.planned[visit.jig].append(entry)
        if visit.cure_minutes and entry.visit + 1 < len(days):
            follows = days[entry.visit + 1]
            if (
                follows < len(weeks.days.starts)
                and self.end + visit.cure_minutes > weeks.days.starts[follows]
            ):
                self.hot.add(entry)

    def run(self) -> None:
        free = [(w.start, p, w.end) for p, ws in self.day.windows.items() for w in ws]
        heapq.heapify(free)
        while free:
            now, person, end = heapq.heappop(free)
            option = self._choose(now, person, end)
            if option is not None:
                until = self._do(now, person, option)
                if until < end:
                    heapq.heappush(free, (until, person, end))
            elif (later := self._next_change(now, free)) < end:
                heapq.heappush(free, (later, person, end))
        weeks = self.weeks
        self.missed = [e for entries in self.planned.values() for e in entries]
        lost = {e.number for e in self.missed if weeks.last_day(e) == self.index}
        self.cost = (
            sum(weeks.jobs[n].weight for n in lost),
            sum(weeks.asked(e).minutes for e in self.missed),
            sum(v.sets_up for v in self.out),
        )

    def _next_change(self, now: int, free: Sequence[tuple[int, int, int]]) -> int:
        times = [f[0] for f in free if f[0] > now]
        times += [jig.free for jigs in self.jigs.values() for jig in jigs if jig.free > now]
        times += [
            self.ready[e]
            for waiting in (self.planned, self.later)
            for entries in waiting.values()
            for e in entries
            if self.ready[e] > now
        ]
        return min(times, default=self.end)

    def _choose(self, now: int, person: int, end: int) -> Option | None:
        options = sorted(self._options(self.planned, now, person, end, new_settings=True))
        if not options:
            options = sorted(self._options(self.later, now, person, end, new_settings=False))
            return options[0] if options else None
        return options[0] if end - now > self.stretch else _nearest(options, end - now)

    def _options(
        self,
        waiting: Mapping[JigUse | None, list[Entry]],
        now: int,
        person: int,
        end: int,
        *,
        new_settings: bool,
    ) -> Iterator[Option]:
        room = end - now
        for jig, entries in waiting.items():
            if not entries:
                continue
            unit, sets, kind = -1, False, 4
            if jig is not None:
                found = self._unit(jig, now)
                if found is None:
                    continue
                unit, sets = found
                if sets and not new_settings and self.weeks.day_of[entries[-1].number][0] < _NO_DAY:
                    continue
                kind = 3 if sets else 1 if self.on.get(person) == (jig, unit) else 2
            extra = self.bench.setup_minutes if sets else 0
            work = sum(self.weeks.asked(e).minutes for e in entries) if sets else 0
            for entry in entries:
                visit = self.weeks.asked(entry)
                length = visit.minutes + extra
                if self.ready[entry] > now or length > room or not self._may(entry, visit, person):
                    continue
                if sets and not new_settings and self.weeks.day_of[entry.number][0] < _NO_DAY:
                    continue
                urgent = self.urgent.get(entry, 0)
                if waiting is self.later:
                    rank = (self.weeks.day_of[entry.number][entry.visit], kind, -length)
                elif entry in self.hot:
                    rank = (-urgent, 0, -length)
                else:
                    rank = (-urgent, kind, -work if sets else -length)
                yield Option(rank, entry, length, unit, sets)

    def _may(self, entry: Entry, visit: Visit, person: int) -> bool:
        if visit.people is not None and person not in visit.people:
            return False
        return not (visit.other_person and self.before[entry] == person)

    def _unit(self, jig: JigUse, now: int) -> tuple[int, bool] | None:
        """(a jig that is free, whether it must be set up), or None while the one that is set is enough."""
        jigs = self.jigs.setdefault(jig.kind, [_Jig() for _ in range(self.bench.jig_count(jig.kind))])
        spare, busy, standing = -1, 0, False
        for number, unit in enumerate(jigs):
            if unit.setting == jig.setting:
                if unit.free <= now:
                    return number, False
                standing = True
                busy += max(0, self.end - unit.free)
            elif unit.free <= now and spare < 0 and not self._needed(jig.kind, unit):
                spare = number
        if spare < 0:
            return None
        if standing:
            work = sum(self.weeks.asked(e).minutes for e in self.planned[jig])
            if work <= busy:
                return None
        return spare, True

    def _needed(self, kind: str, unit: _Jig) -> bool:
        return bool(unit.setting and self.planned.get(JigUse(kind=kind, setting=unit.setting)))

    def _do(self, now: int, person: int, option: Option) -> int:
        entry, visit = option.entry, self.weeks.asked(option.entry)
        until = now + option.length
        waiting = self.planned[visit.jig]
        (waiting if entry in waiting else self.later[visit.jig]).remove(entry)
        if visit.jig is not None:
            unit = self.jigs[visit.jig.kind][option.unit]
            unit.free, unit.setting = until, visit.jig.setting
            self.on[person] = (visit.jig, option.unit)
        self.out.append(
            TimedVisit(
                job=entry.number,
                visit=entry.visit,
                person=person,
                start=now,
                end=until,
                jig=None if visit.jig is None else option.unit,
                sets_up=option.sets,
            )
        )
        if entry.visit + 1 < len(self.weeks.jobs[entry.number].visits):
            self._enter(Entry(entry.number, entry.visit + 1), until + visit.cure_minutes, person)
        return until


def _nearest(options: Sequence[Option], room: int) -> Option:
    """The first option after which the others can fill the room best."""
    lengths = [option.length for option in options]
    best: tuple[int, Option] | None = None
    tried: set[int] = set()
    for option in options:
        if option.length in tried:
            continue
        tried.add(option.length)
        rest = list(lengths)
        rest.remove(option.length)
        reached = 1 << option.length
        for length in rest:
            reached |= reached << length
        filled = (reached & ((1 << (room + 1)) - 1)).bit_length() - 1
        if best is None or filled > best[0]:
            best = (filled, option)
    assert best is not None
    return best[1]
