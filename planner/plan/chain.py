"""A chain of shops as values: the shops, its vans' runs, what moves between them, and a plan for all.

With the words for what is proved of such a plan.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

from fleet.base.units import counted
from planner.plan.certificate import gap_percent
from planner.plan.values import Plan


class VanThing(StrEnum):
    """The things that a van takes along: skis with what is on them, boots, and loose bindings for a pair."""

    PAIR = "pair"
    BOOT = "boot"
    BINDINGS = "pair of bindings"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainShop:
    """A shop of the chain. ``minutes_limit``: of its own bench; ``budget_cents``: for parts and for what vans
    bring it, in hundredths of its money; None: as much as it takes.
    """

    name: str
    ledger: Path
    minutes_limit: int | None = None
    budget_cents: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class VanRun:
    """A van's way from one shop to another on a day. ``room``: how many of each thing. For each thing that it
    takes along: ``minutes``, and ``price_cents``, which the shop that it reaches pays.
    """

    name: str
    leaves: str
    reaches: str
    day: str
    room: Mapping[VanThing, int]
    minutes: int
    price_cents: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainMove:
    """A thing on a run. ``names``: the tag of a pair or of boots, or the ids of two bindings of one sort."""

    run: str
    thing: VanThing
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """The shops and the runs between them, in the order of their file."""

    shops: tuple[ChainShop, ...]
    runs: tuple[VanRun, ...]

    def run(self, name: str) -> VanRun:
        """The run of that name. Raises KeyError."""
        return {run.name: run for run in self.runs}[name]

    def ends(self, moves: Iterable[ChainMove]) -> set[str]:
        """Return the shops that any of these leaves or reaches."""
        return {name for move in moves for run in [self.run(move.run)] for name in (run.leaves, run.reaches)}

    def paid_cents(self, moves: Iterable[ChainMove]) -> dict[str, int]:
        """Return what each shop pays for what comes to it, in hundredths."""
        paid = dict.fromkeys((shop.name for shop in self.shops), 0)
        for run in map(self.run, (move.run for move in moves)):
            paid[run.reaches] += run.price_cents
        return paid

    def parts_limits_cents(self, moves: Iterable[ChainMove]) -> dict[str, int | None]:
        """Return what each shop has left for parts once it has paid for what comes; None: no limit."""
        paid = self.paid_cents(moves)
        return {
            shop.name: None if shop.budget_cents is None else shop.budget_cents - paid[shop.name]
            for shop in self.shops
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainLevel:
    """A level of the chain's objective, to be small: its value, and what no plan can better (None: nothing
    proved).
    """

    name: str
    value: int
    bound: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainPlan:
    """A proposal for all shops. ``plans``: by shop, each for its fleet as it is once everything has moved."""

    made_at: str
    moves: tuple[ChainMove, ...]
    plans: Mapping[str, Plan]
    levels: tuple[ChainLevel, ...]
    stays: tuple[tuple[str, str, str], ...] = ()
    """(shop, thing, why): what no van may take, though somebody might think so."""

    @property
    def proved(self) -> bool:
        """Return whether no plan of the chain is better, level by level."""
        return all(level.bound == level.value for level in self.levels)

    @property
    def gap_percent(self) -> float:
        """The gap of the first level that is not proved; 0 where all are."""
        missed = [gap_percent(each.value, each.bound) for each in self.levels if each.bound != each.value]
        return missed[0] if missed else 0.0


def loads(chain: Chain, moves: Iterable[ChainMove]) -> dict[str, Counter[VanThing]]:
    """The number of each thing that every run takes along."""
    found: dict[str, Counter[VanThing]] = {run.name: Counter() for run in chain.runs}
    for move in moves:
        found[move.run][move.thing] += 1
    return found


_WORDS: Final = {
    VanThing.PAIR: ("pair of skis", "pairs of skis"),
    VanThing.BOOT: ("pair of boots", "pairs of boots"),
    VanThing.BINDINGS: ("pair of bindings", "pairs of bindings"),
}


def load_text(load: Mapping[VanThing, int]) -> str:
    """``2 pairs of skis, 1 pair of boots``; ``nothing`` for an empty van."""
    return (
        ", ".join(counted(n, *_WORDS[thing]) for thing in VanThing if (n := load.get(thing, 0))) or "nothing"
    )


_LEVEL_WORDS = {
    "mount_worth": ("worth of the mounts drilled", "point"),
    "drilled": ("drilling", "hole"),
    "minutes": ("bench time with the vans'", "minute"),
}


def result_of(plan: ChainPlan) -> str:
    """``proved best``, or how far from the best it is at most."""
    if plan.proved:
        return "proved best: no plan of the chain serves more, drills less or takes less time, in that order"
    return f"best found, at most {plan.gap_percent:g} % from the best"


def left_open(plan: ChainPlan) -> Iterator[str]:
    """A line for each level not proved; each is about plans that are no worse at the levels before."""
    for level in plan.levels:
        if level.bound != level.value:
            yield _open_line(level)


def _open_line(level: ChainLevel) -> str:
    served = level.name.startswith("priority")
    words, unit = _LEVEL_WORDS.get(level.name, ("things moved", "thing"))
    if served:
        words, unit = level.name.removesuffix(" not served"), "set"
    found = f"{words}: {counted(abs(level.value), unit)}, not proved"
    if level.bound is None:
        return f"{found}; no bound was found"
    than = "no more than" if served else "no less than"
    best = counted(-level.bound if served else max(level.bound, 0), unit)
    return f"{found}; the best is {than} {best} ({gap_percent(level.value, level.bound):g} %)"
