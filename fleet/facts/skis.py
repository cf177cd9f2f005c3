"""A ski as values: its mounting zone, the areas that somebody inspected, its holes."""

from __future__ import annotations

from typing import Annotated

from fleet.base.units import checked_um
from fleet.facts.columns import Field, Holds, LedgerColumn, LedgerFacts, Shown, facts_in
from fleet.facts.holes import Hole, Side


class AreaFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of an inspected area. The blank workbook has no sheet of them: a ski's row says it.

    `mountbook correct` takes none of them: a ski is looked at again.
    """

    from_um: Annotated[
        int,
        LedgerColumn(
            Field("start of the area", Holds.LENGTH, -1400, 1400, signed=True),
            "from the ski's own mark",
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]
    to_um: Annotated[
        int,
        LedgerColumn(
            Field("end of the area", Holds.LENGTH, -1400, 1400, signed=True),
            "from the ski's own mark",
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]
    how: Annotated[
        str,
        LedgerColumn(
            Field("how it was inspected", Holds.WORD),
            "bare or new",
            offered=("bare", "new"),
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]
    on: Annotated[
        str,
        LedgerColumn(
            Field("the day of the inspection", Holds.DAY),
            "day of the inspection",
            column="on_day",
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]


class InspectedArea(AreaFacts, frozen=True, kw_only=True):
    """A stretch along the ski that somebody saw bare, or that came new and undrilled."""

    by: str = ""
    entry: int = 0

    def __post_init__(self) -> None:
        if checked_um("from_um", self.from_um) > checked_um("to_um", self.to_um):
            raise ValueError("an inspected area runs from the smaller x to the larger")
        if self.how not in ("bare", "new"):
            raise ValueError(f"an area is inspected 'bare' or 'new', not {self.how!r}")


class SkiFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of one ski; they may stand on the pair's row, for both."""

    mark_from_tail_um: Annotated[
        int | None,
        LedgerColumn(
            Field("distance from mark to tail", Holds.LENGTH, 200, 1400),
            "printed mark from the rearmost point, ruler laid flat",
            title="printed mark from the rearmost point; blank: unknown",
            example="812",
            least=0,
        ),
    ] = None
    zone_back_um: Annotated[
        int | None,
        LedgerColumn(
            Field("mounting zone behind the mark", Holds.LENGTH, -600, 600, signed=True),
            "mounting zone behind the mark",
            example="330",
            least=0,
        ),
    ] = None
    zone_front_um: Annotated[
        int | None,
        LedgerColumn(
            Field("mounting zone ahead of the mark", Holds.LENGTH, 30, 600),
            "mounting zone ahead of the mark",
            example="280",
            least=0,
        ),
    ] = None
    zone_half_width_um: Annotated[
        int | None,
        LedgerColumn(
            Field("half the width of the mounting zone", Holds.LENGTH, 15, 80),
            "half the zone's width",
            example="38",
            least=0,
        ),
    ] = None


class Ski(SkiFacts, frozen=True, kw_only=True):
    """One ski. The zone runs from ``-zone_back_um`` to ``+zone_front_um`` about its own mark.

    A None in the zone or in ``mark_from_tail_um`` means *unknown*, never zero. No area: not inspected.
    ``holes_numbered_to``: the highest number that a hole of this ski ever had, those withdrawn and those
    printed on an order but never drilled too. ``closed_at``:
    when (UTC text) what was known of the ski stopped being enough (``closed_why``); '' if never.
    """

    side: Side
    inspected: tuple[InspectedArea, ...] = ()
    holes: tuple[Hole, ...] = ()
    holes_numbered_to: int = 0
    closed_entry: int = 0
    closed_at: str = ""
    closed_why: str = ""

    def __post_init__(self) -> None:
        for name, value in facts_in(SkiFacts, self).items():
            if name.endswith("_um") and value is not None and checked_um(name, value) < 0:
                raise ValueError(f"{name} must not be negative, not {value}")

    @property
    def is_closed(self) -> bool:
        """Return whether it was closed and not surveyed bare since: it may hold a hole that nobody knows."""
        return bool(self.closed_entry and not self.inspected)

    @property
    def zone_known(self) -> bool:
        """Return whether new holes may be thought of at all."""
        return None not in (self.zone_back_um, self.zone_front_um, self.zone_half_width_um)
