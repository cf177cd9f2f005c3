"""The objective of a plan: its levels in strict order, each settled before the next one counts.

A level is one frozen value. A new one is a value and a field of `Totals` here, the cost that the solver adds
up in `COST_OF` and a field of `Arcs` in `planner.planning.assign.problem`, and the judge's own count in
`COUNT_OF` of `planner.planning.judge.certificate`. What is missing is refused at import (`of_every_level`,
`a_field_for_every`).

And the proof that a plan is best: multipliers of the limits, level by level, in whole numbers over one scale.
Weak duality: add the limits up, each times its multiplier. Where the sum charges every possible way no more
than it costs, nothing costs less than the same sum of the limits' right-hand sides.
`planner.planning.judge.bound` does the adding.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from enum import StrEnum
from itertools import groupby
from typing import Any, Final, TypeVar

from fleet.base.units import counted, length_text, mm_text, to_half_mm
from fleet.facts.pairs import BrakeWidth

T = TypeVar("T")


class Unit(StrEnum):
    """The unit that a level counts in."""

    SETS = "set"
    HOLES = "hole"
    MINUTES = "minute"
    LENGTH = "micrometre"
    MOUNTS = "further mount"
    POINTS = "point"


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """The figures of the objective, in its order; and what the parts cost, None while a price is not set.

    ``fit_not_known``: sets that keep a binding of which nobody knows whether its brake fits. ``room_lost``:
    places for further mounts that the work takes; None where nobody counted them. ``mount_worth``: points of
    the mounts drilled, by the shop's worths; None where it set none, or nobody counted.
    """

    wanted: int
    served: int
    served_by_priority: Mapping[int, int]
    drilled: int
    minutes: int
    offset_um: int
    clearance_um: int
    parts_cents: int | None = None
    fit_not_known: int = 0
    room_lost: int | None = None
    mount_worth: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One level. Its value is kept as small as can be; ``name`` is its name in a certificate.

    ``total``: the field of `Totals` that tells it to people. ``more``: people want more of that, and the
    value is what is lacking: sets served taken negative, or the shop's cap for every set less the total.
    ``words``: its heading. ``compared``: the end of a sentence on two plans. ``priority``: of the wishes
    whose sets it counts, None for a level that adds up what the sets cost.
    """

    name: str
    unit: Unit
    words: str
    total: str = ""
    more: bool = False
    compared: str = ""
    priority: int | None = None

    def total_in(self, totals: Totals) -> int:
        """Return what people are told."""
        if self.priority is not None:
            return totals.served_by_priority.get(self.priority, 0)
        return int(getattr(totals, self.total) or 0)

    def total_for(self, value: int, *, sets: int, cap_um: int) -> int:
        """The total that a value stands for in a plan of so many sets."""
        if self.priority is not None:
            return -value
        return cap_um * sets - value if self.more else value

    def figure(self, total: int) -> str:
        """A total in words."""
        if self.unit is Unit.LENGTH:
            return f"{mm_text(to_half_mm(total))} mm summed"
        return counted(total, self.unit) + (" served" if self.priority is not None else "")

    def difference(self, change: int) -> str:
        """Return how much more or less another plan has."""
        if self.unit is Unit.LENGTH:
            size = length_text(abs(change)) if abs(change) >= 500 else "less than 0.5"
            return f"{size} mm {'more' if change > 0 else 'less'} {self.compared}"
        if self.unit is Unit.MINUTES:
            return f"{abs(change)} min {'more' if change > 0 else 'less'}"
        return f"{counted(abs(change), self.unit)} {self.compared}{'more' if change > 0 else 'fewer'}"


WORTH: Final = Level(
    name="mount_worth",
    unit=Unit.POINTS,
    words="worth of the mounts drilled",
    total="mount_worth",
    compared="of worth of mounts ",
)
DRILLED: Final = Level(name="drilled", unit=Unit.HOLES, words="drilling", total="drilled")
MINUTES: Final = Level(name="minutes", unit=Unit.MINUTES, words="bench time", total="minutes")
OFFSET: Final = Level(
    name="offset_um",
    unit=Unit.LENGTH,
    words="boot centres off the mark",
    total="offset_um",
    compared="off the marks in all",
)
CLEARANCE: Final = Level(
    name="clearance_lost_um",
    unit=Unit.LENGTH,
    words="room around new holes",
    total="clearance_um",
    more=True,
    compared="clearance in all",
)

ROOM: Final = Level(
    name="room_lost",
    unit=Unit.MOUNTS,
    words="room for further mounts taken",
    total="room_lost",
    compared="taken ",
)

COST_LEVELS: Final = (WORTH, DRILLED, MINUTES, OFFSET, CLEARANCE, ROOM)
"""Levels that add up what sets cost, in order; they come after the sets served of every priority."""


IF_COUNTED: Final = (WORTH, ROOM)
"""Levels that a plan has only where their total was counted; of the others the total is never None."""


def counted_in(*totals: Totals) -> tuple[Level, ...]:
    """Those of `IF_COUNTED` that all of these totals tell."""
    return tuple(
        level for level in IF_COUNTED if all(getattr(each, level.total) is not None for each in totals)
    )


def levels_of(priorities: Iterable[int], counted: Collection[Level] = ()) -> tuple[Level, ...]:
    """All levels in order: the sets served of each priority, 1 first, then the costs.

    ``counted``: those of `IF_COUNTED` that there are.
    """
    served = (
        Level(
            name=f"priority {p} not served",
            unit=Unit.SETS,
            words=f"priority {p}",
            more=True,
            compared=f"of priority {p} ",
            priority=p,
        )
        for p in sorted(set(priorities))
    )
    return (*served, *cost_levels(counted))


def cost_levels(counted: Collection[Level]) -> tuple[Level, ...]:
    """The levels that add up what sets cost, with those of `IF_COUNTED` that were ``counted``."""
    return tuple(level for level in COST_LEVELS if level in counted or level not in IF_COUNTED)


def of_every_level(found: Mapping[str, T]) -> Mapping[str, T]:
    """Return what stands for each level, by name. Raises LookupError where a level or a name stands alone."""
    names = [level.name for level in COST_LEVELS]
    if sorted(found) != sorted(names):
        raise LookupError(f"the levels are {', '.join(names)}; there is something for {', '.join(found)}")
    return found


def a_field_for_every(names: Iterable[str], owner: type) -> None:
    """Raise LookupError where a level has no field in a class that holds them all."""
    if missing := sorted(set(names) - {field.name for field in fields(owner)}):
        raise LookupError(f"{owner.__name__} has no field {', '.join(missing)}, which a level needs")


a_field_for_every((level.total for level in COST_LEVELS), Totals)


Sort = tuple[str, BrakeWidth]
"""A sort of binding: pattern and brake in micrometres, None without a brake."""

GROUPS = (
    "pairs", "links", "link_caps", "boots", "wishes", "brakes", "supply", "stock", "bench", "parts",
    "earlier",
)  # fmt: skip
"""Groups of limits in order; ``bench`` is the one limit on minutes, ``parts`` the one on money, ``earlier``
the values already proved."""


WAY_FIGURES = ("pair", "boot", "brakes", "drilled", "minutes", "parts_cents")
"""A proof by cases may count ways by these: numbers of classes and of sets of sorts, then costs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseProof:
    """A case, split further or closed: the multiplier of each limit by group, and of each count that leads to
    it, all times ``scale``.
    """

    scale: int = 1
    multipliers: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    counts: tuple[int, ...] = ()
    split: CaseSplit | None = None

    def to_body(self) -> dict[str, Any]:
        """Multipliers as text, like those of a level."""
        if self.split is not None:
            return self.split.to_body()
        return {
            "scale": self.scale,
            "multipliers": _short_groups(self.multipliers),
            "counts": _short(self.counts),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseSplit:
    """Two cases that hold every whole plan: of the ways with these figures at most so many are used, or more.

    ``figures``: in the order of `WAY_FIGURES`, None where any will do.
    """

    figures: tuple[int | None, ...]
    at_most: int
    fewer: CaseProof
    more: CaseProof

    def to_body(self) -> dict[str, Any]:
        """The question, then both cases."""
        return {
            "ways": {n: f for n, f in zip(WAY_FIGURES, self.figures, strict=True) if f is not None},
            "at_most": self.at_most,
            "fewer": self.fewer.to_body(),
            "more": self.more.to_body(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelProof:
    """One level: the plan's value, and the multiplier of each limit, times ``scale``, by group.

    ``cases``: what those multipliers leave open, proved case by case; None where there is nothing of it.
    ``by_solver``: the solver proved the value best, which rests on its arithmetic and is not shown here.

    ``bound``: what the multipliers prove over every possible way: no plan that is no worse at the levels
    before has less. The value itself where it is proved best, None where nothing is proved.
    """

    name: str
    value: int
    scale: int
    multipliers: Mapping[str, tuple[int, ...]]
    bound: int | None = None
    cases: CaseSplit | None = None
    by_solver: bool = False

    def to_body(self) -> dict[str, Any]:
        """Multipliers as text: ``0x12 -3`` is twelve zeros and a minus three."""
        body = {
            "name": self.name,
            "value": self.value,
            "bound": self.bound,
            "by_solver": self.by_solver,
            "scale": self.scale,
            "multipliers": _short_groups(self.multipliers),
        }
        return body if self.cases is None else body | {"cases": self.cases.to_body()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """The owners of the limits (tags; links as numbers of a pair class and a boot class), and the proofs.

    ``parts_step``: hundredths that the parts of every way are a multiple of: what a budget has beyond such a
    multiple buys nothing, and no proof counts it. The judge holds each way against it.
    A class is of things no limit tells apart. A link stands for a boot class and all pair classes with the
    same wishes as the one named.
    """

    pairs: tuple[tuple[str, ...], ...]
    boots: tuple[tuple[str, ...], ...]
    links: tuple[tuple[int, int], ...]
    brake_sets: tuple[tuple[Sort, ...], ...]
    levels: tuple[LevelProof, ...]
    parts_step: int = 1

    def to_body(self) -> dict[str, Any]:
        """The key ``certificate`` of a plan."""
        return {
            "pairs": [" ".join(map(_quoted, tags)) for tags in self.pairs],
            "boots": [" ".join(map(_quoted, tags)) for tags in self.boots],
            "links": " ".join(f"{pair}/{boot}" for pair, boot in self.links),
            "brake_sets": [
                [{"pattern": pattern, "brake_um": brake} for pattern, brake in sorts]
                for sorts in self.brake_sets
            ],
            "parts_step": self.parts_step,
            "levels": [level.to_body() for level in self.levels],
        }


def gap_percent(value: int, bound: int | None) -> float:
    """Return how much of the larger of the two lies between them, rounded up to a tenth; 100 without a
    bound.
    """
    if bound is None:
        return 100.0
    most = max(abs(value), abs(bound))
    return 0.0 if most == 0 else -(-1000 * (value - bound) // most) / 10


def certificate_from_body(data: Mapping[str, Any]) -> Certificate:
    """The inverse of `Certificate.to_body`. Raises KeyError, TypeError or ValueError on nonsense."""
    return Certificate(
        pairs=tuple(_tags(text) for text in data["pairs"]),
        boots=tuple(_tags(text) for text in data["boots"]),
        links=tuple(_link(text) for text in data["links"].split()),
        brake_sets=tuple(
            tuple((str(s["pattern"]), s["brake_um"]) for s in row) for row in data["brake_sets"]
        ),
        parts_step=int(data.get("parts_step", 1)),
        levels=tuple(
            LevelProof(
                name=str(row["name"]),
                value=int(row["value"]),
                bound=None if (bound := row.get("bound", row["value"])) is None else int(bound),
                scale=int(row["scale"]),
                multipliers=_long_groups(row["multipliers"]),
                by_solver=bool(row.get("by_solver", False)),
                cases=None if (cases := row.get("cases")) is None else _split(cases),
            )
            for row in data["levels"]
        ),
    )


def _split(data: Mapping[str, Any]) -> CaseSplit:
    ways = data["ways"]
    return CaseSplit(
        figures=tuple(None if name not in ways else int(ways[name]) for name in WAY_FIGURES),
        at_most=int(data["at_most"]),
        fewer=_case(data["fewer"]),
        more=_case(data["more"]),
    )


def _case(data: Mapping[str, Any]) -> CaseProof:
    if "ways" in data:
        return CaseProof(split=_split(data))
    return CaseProof(
        scale=int(data["scale"]),
        multipliers=_long_groups(data["multipliers"]),
        counts=_long(data["counts"]),
    )


def _short_groups(multipliers: Mapping[str, tuple[int, ...]]) -> dict[str, str]:
    return {group: _short(multipliers[group]) for group in GROUPS}


def _long_groups(data: Mapping[str, str]) -> dict[str, tuple[int, ...]]:
    return {group: _long(data.get(group, "")) for group in GROUPS}


def _short(values: Sequence[int]) -> str:
    runs = ((value, len(list(same))) for value, same in groupby(values))
    return " ".join(f"{value}x{times}" if times > 1 else str(value) for value, times in runs)


def _long(text: str) -> tuple[int, ...]:
    found: list[int] = []
    for run in text.split():
        value, _, times = run.partition("x")
        found += [int(value)] * (int(times) if times else 1)
    return tuple(found)


def _link(text: str) -> tuple[int, int]:
    pair, boot = text.split("/")
    return int(pair), int(boot)


def _quoted(tag: str) -> str:
    return tag.replace("%", "%25").replace(" ", "%20")


def _tags(text: str) -> tuple[str, ...]:
    return tuple(tag.replace("%20", " ").replace("%25", "%") for tag in text.split(" "))
