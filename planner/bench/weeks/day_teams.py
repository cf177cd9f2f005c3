"""A day's work shared among teams of a few people, each packed by itself: many people at once do not end.

One small model shares it: so much worth to each team as its minutes hold, a setting of a jig set up no more
often than its work needs, and to each team as much of the work without a jig as to the others, since that is
what fills a day to the minute. CP-SAT chooses the counts. What is left out then has minutes enough in several
teams, and in none: a few people of all teams are packed again with it, as often as it takes.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from random import Random
from typing import Any, NamedTuple

from planner.bench.weeks.day_pack import Packing, Ready, pack_day
from planner.bench.weeks.values import Bench, JigUse, TimedVisit

TEAM = 6
"""The most people whose day is packed at once."""
_FIRST = 20
"""The minutes of work without a jig shared evenly that count as one minute of work missed."""

ATTEMPTS = 40
"""The most times a day that a few people's work is packed again with a visit more."""


class _Count(NamedTuple):
    """The key of visits that are one count."""

    jig: JigUse | None
    minutes: int
    people: frozenset[int] | None
    worth: int


class _Share(NamedTuple):
    """The work of one team, and its jigs by kind."""

    work: list[Ready]
    jigs: Mapping[str, int]


def pack_teams(
    bench: Bench, index: int, ready: Sequence[Ready], seconds: float, turn: int = 0
) -> tuple[TimedVisit, ...]:
    """Return as much worth of timed visits as was found, by closing time; deterministic in ``seconds`` and
    ``turn``.
    """
    people = sorted(bench.days[index].windows)
    many = -(-len(people) // TEAM)
    teams = [people[first::many] for first in range(many)]
    first_jig: Counter[str] = Counter()
    out: list[TimedVisit] = []
    for team, share in zip(teams, _Sharing(bench, index, ready, teams).solve(seconds), strict=True):
        # a kind that this team has no jig of has no work here either
        jigs = {kind: max(1, count) for kind, count in share.jigs.items()}
        kind_of = {each.number: each.visit.jig.kind for each in share.work if each.visit.jig}
        packed = pack_day(_of_few(bench, index, team, jigs), index, share.work, seconds, turn)
        for v in packed:
            out.append(v if v.jig is None else replace(v, jig=first_jig[kind_of[v.job]] + v.jig))
        first_jig.update(share.jigs)
    if many > 1:
        out = _Again(bench, index, ready, Random(turn)).packed(out, seconds)
    return tuple(sorted(out, key=lambda v: (v.start, v.person)))


def _of_few(bench: Bench, index: int, people: Iterable[int], jigs: Mapping[str, int]) -> Bench:
    """Return the bench as it is on that day for some of its people, with their jigs."""
    days, windows = list(bench.days), bench.days[index].windows
    days[index] = replace(days[index], windows={person: windows[person] for person in people})
    return replace(bench, days=tuple(days), jigs=jigs)


class _Again:
    """A day packed in teams, of which a few people's work is packed again with a visit that was left out."""

    def __init__(self, bench: Bench, index: int, ready: Sequence[Ready], draw: Random) -> None:
        self.bench, self.index, self.ready, self.draw = bench, index, ready, draw
        self.of = {each.number: each for each in ready}

    def packed(self, out: list[TimedVisit], seconds: float) -> list[TimedVisit]:
        """Return the day with more of its own work, after so many attempts at most."""
        for attempt in range(ATTEMPTS):
            done = {v.job for v in out}
            left = [each for each in self.ready if each.today and each.number not in done]
            free = self._free(out)
            if not left or sum(free.values()) < min(each.visit.minutes for each in left):
                break
            # mostly short ones, since they find room, but not always the same
            one = min(self.draw.sample(left, min(2, len(left))), key=lambda each: each.visit.minutes)
            few = self._few(out, free)
            if sum(free[person] for person in few) >= one.visit.minutes:
                out = self._with(one, few, out, seconds, attempt) or out
        return out

    def _free(self, out: Sequence[TimedVisit]) -> dict[int, int]:
        """Return the minutes of each person that the day's own work leaves."""
        day = self.bench.days[self.index]
        free = {person: day.minutes(person) for person in day.windows}
        for v in out:
            free[v.person] -= (v.end - v.start) * self.of[v.job].today
        return free

    def _few(self, out: Sequence[TimedVisit], free: Mapping[int, int]) -> set[int]:
        """Return a few people, those with free minutes sooner, and whoever shares a jig with them."""
        on: dict[tuple[str, int], set[int]] = defaultdict(set)
        for v in out:
            if v.jig is not None:
                on[self._kind(v), v.jig].add(v.person)
        few: set[int] = set()
        for person in sorted(
            free, key=lambda person: (-free[person] * self.draw.random(), self.draw.random())
        ):
            together, before = {person}, 0
            while len(together) > before:
                before = len(together)
                together = together.union(*(people for people in on.values() if people & together))
            if len(few | together) <= TEAM:
                few |= together
        return few

    def _kind(self, v: TimedVisit) -> str:
        jig = self.of[v.job].visit.jig
        return "" if jig is None else jig.kind

    def _with(
        self, one: Ready, few: set[int], out: Sequence[TimedVisit], seconds: float, seed: int
    ) -> list[TimedVisit] | None:
        """Return the day in which these people do this visit too; None if none was found."""
        others = [v for v in out if v.person not in few]
        work = [one, *(self.of[v.job] for v in out if v.person in few)]
        taken = {(self._kind(v), v.jig) for v in others}
        kinds = {each.visit.jig.kind for each in work if each.visit.jig is not None}
        jigs = {
            kind: [n for n in range(self.bench.jig_count(kind)) if (kind, n) not in taken] for kind in kinds
        }
        if not all(jigs.values()):
            return None
        bench = _of_few(self.bench, self.index, sorted(few), {kind: len(mine) for kind, mine in jigs.items()})
        found = Packing(bench, self.index, work, whole=True).briefly(seconds, seed)
        if not found:
            return None
        return others + [v if v.jig is None else replace(v, jig=jigs[self._kind(v)][v.jig]) for v in found]


class _Sharing:
    """The counts of one day by team."""

    def __init__(
        self, bench: Bench, index: int, ready: Sequence[Ready], teams: Sequence[Sequence[int]]
    ) -> None:
        from ortools.sat.python import cp_model

        self.bench, self.day, self.teams = bench, bench.days[index], teams
        self.model = cp_model.CpModel()
        self.kinds: dict[_Count, list[Ready]] = defaultdict(list)
        for each in ready:
            self.kinds[_Count(each.visit.jig, each.visit.minutes, each.visit.people, each.worth)].append(each)
        self.count: dict[tuple[_Count, int], Any] = {}
        self.work: list[Any] = [0] * len(teams)
        self.plain: list[Any] = [0] * len(teams)
        self.on_jig: dict[JigUse, list[Any]] = defaultdict(lambda: [0] * len(teams))
        self.missed: Any = 0
        self._counts()
        self.jigs = self._jigs()
        self._limits()

    def _counts(self) -> None:
        for kind, each in self.kinds.items():
            given = []
            for t, team in enumerate(self.teams):
                if kind.people is not None and not kind.people & {*team}:
                    continue
                self.count[kind, t] = count = self.model.new_int_var(0, len(each), "")
                given.append(count)
                self.work[t] += kind.minutes * count
                if kind.jig is None:
                    self.plain[t] += kind.minutes * count
                else:
                    self.on_jig[kind.jig][t] += kind.minutes * count
            self.model.add(sum(given) <= len(each))
            self.missed += kind.worth * (len(each) - sum(given))

    def _jigs(self) -> dict[str, list[Any]]:
        """Count the set-ups of each setting, and return the jigs of each kind by team."""
        setup, model, every = self.bench.setup_minutes, self.model, range(len(self.teams))
        longest = max(w.end - w.start for ws in self.day.windows.values() for w in ws)
        room = max(1, longest - setup)
        sets: dict[JigUse, list[Any]] = {}
        need: Counter[str] = Counter()
        for jig, minutes in self.on_jig.items():
            work = sum(kind.minutes * len(each) for kind, each in self.kinds.items() if kind.jig == jig)
            most = min(self.bench.jig_count(jig.kind), -(-work // room))
            need[jig.kind] += most
            sets[jig] = [model.new_int_var(0, most, "") for _ in every]
            model.add(sum(sets[jig]) <= most)
            for t in every:
                model.add(minutes[t] <= room * sets[jig][t])
                self.work[t] += setup * sets[jig][t]
        jigs: dict[str, list[Any]] = {}
        for name, needed in need.items():
            have = self.bench.jig_count(name)
            jigs[name] = [model.new_int_var(0, have, "") for _ in every]
            model.add(sum(jigs[name]) <= have)
            settings = [jig for jig in sets if jig.kind == name]
            for t in every:
                if needed <= have:  # no setting waits for another's jig
                    model.add(sum(sets[jig][t] for jig in settings) <= jigs[name][t])
                    continue
                busy = sum(self.on_jig[jig][t] + setup * sets[jig][t] for jig in settings)
                model.add(busy <= (self.day.end - self.day.start) * jigs[name][t])
        return jigs

    def _limits(self) -> None:
        least = self.model.new_int_var(0, self.day.minutes(), "")
        for t, team in enumerate(self.teams):
            self.model.add(self.work[t] <= sum(self.day.minutes(person) for person in team))
            self.model.add(self.plain[t] >= least)
        self.model.minimize(_FIRST * self.missed - least)

    def solve(self, seconds: float) -> list[_Share]:
        """Return each team's share: all empty if none was found."""
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1  # the same plan on every machine
        solver.parameters.max_deterministic_time = seconds
        if solver.solve(self.model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return [_Share([], {}) for _ in self.teams]
        shares = [
            _Share([], {name: solver.value(mine[t]) for name, mine in self.jigs.items()})
            for t in range(len(self.teams))
        ]
        for (kind, t), count in self.count.items():
            waiting = self.kinds[kind]
            waiting.sort(key=lambda each: each.last in self.teams[t])  # nobody checks their own work
            shares[t].work.extend(waiting[: solver.value(count)])
            del waiting[: solver.value(count)]
        return shares
