"""The objective of a plan: its levels in strict order, each settled before the next one counts.

A level is one frozen value. A new one is a value and a field of `Totals` here, the cost that the solver adds
up in `COST_OF` and a field of `Arcs` in `planner.planning.assign.problem`, and the judge's own count in
`COUNT_OF` of `planner.planning.judge.certificate`. What is missing is refused at import (`of_every_level`,
`a_field_for_every`).
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Final, TypeVar

from fleet.base.units import counted, length_text, mm_text, to_half_mm

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
