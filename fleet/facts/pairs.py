"""Pairs as values: a pair of skis, their zones, areas and holes, and the bindings that are on it or loose; a
pair of boots; sets wanted: the lines of sets that a shop asks for, also called wants.
"""

import hashlib
import json
import sqlite3
from collections.abc import Collection, Mapping
from enum import StrEnum
from typing import Annotated

from fleet.base.units import checked_um, counted, mm_text
from fleet.facts.columns import (
    BindingId,
    Field,
    Holds,
    LedgerColumn,
    LedgerFacts,
    PairTag,
    Shown,
    facts_in,
)
from fleet.facts.holes import Hole, HoleState, Mount, Side, StatedMount
from fleet.facts.kinds import KIND, Kind
from fleet.facts.policy import Policy
from fleet.facts.standing import Place


class Brake(StrEnum):
    """Words in the place of a brake's width. In the ledger ``none`` and ``not known`` stand, or null: as
    older ledgers tell that there is none, which nobody saw. ``told as none`` is that in files.
    """

    NONE = "none"
    UNKNOWN = "not known"
    TOLD = "told as none"


BrakeWidth = int | Brake | None
"""Micrometres, or a word; null: told as none, not seen."""


def no_brake(brake: BrakeWidth) -> bool:
    """Return whether there is none, seen or told."""
    return brake_to_plan(brake) is None


def brake_to_plan(brake: BrakeWidth) -> BrakeWidth:
    """As plans count it: the width, None for no brake (seen or told), ``not known``."""
    return brake if isinstance(brake, int) or brake is Brake.UNKNOWN else None


def brake_text(brake: BrakeWidth, *, lead: str = "brake ", unit: str = " mm") -> str:
    """``brake 95 mm``, ``no brake``, ``no brake (told, not seen)``, ``brake not known``."""
    if isinstance(brake, int):
        return f"{lead}{mm_text(brake)}{unit}"
    if brake is Brake.UNKNOWN:
        return f"{lead}not known"
    return "no brake" if brake is Brake.NONE else "no brake (told, not seen)"


def planned_brake_text(brake: BrakeWidth, *, lead: str = "brake ", unit: str = " mm") -> str:
    """The same of a plan, which counts told and seen alike: ``no brake`` for None."""
    return brake_text(Brake.NONE if no_brake(brake) else brake, lead=lead, unit=unit)


class BindingFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of the binding of one ski, wherever it is."""

    binding_id: Annotated[
        BindingId,
        LedgerColumn(
            Field("the binding's id", Holds.TEXT),
            "name of one ski's binding in stock; leave it as it is",
            title="name of the binding",
            required=True,
            shown=Shown.FOR_PEOPLE,
            correctable=False,
        ),
    ]
    model: Annotated[
        str, LedgerColumn(Field("the model", Holds.TEXT), "binding model", shown=Shown.FOR_PEOPLE)
    ]
    pattern: Annotated[
        str,
        LedgerColumn(
            Field("the pattern", Holds.TEXT), "its pattern; blank: not known", shown=Shown.FOR_PEOPLE
        ),
    ]
    brake_um: Annotated[
        BrakeWidth,
        LedgerColumn(
            Field("brake width", Holds.LENGTH, 50, 180),
            "brake width; none: no brake, blank: not known",
            title="a number; none: there is no brake; told as none: nobody saw it; blank: not known",
            shown=Shown.FOR_PEOPLE,
            blank=Brake.UNKNOWN,
            silence=Brake.TOLD,
        ),
    ]
    season: Annotated[
        str, LedgerColumn(Field("the season", Holds.TEXT), "season of purchase", shown=Shown.FOR_PEOPLE)
    ] = ""
    serial_toe: Annotated[
        str,
        LedgerColumn(
            Field("the serial", Holds.TAG),
            "serial or date code of the toe piece",
            title="serial or date code",
            shown=Shown.FOR_PEOPLE,
        ),
    ] = ""
    serial_heel: Annotated[
        str,
        LedgerColumn(
            Field("the serial", Holds.TAG),
            "serial or date code of the heel piece",
            title="serial or date code",
            shown=Shown.FOR_PEOPLE,
        ),
    ] = ""
    kind: Annotated[
        Kind | None,
        LedgerColumn(KIND, "what the model is for; blank: not stated", example="telemark"),
    ] = None


class Binding(BindingFacts, frozen=True, kw_only=True):
    """The binding of ONE ski (toe and heel). ``brake_um`` None: told as none, not seen.

    In the stock when ``on_pair`` is None. ``asks``: what a note on it proposes and nobody has answered yet.
    """

    on_pair: Annotated[
        str | None,
        LedgerColumn(
            Field("the tag", Holds.TAG),
            "the pair it is on; blank: in stock",
            shown=Shown.FILES,
            correctable=False,
        ),
    ] = None
    on_ski: Annotated[
        Side | None,
        LedgerColumn(Field("the ski", Holds.WORD), "A or B", shown=Shown.FILES, correctable=False),
    ] = None
    entry: int = 0
    asks: str = ""

    @property
    def may_be_mounted(self) -> bool:
        """Return whether a plan or an order may take it from the stock. Whether a brake that nobody knows
        fits is not known either: it is measured first.
        """
        return self.on_pair is None and not self.asks and self.brake_um is not Brake.UNKNOWN

    @property
    def brake_to_plan(self) -> BrakeWidth:
        """Its brake as plans count it: None for no brake, seen or told."""
        return brake_to_plan(self.brake_um)


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


EARLIER_UNKNOWN = "earlier mounts not known"


class Construction(StrEnum):
    """The material that the drill meets. Unknown is None: no drill size is printed for it."""

    NO_METAL = "no metal"
    METAL = "metal"
    THIN_CORE = "thin core"


class PairFacts(LedgerFacts, frozen=True, kw_only=True):
    """The written facts of a pair when it is recorded."""

    tag: Annotated[
        PairTag,
        LedgerColumn(
            Field("the tag", Holds.TAG),
            "asset tag of the pair, as text",
            title="asset tag",
            example="K-031",
            required=True,
            correctable=False,
        ),
    ]
    model: Annotated[str, LedgerColumn(Field("the model", Holds.TEXT), "make and model", example="Larch 96")]
    kind: Annotated[
        Kind,
        LedgerColumn(KIND, "what the pair is for", example="telemark", required=True),
    ]
    length_mm: Annotated[
        int,
        LedgerColumn(
            Field("ski length", Holds.LENGTH, 60, 240, unit="cm"),
            "length as printed",
            key="length_cm",
            title="length",
            example="178",
            required=True,
        ),
    ]
    waist_um: Annotated[
        int | None,
        LedgerColumn(Field("waist width", Holds.LENGTH, 45, 160), "width under the boot", example="96"),
    ]
    construction: Annotated[
        Construction | None,
        LedgerColumn(
            Field("the construction", Holds.WORD), "what the drill meets; blank: unknown", example="no metal"
        ),
    ]
    rack: Annotated[
        str,
        LedgerColumn(
            Field("the rack", Holds.TEXT), "where the pair stands", title="where it stands", example="R4-12"
        ),
    ]
    earlier_mounts: Annotated[
        int | None,
        LedgerColumn(
            Field("the number of earlier mounts", Holds.COUNT, 0, 12),
            "full mounts before the present one; blank: not known",
            title="full mounts before the first one of mounts.csv; blank: not known",
            example="1",
        ),
    ] = 0


class Pair(PairFacts, frozen=True, kw_only=True):
    """The rental unit: one asset tag, two skis.

    ``earlier_mounts``: those before the ones on record, None where nobody stated them; then
    ``earlier_at_least`` is what the holes showed when work was last entered.

    ``reference_from_tail_um``: set by an entry of its own, never with the pair. ``stops``: its stops in
    words, wherever it is (`fleet.facts.carried.stops_of`). ``hands``: the people who may not pass it, or
    lift its hold alone, in words (`fleet.facts.carried.people_of`). ``glued``: the adhesives used, and when
    (UTC text): it may have cured. ``asks``: the proposal of a note on it, its skis or bindings that nobody
    has answered yet.
    """

    place: Place
    skis: Mapping[Side, Ski]
    mounts: tuple[Mount, ...] = ()
    stated: tuple[StatedMount, ...] = ()
    earlier_at_least: int = 0
    reference_from_tail_um: Annotated[
        int | None,
        LedgerColumn(
            Field("the pair's reference from the tail", Holds.LENGTH, 200, 1400),
            "the pair's reference, where the head technician set one",
            shown=Shown.FILES,
            correctable=False,
        ),
    ] = None
    entry: int = 0
    stops: tuple[str, ...] = ()
    hands: tuple[str, ...] = ()
    glued: tuple[tuple[str, str], ...] = ()
    asks: str = ""

    def __post_init__(self) -> None:
        if not self.tag:
            raise ValueError("a pair needs a tag")
        if set(self.skis) != {Side.A, Side.B}:
            raise ValueError(f"pair {self.tag} needs ski A and ski B")
        if self.length_mm <= 0:
            raise ValueError(f"pair {self.tag}: length must be more than 0")

    @property
    def plannable(self) -> bool:
        """Return whether it stands in the shop and nothing about it waits for an answer."""
        return self.place.plannable and not self.asks

    @property
    def current_mount(self) -> Mount | None:
        """The mount that has not been removed, the newest if there are several."""
        current = [mount for mount in self.mounts if mount.removed_on is None]
        return current[-1] if current else None

    @property
    def stands_at(self) -> str:
        """The words ``set for sole: A 305 mm, B not known``, where skis or pieces differ; else ""."""
        mount = self.current_mount
        return f"set for sole: {mount.set_words}" if mount and mount.set_words else ""

    @property
    def present_stated(self) -> StatedMount | None:
        """The mount that is on as a sheet states it, where no more is known of it."""
        return next((mount for mount in self.stated if mount.removed_on is None), None)

    @property
    def earlier_shown(self) -> int:
        """Mounts before those on record: as stated, else the fewest that the holes can come from.

        A screwed hole needs a mount that is on; an open or plugged one, a mount that came off.
        """
        if self.earlier_mounts is not None:
            return self.earlier_mounts
        states = {hole.state for ski in self.skis.values() for hole in ski.holes}
        on = self.current_mount is not None or self.present_stated is not None
        off = any(mount.removed_on for mount in self.mounts) or any(m.removed_on for m in self.stated)
        shown = (HoleState.SCREWED in states and not on) + (
            not off and not states.isdisjoint((HoleState.OPEN, HoleState.PLUGGED))
        )
        return max(self.earlier_at_least, shown, int(bool(states) and not on and not off))

    @property
    def drilled_mounts(self) -> int:
        """Mounts that drilled at least one hole, those before this ledger included: at least so many."""
        return self.earlier_shown + sum(mount.drilled for mount in self.mounts) + len(self.stated)

    @property
    def mounts_text(self) -> str:
        """Return how many mounts drilled, in words that do not make more of it than is known."""
        return f"{counted(self.drilled_mounts, 'mount')} drilled{self.earlier_text}"

    @property
    def earlier_text(self) -> str:
        """Return what is to be said after a number of mounts: nothing, or that there may be more."""
        return f", {EARLIER_UNKNOWN}" if self.earlier_mounts is None else ""


_PARTS = (
    "SELECT construction, waist_um, reference_from_tail_um, earlier_mounts FROM pair WHERE tag = ?",
    "SELECT side, mark_from_tail_um, zone_back_um, zone_front_um, zone_half_width_um FROM ski"
    " WHERE tag = ? ORDER BY side",
    "SELECT side, from_um, to_um, how FROM area WHERE tag = ? ORDER BY side, from_um, to_um, how",
    "SELECT hole_id, side, x_um, y_um, diameter_um, depth_um, state, knowledge FROM hole"
    " WHERE tag = ? ORDER BY hole_id",
    "SELECT pattern, bsl_um, offset_um, mounted_on, removed_on, slides FROM mount"
    " WHERE tag = ? ORDER BY mount_id",
    "SELECT binding_id, pattern, brake_um, on_ski FROM binding WHERE on_pair = ? ORDER BY binding_id",
)


def pair_state(connection: sqlite3.Connection, tag: str) -> str:
    """SHA-256 (hex) over the pair's skis, areas, holes, mounts and bindings; not over where it is."""
    said = [[list(row) for row in connection.execute(part, (tag,))] for part in _PARTS]
    return hashlib.sha256(json.dumps(said, ensure_ascii=False).encode()).hexdigest()


def fit_is_known(pair: Pair, on: Collection[Binding]) -> bool:
    """Return whether the fit of the brakes on a pair is known; what has no brake has nothing to fit."""
    if any(binding.brake_um is Brake.UNKNOWN for binding in on):
        return False
    return pair.waist_um is not None or all(no_brake(binding.brake_um) for binding in on)


def not_known(pair: Pair, on: Collection[Binding]) -> str:
    """Return what to measure, by name; "" where the fit is known."""
    if fit_is_known(pair, on):
        return ""
    unknown = sorted(binding.binding_id for binding in on if binding.brake_um is Brake.UNKNOWN)
    brakes = f"brake of {' and '.join(unknown)}" if unknown else ""
    waist = f"waist of {pair.tag}" if pair.waist_um is None else ""
    return f"{' and '.join(filter(None, (brakes, waist)))} not known: measure first"


def to_measure(pair: Pair, on: Collection[Binding], policy: Policy) -> str:
    """The same with what the shop's rule asks for."""
    if not (said := not_known(pair, on)):
        return ""
    over = policy.um("brake_over_waist_max_mm")
    if pair.waist_um is None:
        return f"{said}; the rule asks for a brake of 0 to {mm_text(over)} mm over the waist"
    return f"{said}; the rule asks for {mm_text(pair.waist_um)} to {mm_text(pair.waist_um + over)} mm"
