"""The sheets an inventory workbook may have, and the header words of each: what the blank workbook writes.

The facts of a thing come from its own class (`fleet.facts.columns`); what stands here beside them is what a
sheet says in its own way, such as the mount that is on.

Every header is the value's key as other programs read it, with its unit in the name. The words that real
sheets use instead stand in ``header_words.csv``. A csv twin has the sheet's name in small letters.
"""

from collections.abc import Iterable, Mapping
from dataclasses import KW_ONLY, dataclass
from enum import StrEnum
from typing import Final, TypeVar

from fleet.facts.boots import BootFacts
from fleet.facts.columns import Field, Holds, LedgerFacts, Shown, columns_of
from fleet.facts.holes import HoleFacts, MountFacts, StatedMountFacts
from fleet.facts.pairs import AreaFacts, Binding, Pair, SkiFacts
from fleet.facts.patterns import Fit, PatternFacts, PatternHoleFacts, PieceFacts
from fleet.facts.staff import StaffFacts
from fleet.facts.wishes import WishFacts


class Table(StrEnum):
    """The thing that one row of a table describes. The value is the ``kind`` of a row in the report."""

    SKI = "ski"
    BOOT = "boot"
    BINDING = "binding"
    PATTERN = "pattern"
    HOLE = "hole"
    FIT = "fit"
    WANTED = "wanted"
    STAFF = "staff"
    SIDE = "side"
    MOUNT = "mount"
    AREA = "area"
    POLICY = "policy"


EQUIPMENT: Final = (Table.SKI, Table.BOOT, Table.BINDING)
"""The things that may stand in one list, in which a column says of each row what it is."""
OF_A_PAIR: Final = (Table.HOLE, Table.SIDE, Table.MOUNT, Table.AREA)
"""Rows that name their pair: they come in with it, and wait with it."""


@dataclass(frozen=True, slots=True)
class SheetColumn:
    """One column: its key, what it means, one example for the blank workbook, and the words it may hold."""

    key: str
    meaning: str
    example: str = ""
    _: KW_ONLY
    required: bool = False
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPlan:
    """One sheet of the clean workbook."""

    table: Table
    sheet: str
    says: str
    columns: tuple[SheetColumn, ...]

    @property
    def keys(self) -> tuple[str, ...]:
        """The header words in order."""
        return tuple(column.key for column in self.columns)

    @property
    def required(self) -> tuple[str, ...]:
        """The columns without which a row cannot be understood."""
        return tuple(column.key for column in self.columns if column.required)


THINGS_OF: Final[Mapping[Table, tuple[type[LedgerFacts], ...]]] = {
    Table.SKI: (Pair, SkiFacts),
    Table.SIDE: (SkiFacts,),
    Table.BOOT: (BootFacts,),
    Table.BINDING: (Binding,),
    Table.PATTERN: (PatternFacts, PieceFacts, PatternHoleFacts),
    Table.HOLE: (HoleFacts,),
    Table.FIT: (Fit,),
    Table.WANTED: (WishFacts,),
    Table.STAFF: (StaffFacts,),
    Table.AREA: (AreaFacts,),
    Table.MOUNT: (MountFacts, StatedMountFacts),
}
"""The things of which the rows of a table state facts."""


def sheet_columns(*things: type[LedgerFacts], people: bool = False) -> tuple[SheetColumn, ...]:
    """Their facts as columns of the blank workbook; ``people``: those of the exported one as well.

    Words are offered where a row is typed in, not in a column that is only exported.
    """
    shown = (Shown.EVERYWHERE, Shown.FOR_PEOPLE) if people else (Shown.EVERYWHERE,)
    return tuple(
        SheetColumn(
            c.key,
            c.meaning,
            c.example,
            required=c.required,
            words=c.words if c.shown is Shown.EVERYWHERE else (),
        )
        for thing in things
        for c in columns_of(thing)
        if c.shown in shown
    )


_Column = TypeVar("_Column", bound=SheetColumn)


def in_order(first: str, columns: Iterable[_Column]) -> tuple[_Column, ...]:
    """Those named first, then the rest: a new column stands at the end."""
    rest = {column.key: column for column in columns}
    return (*[rest.pop(key) for key in first.split()], *rest.values())


NOTES: Final = SheetColumn("notes", "what was noted of it; several with a | between them")
SKI_SIDES: Final = ("A", "B", "both")
_INSPECTED: Final = ("bare", "new", "no")

CLEAN_WORKBOOK: Final[tuple[SheetPlan, ...]] = (
    SheetPlan(
        table=Table.SKI,
        sheet="Skis",
        says="one row a pair; or two rows with the same tag, ski A and ski B, where they differ",
        columns=in_order(
            "tag model kind ski length_cm waist_mm construction mark_offset_mm mark_from_tail_mm"
            " zone_back_mm zone_front_mm zone_half_width_mm inspected inspected_on binding_model brake_mm"
            " bsl_mm mount_date toe_stands_mm heel_stands_mm earlier_mounts notes rack",
            (
                *sheet_columns(Pair, SkiFacts),
                SheetColumn("ski", "A or B if the row is one ski; blank: both", words=("A", "B")),
                SheetColumn("mark_offset_mm", "boot centre from the printed mark, + to the tip", "-5.5"),
                SheetColumn(
                    "inspected", "bare: seen bare; new: undrilled; no or blank", "bare", words=_INSPECTED
                ),
                SheetColumn("inspected_on", "day of the inspection", "2026-10-20"),
                SheetColumn(
                    "binding_model", "binding on the ski now (or the name of its pattern)", "Sennhof 75"
                ),
                SheetColumn("brake_mm", "its brake width; none: no brake, blank: not known", "105"),
                SheetColumn("bsl_mm", "boot sole length it was mounted for", "305"),
                SheetColumn("mount_date", "day it was mounted", "2024-11-30"),
                SheetColumn("toe_stands_mm", "where a sole's toe end stands in it now, from the mark", "150"),
                SheetColumn(
                    "heel_stands_mm", "the same for the heel end; behind the mark is negative", "-155"
                ),
                NOTES,
            ),
        ),
    ),
    SheetPlan(
        table=Table.BOOT,
        sheet="Boots",
        says="one row a tagged pair of boots",
        columns=in_order(
            "tag model mondopoint bsl_mm bsl_measured sole_type kind wear notes",
            (*sheet_columns(BootFacts), NOTES),
        ),
    ),
    SheetPlan(
        table=Table.BINDING,
        sheet="Bindings",
        says="bindings in stock, not those on skis; quantity counts pairs of bindings",
        columns=in_order(
            "model quantity brake_mm season serial kind notes",
            (
                SheetColumn(
                    "model", "binding model (or the name of its pattern)", "Sennhof 75", required=True
                ),
                SheetColumn("quantity", "pairs of bindings in stock", "12", required=True),
                SheetColumn("brake_mm", "brake width; none: no brake, blank: not known", "105"),
                SheetColumn("season", "season of purchase", "2025/26"),
                SheetColumn("serial", "serial or date code, where quantity is 1"),
                *sheet_columns(Binding),
                NOTES,
            ),
        ),
    ),
    SheetPlan(
        table=Table.PATTERN,
        sheet="Patterns",
        says="one row a hole of a pattern, relative to what its piece follows",
        columns=in_order(
            "pattern binding_model piece follows x_mm y_mm diameter_mm travel_back_mm travel_forward_mm"
            " bsl_min_mm bsl_max_mm binding_kind screw screw_origin kind",
            sheet_columns(PatternFacts, PieceFacts, PatternHoleFacts),
        ),
    ),
    SheetPlan(
        table=Table.HOLE,
        sheet="Holes",
        says="one row a hole known in a ski, from that ski's own printed mark",
        columns=(
            SheetColumn("pair_tag", "asset tag of the pair", "K-031", required=True),
            SheetColumn("ski", "A, B, or both (both is kept as batch assumed)", "A", words=SKI_SIDES),
            *sheet_columns(HoleFacts),
        ),
    ),
    SheetPlan(
        table=Table.FIT,
        sheet="Fits",
        says="sole type and pattern declared compatible by BOTH makers; no row means no",
        columns=sheet_columns(Fit),
    ),
    SheetPlan(
        table=Table.WANTED,
        sheet="Wanted",
        says="sets to have ready, one row a line; windows include both ends",
        columns=sheet_columns(WishFacts),
    ),
    SheetPlan(
        table=Table.STAFF,
        sheet="Staff",
        says="who may sign, and until when; optional",
        columns=sheet_columns(StaffFacts),
    ),
)
"""The sheets `mountbook blank` writes, in order."""

SHEET_OF: Final[Mapping[Table, SheetPlan]] = {plan.table: plan for plan in CLEAN_WORKBOOK}


def _with_facts(found: dict[str, Field]) -> Mapping[str, Field]:
    """By header, with the facts of things. Raises TypeError where a header would hold two sorts of value."""
    for column in (c for things in THINGS_OF.values() for thing in things for c in columns_of(thing)):
        one, other = found.setdefault(column.key, column.field), column.field
        if one != other:
            raise TypeError(
                f"{column.key} holds {one.what} as {one.holds}, and {other.what} as {other.holds}"
            )
    return found


FIELDS: Final = _with_facts(
    {
        "pair_tag": Field("the tag", Holds.TAG),
        "serial": Field("the serial", Holds.TAG),
        "value": Field("the value", Holds.TEXT),
        "origin": Field("the origin", Holds.TEXT),
        "since": Field("the day since when", Holds.TEXT),
        "status": Field("the status", Holds.TEXT),
        "stops": Field("what stops it", Holds.TEXT),
        "notes": Field("the note", Holds.TEXT),
        "inspected": Field("whether it was inspected", Holds.WORD),
        "ski": Field("the ski", Holds.WORD),
        "mark_offset_mm": Field("boot centre from the mark", Holds.LENGTH, -60, 60, signed=True),
        "toe_stands_mm": Field("where the toe piece stands", Holds.LENGTH, 50, 300, signed=True),
        "heel_stands_mm": Field("where the heel piece stands", Holds.LENGTH, -300, -50, signed=True),
        "inspected_from_mm": Field("start of the inspected area", Holds.LENGTH, -1400, 1400, signed=True),
        "inspected_to_mm": Field("end of the inspected area", Holds.LENGTH, -1400, 1400, signed=True),
        "quantity": Field("the quantity", Holds.COUNT, 0, 9999),
        "inspected_on": Field("the day of the inspection", Holds.DAY),
        "mount_date": Field("the day it was mounted", Holds.DAY),
        "bought_on": Field("the day it was bought", Holds.DAY),
    }
)


def holds_text(key: str) -> bool:
    """Return whether a spreadsheet must keep the column's cells as text, or it makes numbers and days of
    them.
    """
    return FIELDS[key].holds is Holds.TAG or key in ("rack", "season")
