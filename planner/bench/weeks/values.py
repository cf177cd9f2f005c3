"""Bench, job and timed plan as frozen values; times are whole minutes since 1970 in UTC.

Real minutes, so that a cure over a clock change lasts as long as its data sheet says.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """An unbroken stretch of one person's bench time, ``[start, end)`` in UTC minutes."""

    start: int
    end: int

    def __post_init__(self) -> None:
        if self.start >= self.end:
            raise ValueError(f"a window runs forward, not from {self.start} to {self.end}")


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkDay:
    """One open day: for each person (by index) the windows in which they stand at the bench."""

    day: date
    windows: Mapping[int, tuple[Window, ...]]

    @property
    def start(self) -> int:
        """The minute when the first person begins."""
        return min(w.start for ws in self.windows.values() for w in ws)

    @property
    def end(self) -> int:
        """The minute when the last person leaves."""
        return max(w.end for ws in self.windows.values() for w in ws)

    def minutes(self, person: int | None = None) -> int:
        """Return the bench minutes of one person, or of all."""
        return sum(
            w.end - w.start for p, ws in self.windows.items() if person is None or p == person for w in ws
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody at the bench. ``may_test``: qualified to make the release test (the shop says so)."""

    name: str
    may_test: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """People, open days in order, and the number of jigs of each kind.

    ``jigs`` by kind of jig (a pattern's name); a kind that is not listed has ``jigs_else``. A jig is set
    up for one sole length; changing it, and the first use of every day, costs ``setup_minutes`` (what
    stood overnight is set again: our rule, no source).
    """

    people: tuple[Person, ...]
    days: tuple[WorkDay, ...]
    zone: str
    jigs: Mapping[str, int] = field(default_factory=dict)
    jigs_else: int = 1
    setup_minutes: int = 0

    def __post_init__(self) -> None:
        if not self.people:
            raise ValueError("a bench needs somebody at it")
        if not self.days:
            raise ValueError("a bench needs an open day")
        if any(a.end > b.start for a, b in zip(self.days, self.days[1:], strict=False)):
            raise ValueError("the open days of a bench follow one another")
        if self.setup_minutes < 0 or self.jigs_else < 1 or any(n < 1 for n in self.jigs.values()):
            raise ValueError("set-up minutes from 0, jigs from 1")

    def jig_count(self, kind: str) -> int:
        """Return the number of jigs of this kind that the bench has."""
        return self.jigs.get(kind, self.jigs_else)


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class JigUse:
    """A kind of jig and the sole length it is set for, as people say it (``"T4/H4"``, ``"315 mm"``)."""

    kind: str
    setting: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One uninterrupted handling of a pair by one person: the steps, and the cure that follows.

    ``people``: who may do it, by index; None is everybody. ``other_person``: not who did the visit
    before. ``cure_minutes`` are real minutes until the next visit may begin.
    """

    steps: tuple[tuple[str, int], ...]
    jig: JigUse | None = None
    cure_minutes: int = 0
    cure_of: str = ""
    other_person: bool = False
    people: frozenset[int] | None = None

    def __post_init__(self) -> None:
        if not self.steps or any(minutes < 0 for _, minutes in self.steps) or self.minutes <= 0:
            raise ValueError("a visit needs steps, with minutes from 0 and more than 0 in all")
        if self.cure_minutes < 0:
            raise ValueError("a cure lasts from 0 minutes")

    @property
    def minutes(self) -> int:
        """The bench minutes, without setting up a jig."""
        return sum(minutes for _, minutes in self.steps)

    @property
    def name(self) -> str:
        """The steps in words."""
        return ", ".join(step for step, _ in self.steps)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One work order as the bench sees it. ``due``: last day on which it counts as on time.

    ``ready``: no earlier than this UTC minute (an order that is begun and still cures).
    """

    number: str
    pair: str
    visits: tuple[Visit, ...]
    due: date | None = None
    weight: int = 1
    boot: str = ""
    wish: str = ""
    ready: int = 0

    def __post_init__(self) -> None:
        if not self.visits:
            raise ValueError(f"job {self.number} has nothing to do")
        if self.weight < 1:
            raise ValueError(f"job {self.number}: weight from 1")
        if self.visits[0].other_person:
            raise ValueError(f"job {self.number}: nobody worked on it before its first visit")


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedVisit:
    """A visit with its person and times. ``start`` includes setting up the jig, if ``sets_up``."""

    job: str
    visit: int
    person: int
    start: int
    end: int
    jig: int | None = None
    sets_up: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """The objective of a bench plan, in its order (all are to be small).

    ``late_weight`` sums the weights of orders that end after their due day or not at all within these
    days; ``left_weight`` those not done at all; ``finish_days`` the open days until each order's end.
    """

    late_weight: int
    left_weight: int
    setups: int
    finish_days: int

    def key(self) -> tuple[int, int, int, int]:
        """Return the figures as a tuple, to be compared from the front."""
        return (self.late_weight, self.left_weight, self.setups, self.finish_days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """Proved lower bounds: no plan has less. None: nothing was proved about it."""

    late_weight: int | None = None
    left_weight: int | None = None
    setups: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPlan:
    """Timed visits in order of their start, the orders late and left over, and how good it is."""

    visits: tuple[TimedVisit, ...]
    late: tuple[str, ...]
    left_over: tuple[str, ...]
    moved: tuple[str, ...]
    figures: Figures
    proof: Proof
    how: str

    @property
    def late_gap_percent(self) -> float:
        """The largest gap of the weighted late orders to the best, in per cent of what was found."""
        return gap_percent(self.figures.late_weight, self.proof.late_weight)

    @property
    def setups_gap_percent(self) -> float:
        """The largest gap of the jig set-ups to the best, among plans with no more late orders, in per
        cent.
        """
        return gap_percent(self.figures.setups, self.proof.setups)

    @property
    def status(self) -> str:
        """The words ``proved best`` if late, left over and set-ups all meet their bound, else ``best
        found``.
        """
        best = (self.figures.late_weight, self.figures.left_weight, self.figures.setups)
        proved = (self.proof.late_weight, self.proof.left_weight, self.proof.setups)
        return "proved best" if best == proved else "best found"


def gap_percent(found: int, bound: int | None) -> float:
    """Return the gap in per cent of what was found, one decimal, rounded up: never better than the truth."""
    if found == 0 or found == bound:
        return 0.0
    missing = found - (bound or 0)
    return -(-missing * 1000 // found) / 10
