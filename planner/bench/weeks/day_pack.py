"""Exact packing of a day: counts of like visits for each person, so that no minute is lost between them.

For a day whose work lies ready at its opening. A jig's setting is worked in one run: by one person in one
piece, or begun by somebody first thing in the morning and ended by somebody else last thing before closing;
so its two parts never meet, and it is set up once. All else stands between. CP-SAT chooses the counts.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from planner.bench.weeks.values import Bench, JigUse, TimedVisit, Visit, Window

SEARCHES = 12
"""The searches for a day that holds all its work: one seed finds in a moment what others never do."""

SHORT = 1 / 5
"""The share of the effort that each such search may take."""

LINEAR, LINEAR_AT_MOST = (1, 0), 2
"""The solver's levels of linear programming: for all of the work in turn, and for as much as has room.

Some days fall to the one level only, others to the other (measured).
"""


class Ready(NamedTuple):
    """A visit that may begin at opening. ``last``: who did the one before; ``worth`` of doing it today;
    ``today``: False if it only fills what the day's own work leaves.
    """

    number: str
    stage: int
    visit: Visit
    last: int | None
    worth: int
    today: bool = True


class _Like(NamedTuple):
    """The key of visits that are one count. ``other``: not by who did the visit before."""

    minutes: int
    people: frozenset[int]
    worth: int
    today: bool
    other: bool


@dataclass(slots=True)
class _Run:
    """One setting of a jig, by window: in one piece, its first part, its last part, the counts of work."""

    jig: JigUse
    whole: list[Any]
    head: list[Any]
    tail: list[Any]
    work: list[dict[_Like, Any]] = field(default_factory=list)


def pack_day(
    bench: Bench, index: int, ready: Sequence[Ready], seconds: float, turn: int = 0
) -> tuple[TimedVisit, ...]:
    """Return as much worth of timed visits as was found, by closing time; deterministic in ``seconds`` (the
    solver's effort for the last search) and ``turn``.
    """
    whole = Packing(bench, index, ready, whole=True)
    for seed in range(turn * SEARCHES, (turn + 1) * SEARCHES):
        # asked first, since a yes or no is found sooner
        found = whole.briefly(seconds, seed)
        if found:
            return found
        if found is not None:
            break
    return Packing(bench, index, ready, whole=False).solve(seconds, seed, LINEAR_AT_MOST) or ()


class Packing:
    """The counts of one day. ``whole``: all of the day's own work; else as much worth as it has room for."""

    def __init__(self, bench: Bench, index: int, ready: Sequence[Ready], *, whole: bool) -> None:
        from ortools.sat.python import cp_model

        self.bench, self.model, self.whole = bench, cp_model.CpModel(), whole
        self.windows = [(person, w) for person, ws in bench.days[index].windows.items() for w in ws]
        self.of: dict[JigUse | None, dict[_Like, list[Ready]]] = defaultdict(lambda: defaultdict(list))
        everybody = frozenset(range(len(bench.people)))
        for each in ready:
            people = each.visit.people or everybody
            like = _Like(each.visit.minutes, people, each.worth, each.today, each.visit.other_person)
            self.of[each.visit.jig][like].append(each)
        self.plain = [self._counts(self.of[None], window) for window in range(len(self.windows))]
        self.runs = [run for jig in sorted(jig for jig in self.of if jig) for run in self._runs(jig)]
        self._limits()

    def _bool(self) -> Any:
        return self.model.new_bool_var("")

    def _counts(self, likes: Mapping[_Like, Sequence[Ready]], window: int) -> dict[_Like, Any]:
        person, w = self.windows[window]
        return {
            like: self.model.new_int_var(0, min(len(each), (w.end - w.start) // like.minutes), "")
            for like, each in likes.items()
            if person in like.people
        }

    def _runs(self, jig: JigUse) -> list[_Run]:
        work = sum(like.minutes * len(each) for like, each in self.of[jig].items())
        room = max(1, max(w.end - w.start for _, w in self.windows) - self.bench.setup_minutes)
        many = range(len(self.windows))
        runs = []
        for _ in range(min(self.bench.jig_count(jig.kind), -(-work // room))):
            run = _Run(jig, *([self._bool() for _ in many] for _ in range(3)))
            run.work = [self._counts(self.of[jig], window) for window in many]
            self._one_run(run)
            runs.append(run)
        return runs

    def _one_run(self, run: _Run) -> None:
        model, setup = self.model, self.bench.setup_minutes
        split = self._bool()
        model.add(sum(run.head) == split)
        model.add(sum(run.tail) == split)
        model.add(sum(run.whole) + split <= 1)
        for window, counts in enumerate(run.work):
            here = run.whole[window] + run.head[window] + run.tail[window]
            model.add(here <= 1)
            model.add(sum(counts.values()) >= here)
            for count in counts.values():
                model.add(count == 0).only_enforce_if(
                    [x.negated() for x in (run.whole[window], run.head[window], run.tail[window])]
                )
        ends = sum(w.end * tail for (_, w), tail in zip(self.windows, run.tail, strict=True))
        starts = sum(w.start * head for (_, w), head in zip(self.windows, run.head, strict=True))
        length = sum(map(_minutes, run.work)) + setup
        model.add(length <= ends - starts).only_enforce_if(split)

    def _limits(self) -> None:
        model, setup = self.model, self.bench.setup_minutes
        for window, (_, w) in enumerate(self.windows):
            model.add_at_most_one(run.head[window] for run in self.runs)
            model.add_at_most_one(run.tail[window] for run in self.runs)
            sets = sum(run.whole[window] + run.head[window] for run in self.runs)
            work = sum(_minutes(run.work[window]) for run in self.runs)
            model.add(_minutes(self.plain[window]) + work + setup * sets <= w.end - w.start)
        worth: Any = 0
        for jig, likes in self.of.items():
            places = self.plain if jig is None else [c for r in self.runs if r.jig == jig for c in r.work]
            for like, each in likes.items():
                total = sum(counts[like] for counts in places if like in counts)
                if like.other:
                    self._by_others(like, each, places, total)
                model.add(total == len(each) if self.whole and like.today else total <= len(each))
                worth += like.worth * total
        if not self.whole:
            model.maximize(worth)
        self._jigs()

    def _by_others(
        self, like: _Like, each: Sequence[Ready], places: Sequence[dict[_Like, Any]], total: Any
    ) -> None:
        """Leave enough for others to do of what one person worked on; then everybody can be given theirs."""
        for person in like.people:
            mine = sum(one.last == person for one in each)
            theirs = [
                counts[like]
                for at, counts in enumerate(places)
                if like in counts and self.windows[at % len(self.windows)][0] == person
            ]
            self.model.add(sum(theirs) <= len(each) - mine)
            if self.whole and like.today:
                self.model.add(total - sum(theirs) >= mine)

    def _jigs(self) -> None:
        """Share the jigs of a kind: runs on one jig follow each other in one window, in one piece each."""
        model = self.model
        self.unit: dict[int, Any] = {}
        kinds: dict[str, list[int]] = defaultdict(list)
        for number, run in enumerate(self.runs):
            kinds[run.jig.kind].append(number)
        for kind, numbers in kinds.items():
            jigs = self.bench.jig_count(kind)
            for at, number in enumerate(numbers):
                if len(numbers) <= jigs:
                    self.unit[number] = at
                    continue
                self.unit[number] = mine = model.new_int_var(0, jigs - 1, "")
                for other in numbers[:at]:
                    apart = self._bool()
                    model.add(mine != self.unit[other]).only_enforce_if(apart)
                    for window in range(len(self.windows)):
                        a, b = self.runs[number], self.runs[other]
                        model.add(a.whole[window] == b.whole[window]).only_enforce_if(apart.negated())
                        for split in (a.head[window], b.head[window]):
                            model.add(split == 0).only_enforce_if(apart.negated())

    def briefly(self, seconds: float, seed: int) -> tuple[TimedVisit, ...] | None:
        """Return what `solve` finds with a small share of the effort."""
        return self.solve(SHORT * seconds, seed, LINEAR[seed % len(LINEAR)])

    def solve(self, seconds: float, seed: int, linear: int) -> tuple[TimedVisit, ...] | None:
        """Return the visits; empty if it cannot be; None if none were found with so much effort."""
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1  # the same plan on every machine
        solver.parameters.linearization_level = linear
        solver.parameters.random_seed = seed
        solver.parameters.max_deterministic_time = seconds
        solver.parameters.max_time_in_seconds = 10 * seconds
        status = solver.solve(self.model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None if status == cp_model.UNKNOWN else ()
        self.value = solver.value
        self.given = self._given()
        out: list[TimedVisit] = []
        for window, (person, w) in enumerate(self.windows):
            out += self._window(window, person, w)
        return tuple(sorted(out, key=lambda v: (v.start, v.person)))

    def _window(self, window: int, person: int, w: Window) -> list[TimedVisit]:
        out: list[TimedVisit] = []

        def lay(work: list[Ready], at: int, unit: int | None, sets: bool) -> int:
            for each in work:
                end = at + each.visit.minutes + sets * self.bench.setup_minutes
                out.append(
                    TimedVisit(
                        job=each.number,
                        visit=each.stage,
                        person=person,
                        start=at,
                        end=end,
                        jig=unit,
                        sets_up=sets,
                    )
                )
                at, sets = end, False
            return at

        at = w.start
        last: list[tuple[int, list[Ready]]] = []
        for run, number in sorted(
            ((run, n) for n, run in enumerate(self.runs)),
            key=lambda r: (not self.value(r[0].head[window]), r[1]),
        ):
            if not any(self.value(x[window]) for x in (run.whole, run.head, run.tail)):
                continue
            unit, work = int(self.value(self.unit[number])), self._taken(run.jig, run.work[window], person)
            if self.value(run.tail[window]):
                last.append((unit, work))
            else:
                at = lay(work, at, unit, True)
        lay(self._taken(None, self.plain[window], person), at, None, False)
        for unit, work in last:
            lay(work, w.end - sum(each.visit.minutes for each in work), unit, False)
        return out

    def _taken(self, jig: JigUse | None, counts: Mapping[_Like, Any], person: int) -> list[Ready]:
        out: list[Ready] = []
        for like, count in counts.items():
            of = self.given[jig, like][person]
            out += [of.pop() for _ in range(min(self.value(count), len(of)))]
        return out

    def _given(self) -> dict[tuple[JigUse | None, _Like], dict[int, list[Ready]]]:
        """Return the visits that each person does: as many as counted, and none after their own work."""
        from ortools.graph.python.max_flow import SimpleMaxFlow

        given: dict[tuple[JigUse | None, _Like], dict[int, list[Ready]]] = {}
        for jig, likes in self.of.items():
            places = self.plain if jig is None else [c for r in self.runs if r.jig == jig for c in r.work]
            for like, each in likes.items():
                by_last: dict[int, list[Ready]] = defaultdict(list)
                for one in each:
                    by_last[one.last if like.other and one.last is not None else -1].append(one)
                asked: dict[int, int] = defaultdict(int)
                for at, counts in enumerate(places):
                    if like in counts:
                        asked[self.windows[at % len(self.windows)][0]] += self.value(counts[like])
                flow, people = SimpleMaxFlow(), len(self.bench.people)
                arcs = {
                    flow.add_arc_with_capacity(last + 1, people + 1 + person, len(ones)): (last, person)
                    for last, ones in by_last.items()
                    for person in asked
                    if person != last
                }
                for last, ones in by_last.items():
                    flow.add_arc_with_capacity(2 * people + 1, last + 1, len(ones))
                for person, count in asked.items():
                    flow.add_arc_with_capacity(people + 1 + person, 2 * people + 2, count)
                flow.solve(2 * people + 1, 2 * people + 2)
                mine = given[jig, like] = defaultdict(list)
                for arc, (last, person) in arcs.items():
                    mine[person] += [by_last[last].pop() for _ in range(flow.flow(arc))]
        return given


def _minutes(counts: Mapping[_Like, Any]) -> Any:
    return sum(like.minutes * count for like, count in counts.items())
