"""Day filling: the visits of each planned day become timed visits, packed by jig over the people.

The day plan says what stands at the bench on which day. A day is filled from its opening on: what fills a jig
all day and what must cure into tomorrow first, then jig after jig, the small work without a jig last, because
it fills what is left before closing time to the minute. What does not fit by the clock moves to the next day;
who has nothing left takes work of later days that lies ready.
"""

from __future__ import annotations

import heapq
from bisect import insort
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf, isinf
from time import process_time
from typing import NamedTuple

from planner.bench.weeks.day_model import days_to_work_by
from planner.bench.weeks.day_pack import Ready
from planner.bench.weeks.day_teams import pack_teams
from planner.bench.weeks.deadlines import Days
from planner.bench.weeks.figures import due_index
from planner.bench.weeks.values import Bench, JigUse, Job, TimedVisit, Visit

NO_DAY = 10**6
"""The day of an order that has none; its due day is added, so that they keep an order among them."""
_LATER = 2
AGAIN = 1 / 10
"""The share of the seconds left that planning the days left once more may take."""
AGAIN_MOST = 2_000
"""The most orders that are planned again: of more, so few seconds make worse days than those at hand."""
SOON = 2
"""Orders begun within so many days are given up where a day's work did not fit, or which did not fit."""
TODAY = 10
"""The minutes of later work, which fills what is left, that are worth one minute of the day's own."""
PACKING = 0.5
"""The solver's effort to pack one day, in its own measure, which is near to seconds."""

DayOf = Mapping[str, tuple[int, ...]]
"""The open day (its index) of each visit, by the order's number."""


class FillRule(NamedTuple):
    """A rule to fill a day. Each is tried, and the filling that loses least counts.

    ``all_day``: a jig with so few minutes of the day to spare, or fewer, goes before everything else.
    ``must_first``: then what is late tomorrow, with a jig or without; else first all that needs a jig.
    """

    all_day: int
    must_first: bool


STRETCH = 120
"""Minutes before closing from which on work is chosen so that it ends as near to closing as it can."""
FILL_RULES = tuple(
    FillRule(all_day, must_first) for all_day in (60, 120, 200) for must_first in (True, False)
)


@dataclass(slots=True)
class FillState:
    """The progress of every order: its next visit, the minute from which it may begin, the last person."""

    visit: dict[str, int]
    ready: dict[str, int]
    person: dict[str, int] = field(default_factory=dict)


def fill_days(
    bench: Bench,
    jobs: Sequence[Job],
    day_of: DayOf,
    *,
    until: float = inf,
    again: bool = True,
    turn: int = 0,
) -> tuple[TimedVisit, ...]:
    """Return timed visits of all orders that end within the weeks; orders without days fill the room left.

    ``until``: the moment of this process's clock after which one rule a day is enough. ``again``: where work
    did not fit into its day, the days left may be planned once more; an earlier plan's days are to be kept.
    ``turn``: the days packed in another turn may come out otherwise.
    """
    jobs = list(jobs)
    while True:
        visits = _Weeks(bench, jobs, day_of, until, again=again, turn=turn).run()
        done: dict[str, int] = defaultdict(int)
        for visit in visits:
            done[visit.job] += 1
        whole = [job for job in jobs if done[job.number] == len(job.visits)]
        if len(whole) == len(jobs):
            return visits
        jobs = whole


class _Weeks:
    """All orders, and the days one after another."""

    def __init__(
        self, bench: Bench, jobs: Sequence[Job], day_of: DayOf, until: float, *, again: bool, turn: int
    ) -> None:
        self.bench, self.days, self.until, self.again, self.turn = bench, Days(bench), until, again, turn
        self.longest_packing = 0.0
        self.jobs = {job.number: job for job in jobs}
        self.due = {job.number: due_index(bench, job) for job in jobs}
        kinds: dict[tuple[tuple[Visit, ...], int, int], int] = {}
        self.kind = {
            job.number: kinds.setdefault((job.visits, self.due[job.number], job.weight), len(kinds))
            for job in jobs
        }
        self.last: dict[tuple[int, int], int] = {}
        self.day_of = {
            number: day_of[number] if number in day_of else self._no_days(number) for number in self.jobs
        }
        start = bench.days[0].start
        self.state = FillState(
            visit=dict.fromkeys(self.jobs, 0), ready={job.number: max(job.ready, start) for job in jobs}
        )

    def run(self) -> tuple[TimedVisit, ...]:
        out: list[TimedVisit] = []
        for index in range(len(self.bench.days)):
            if not self.jobs:
                break
            best = min(self._days(index), key=lambda day: day.cost)
            out += best.out
            ahead = sum(v.end - v.start for v in best.out if NO_DAY > self.day_of[v.job][v.visit] > index)
            self._take_over(best.out)
            self._give_up(best.missed, index + 1, ahead)
            if self.again and best.missed and self.jobs and index + 1 < len(self.bench.days):
                self._plan_again(index + 1)
        return tuple(sorted(out, key=lambda v: (v.start, v.person)))

    def _give_up(self, missed: Iterable[tuple[_Group, str]], first: int, ahead: int) -> None:
        """Take as much work that is not begun out of the days as did not fit today, less what was done ahead:
        the least weight a minute first. Every day may be full, and work that only moves on makes orders late
        whose other visits were done.
        """
        left = sum(group.visit.minutes for group, number in missed if number in self.jobs) - ahead
        soon = [
            number
            for number in self.jobs
            if not self.state.visit[number] and self.day_of[number][0] < first + SOON
        ]
        minutes = {number: sum(visit.minutes for visit in self.jobs[number].visits) for number in soon}
        for number in sorted(soon, key=lambda n: (self.jobs[n].weight / minutes[n], n)):
            if left <= 0:
                break
            left -= minutes[number]
            self.day_of[number] = self._no_days(number)

    def _no_days(self, number: str) -> tuple[int, ...]:
        """Return the days of an order that has none."""
        return (NO_DAY + self.due[number],) * len(self.jobs[number].visits)

    def _plan_again(self, first: int) -> None:
        """Give what is left other days, from this day on, since some work did not fit into its day."""
        seconds = (self.until - process_time()) * AGAIN
        if seconds <= 0 or isinf(seconds) or len(self.jobs) > AGAIN_MOST:
            return
        on_time = sum(
            job.weight
            for number, job in self.jobs.items()
            if self.day_of[number][-1] < NO_DAY and self.last_day(number, self.state.visit[number]) >= first
        )
        jobs, known = [], {}
        for number, job in self.jobs.items():
            done = self.state.visit[number]
            begins, *rest = job.visits[done:]
            visits = (replace(begins, other_person=False), *rest)
            jobs.append(replace(job, visits=visits, ready=self.state.ready[number]))
            known[number] = tuple(max(first, day) - first for day in self.day_of[number][done:])
        bench = replace(self.bench, days=self.bench.days[first:])
        found = days_to_work_by(bench, jobs, seconds=seconds, known=known)
        if found is not None and sum(self.jobs[number].weight for number in found.on_time) >= on_time:
            for number, days in found.day_of.items():
                gone = (0,) * self.state.visit[number]
                self.day_of[number] = (*gone, *(first + day for day in days))
            for number in self.jobs.keys() - found.day_of.keys():
                self.day_of[number] = self._no_days(number)

    def _days(self, index: int) -> Iterator[_Day]:
        """Yield fillings of a day until one loses nothing: by a rule, exactly packed, by each other rule."""
        urgent: dict[tuple[int, int], int] = defaultdict(int)
        for number, way in enumerate(FILL_RULES):
            begun = process_time()
            day = _Day(self, index, way, urgent)
            day.run()
            yield day
            now = process_time()
            # the days that follow take as long as this one, with one rule each
            rest = (now - begun) * (len(self.bench.days) - index)
            if not day.missed or now + rest > self.until:
                return
            if not number and now + rest + self.longest_packing <= self.until:
                packed = _Day(self, index, way, urgent)
                packed.pack()
                self.longest_packing = max(self.longest_packing, process_time() - now)
                yield packed
                if not packed.cost[0]:
                    return
            for group, name in day.missed:
                if group.must:
                    urgent[self.kind[name], group.stage] += 1

    def _take_over(self, visits: Sequence[TimedVisit]) -> None:
        for v in visits:
            job = self.jobs[v.job]
            self.state.visit[v.job] = v.visit + 1
            self.state.ready[v.job] = v.end + job.visits[v.visit].cure_minutes
            self.state.person[v.job] = v.person
            if v.visit + 1 == len(job.visits):
                del self.jobs[v.job]

    def last_day(self, number: str, visit: int) -> int:
        """Return the last day of this visit for which the order is on time, cures counted."""
        key = (self.kind[number], visit)
        if key not in self.last:
            self.last[key] = self._last_day(number, visit)
        return self.last[key]

    def _last_day(self, number: str, visit: int) -> int:
        due, visits = self.due[number], self.jobs[number].visits
        if due < 0:
            return -1
        by = self.days.ends[due]
        for later in range(len(visits) - 1, visit, -1):
            place = self.days.latest(by, visits[later].minutes)
            if place is None:
                return -1
            by = place[1] - visits[later].minutes - visits[later - 1].cure_minutes
        place = self.days.latest(by, visits[visit].minutes)
        return -1 if place is None else place[0]


class _Jig:
    """One jig on one day: the minute until which it is busy, and its setting."""

    __slots__ = ("free", "setting")

    def __init__(self) -> None:
        self.free, self.setting = 0, ""


@dataclass(slots=True, eq=False)
class _Group:
    """Like visits that wait: of orders of one kind, for the same day. ``entries``: (ready, number).

    ``must``: the last day on which they are on time. ``hot``: the plan counts on their cure being over
    early enough. ``spills``: their cure is over tomorrow, but not at opening.
    """

    visit: Visit
    kind: int
    stage: int
    day: int
    hot: bool = False
    must: bool = False
    spills: bool = False
    entries: list[tuple[int, str]] = field(default_factory=list)


class _Option(NamedTuple):
    """Work that somebody could do now; the first in order is preferred."""

    rank: tuple[int, ...]
    number: str
    length: int
    unit: int
    sets: bool
    like: int
    group: _Group

    @property
    def tier(self) -> int:
        """The tier: 0 must be done today, 1 planned for today, 2 of later days."""
        return 2 if self.rank[0] == _LATER else 0 if self.group.must or self.group.hot else 1


class _Day:
    """One filling of one day. The state of the weeks is read, not changed."""

    def __init__(
        self, weeks: _Weeks, index: int, way: FillRule, urgent: Mapping[tuple[int, int], int]
    ) -> None:
        self.weeks, self.index, self.way = weeks, index, way
        self.urgent = dict(urgent)
        self.bench, self.day = weeks.bench, weeks.bench.days[index]
        self.end = self.day.end
        self.out: list[TimedVisit] = []
        self.person: dict[str, int] = dict(weeks.state.person)
        self.planned: dict[JigUse | None, dict[tuple[int, ...], _Group]] = defaultdict(dict)
        self.later: dict[JigUse | None, dict[tuple[int, ...], _Group]] = defaultdict(dict)
        self.work: dict[JigUse | None, int] = defaultdict(int)
        self.jigs: dict[str, list[_Jig]] = {}
        self.on: dict[int, tuple[JigUse, int]] = {}
        for number, visit in weeks.state.visit.items():
            if number in weeks.jobs:
                self._enter(number, visit, weeks.state.ready[number])
        self.idle = 0
        self.missed: list[tuple[_Group, str]] = []
        self.cost: tuple[int, int] = (0, 0)

    def _enter(self, number: str, stage: int, ready: int) -> None:
        weeks = self.weeks
        visits = weeks.jobs[number].visits
        visit = visits[stage]
        if ready + visit.minutes > self.end:
            return
        days = weeks.day_of[number]
        day = max(days[stage], self.index)
        starts, spills, hot = weeks.days.starts, False, False
        if day == self.index and visit.cure_minutes and stage + 1 < len(days):
            follows = days[stage + 1]
            hot = follows < len(starts) and self.end + visit.cure_minutes > starts[follows]
            spills = self.index + 1 < len(starts) and self.end + visit.cure_minutes > starts[self.index + 1]
        pool = self.planned if day == self.index else self.later
        key = (weeks.kind[number], stage, day, hot)
        group = pool[visit.jig].get(key)
        if group is None:
            group = pool[visit.jig][key] = _Group(
                visit=visit,
                kind=weeks.kind[number],
                stage=stage,
                day=day,
                hot=hot,
                must=day == self.index and weeks.last_day(number, stage) == self.index,
                spills=spills,
            )
        insort(group.entries, (ready, number))
        if day == self.index:
            self.work[visit.jig] += visit.minutes

    def run(self) -> None:
        free = [(w.start, p, w.end) for p, ws in self.day.windows.items() for w in ws]
        heapq.heapify(free)
        while free:
            now, person, end = heapq.heappop(free)
            option = self._choose(now, person, end)
            if option is not None:
                until = self._do(now, person, option)
            else:
                until = min(end, self._next_change(now, free))
                self.idle += until - now
            if until < end:
                heapq.heappush(free, (until, person, end))
        self._count()

    def pack(self) -> None:
        """Fill the day with what lies ready at opening and is planned for today, packed exactly; work without
        a jig that is planned for later fills what is left.
        """
        groups = self._waiting()
        groups += [group for group in self.later[None].values() if group.day < NO_DAY]
        ready = [
            Ready(
                number,
                group.stage,
                group.visit,
                self.person.get(number),
                self._worth(number, group),
                group.day == self.index,
            )
            for group in groups
            for since, number in group.entries
            if since <= self.day.start
        ]
        self.out = list(pack_teams(self.bench, self.index, ready, PACKING, self.weeks.turn))
        done = {visit.job for visit in self.out}
        for group in groups:
            group.entries = [entry for entry in group.entries if entry[1] not in done]
        self.idle = self.day.minutes() - sum(visit.end - visit.start for visit in self.out)
        for v in self.out:
            self._enter_next(v.job, v.visit, v.end)
        self._count()

    def _enter_next(self, number: str, stage: int, end: int) -> None:
        """Let the order's next visit wait for its cure, which begins at this minute."""
        visits = self.weeks.jobs[number].visits
        if stage + 1 < len(visits):
            self._enter(number, stage + 1, end + visits[stage].cure_minutes)

    def _waiting(self) -> list[_Group]:
        """Return what is planned for today and not done yet."""
        return [group for groups in self.planned.values() for group in groups.values()]

    def _worth(self, number: str, group: _Group) -> int:
        """Return minutes, more of what is planned for today, and far above them the weight that is late
        unless the visit is done today.
        """
        planned = TODAY if group.day == self.index else 1
        must = group.must * self.day.minutes() * self.weeks.jobs[number].weight
        return planned * (group.visit.minutes + must)

    def _count(self) -> None:
        """Add up the loss of this filling: weight late now, and minutes; half of what moves to tomorrow."""
        weeks = self.weeks
        self.missed = [(group, number) for group in self._waiting() for _, number in group.entries]
        lost = {n for group, n in self.missed if weeks.last_day(n, group.stage) <= self.index}
        sets = sum(v.sets_up for v in self.out)
        left = sum(group.visit.minutes for group, _ in self.missed)
        minutes = self.idle + sets * self.bench.setup_minutes + left // 2
        self.cost = (sum(weeks.jobs[n].weight for n in lost), minutes)

    def _next_change(self, now: int, free: Sequence[tuple[int, int, int]]) -> int:
        times = [f[0] for f in free if f[0] > now]
        times += [jig.free for jigs in self.jigs.values() for jig in jigs if jig.free > now]
        times += [
            ready
            for pool in (self.planned, self.later)
            for groups in pool.values()
            for group in groups.values()
            for ready, _ in group.entries
            if ready > now
        ]
        return min(times, default=self.end)

    def _choose(self, now: int, person: int, end: int) -> _Option | None:
        options = list(self._options(self.planned, now, person, end))
        if options and end - now > STRETCH:
            return min(options)
        options += self._options(self.later, now, person, end)
        if not options or end - now > STRETCH:
            return min(options, default=None)
        return _nearest(sorted(options), end - now)

    def _options(
        self, pool: Mapping[JigUse | None, dict[tuple[int, ...], _Group]], now: int, person: int, end: int
    ) -> Iterator[_Option]:
        room, planned = end - now, pool is self.planned
        for jig, groups in pool.items():
            if not groups:
                continue
            unit, sets, kind, extra = -1, False, 4, 0
            if jig is not None:
                found = self._unit(jig, now)
                if found is None:
                    continue
                unit, sets = found
                extra = self.bench.setup_minutes if sets else 0
                kind = 3 if sets else 1 if self.on.get(person) == (jig, unit) else 2
                if planned and self.work[jig] + extra > self.end - now - self.way.all_day:
                    kind = -1
            for group in groups.values():
                length = group.visit.minutes + extra
                if length > room or (sets and not planned and group.day < NO_DAY):
                    continue
                entry, count = self._first(group, now, person)
                if entry is None:
                    continue
                rank = self._rank(group, jig, kind, length, sets=sets)
                yield _Option(rank, entry, length, unit, sets, min(count, room // length), group)

    def _rank(
        self, group: _Group, jig: JigUse | None, kind: int, length: int, *, sets: bool
    ) -> tuple[int, ...]:
        if group.day > self.index:
            return (_LATER, group.day, kind, -length)
        if group.must and (group.kind, group.stage) in self.urgent:
            return (-1, -self.urgent[group.kind, group.stage], -length)
        if group.hot and kind >= 0:
            return (0, 0, -length)
        if jig is None and group.spills:
            kind = 3
        front = kind < 0 or (group.must if self.way.must_first else jig is not None)
        return (0 if front else 1, kind, -self.work[jig] if sets else -length)

    def _first(self, group: _Group, now: int, person: int) -> tuple[str | None, int]:
        """Return (the first entry that this person may begin now, the rough number of entries like it)."""
        visit = group.visit
        if visit.people is not None and person not in visit.people:
            return None, 0
        for at, (ready, number) in enumerate(group.entries):
            if ready > now:
                break
            if not (visit.other_person and self.person.get(number) == person):
                return number, len(group.entries) - at
        return None, 0

    def _unit(self, jig: JigUse, now: int) -> tuple[int, bool] | None:
        """Return (a free jig, True if it must be set up), or None while the one that is set is enough."""
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
        if spare < 0 or (standing and self.work[jig] <= busy):
            return None
        return spare, True

    def _needed(self, kind: str, unit: _Jig) -> bool:
        return bool(unit.setting) and self.work[JigUse(kind=kind, setting=unit.setting)] > 0

    def _do(self, now: int, person: int, option: _Option) -> int:
        group, number = option.group, option.number
        visit, until = group.visit, now + option.length
        group.entries.remove(next(entry for entry in group.entries if entry[1] == number))
        if group.day == self.index:
            self.work[visit.jig] -= visit.minutes
        if not group.entries:
            pool = (self.planned if group.day == self.index else self.later)[visit.jig]
            del pool[next(key for key, other in pool.items() if other is group)]
        if visit.jig is not None:
            unit = self.jigs[visit.jig.kind][option.unit]
            unit.free, unit.setting = until, visit.jig.setting
            self.on[person] = (visit.jig, option.unit)
        self.person[number] = person
        self.out.append(
            TimedVisit(
                job=number,
                visit=group.stage,
                person=person,
                start=now,
                end=until,
                jig=None if visit.jig is None else option.unit,
                sets_up=option.sets,
            )
        )
        self._enter_next(number, group.stage, until)
        return until


def _nearest(options: Sequence[_Option], room: int) -> _Option:
    """Return the first option after which the others can fill the room best."""
    counts: dict[int, int] = defaultdict(int)
    for option in options:
        counts[option.length] += option.like
    best: tuple[int, _Option] | None = None
    least = min(option.tier for option in options)
    pressing = [option for option in options if option.tier == least]
    for length in {option.length for option in pressing}:
        first = next(option for option in pressing if option.length == length)
        # bit n of `reached`: n minutes can be filled. A shift by `other` adds one visit to every sum at once.
        reached = 1 << length
        for other, count in counts.items():
            for _ in range(min(count - (other == length), room // other)):
                reached |= reached << other
        filled = (reached & ((1 << (room + 1)) - 1)).bit_length() - 1
        if best is None or (-filled, first) < (-best[0], best[1]):
            best = (filled, first)
    assert best is not None
    return best[1]
