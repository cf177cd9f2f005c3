"""The fleet as tables of plain values: what each exported csv holds, column by column.

Lengths in millimetres with a point, at most three decimals; Mondopoint in cm; days as ISO text.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import KW_ONLY, asdict, dataclass, replace
from typing import Any, Final

from fleet.base.entries import utc_text
from fleet.base.units import mm_text
from fleet.facts.boots import BootFacts
from fleet.facts.carried import glue_words
from fleet.facts.columns import Holds, LedgerColumn, LedgerFacts, columns_of, plain
from fleet.facts.holes import HoleFacts, Mount, MountFacts, Side, StatedMount, StatedMountFacts
from fleet.facts.pairs import AreaFacts, Binding, InspectedArea, Pair, Ski, SkiFacts
from fleet.facts.patterns import Fit, PatternFacts, PatternHoleFacts, PieceFacts
from fleet.facts.recalls import Reach
from fleet.facts.staff import StaffFacts
from fleet.facts.wishes import WishFacts
from fleet.rules.clearance import cured_after
from fleet.tables.snapshot import Fleet
from imports.headers import SheetColumn, in_order
from imports.propose_notes import BETWEEN

Cell = str | int | None
"""Text, a whole number, a length as text of its decimal number, or nothing."""
ExportRow = Mapping[str, Cell]
"""The cells of a row by the names of its columns: every column, and none besides."""


@dataclass(frozen=True, slots=True)
class ExportColumn(SheetColumn):
    """One column of a table for programs, with its Table Schema type."""

    _: KW_ONLY
    type: str = "string"


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportTable:
    """One table of an export. ``rows`` gives the cells of each row by the names of the columns."""

    name: str
    title: str
    columns: tuple[ExportColumn, ...]
    key: tuple[str, ...]
    rows: Callable[[Fleet], Iterable[ExportRow]]
    foreign: tuple[tuple[str, str, str], ...] = ()


def mm(value_um: int | None) -> str | None:
    """Exact millimetres, or nothing."""
    return None if value_um is None else mm_text(value_um)


_TYPE_OF: Final = {
    Holds.LENGTH: "number",
    Holds.SHELL: "number",
    Holds.COUNT: "integer",
    Holds.DAY: "date",
}


def fact_columns(thing: type[LedgerFacts]) -> tuple[ExportColumn, ...]:
    """The facts of a thing as columns, in the order of its class."""
    return tuple(
        ExportColumn(
            key=column.key,
            type="any" if column.instead else _TYPE_OF.get(column.field.holds, "string"),
            meaning=column.title or column.meaning,
            words=column.offered if column.field.holds is Holds.WORD else (),
            required=not column.nullable
            and column.field.holds is not Holds.DAY
            and (column.kind is not str or column.required),
        )
        for column in columns_of(thing)
    )


def facts(thing: type[LedgerFacts], value: object) -> dict[str, Cell]:
    """A thing's facts by the names of those columns."""
    return {column.key: _cell(column, getattr(value, column.name)) for column in columns_of(thing)}


def _cell(column: LedgerColumn, fact: Any) -> Cell:
    if column.instead is not None and not isinstance(fact, int):
        return column.silence if fact is None else None if fact == column.blank else str(fact)
    if column.per_unit > 1 and fact is not None:
        return mm_text(fact * (1000 // column.per_unit))
    return plain(fact)


def stops_by_pair(fleet: Fleet) -> dict[str, str]:
    """Return what stops each pair as one cell, which goes along with the ski: who may not pass it or not lift
    its hold alone, recalls, closed skis, open orders and glue that had not cured at the newest moment of the
    ledger included.
    """
    stops = {
        tag: [
            *pair.stops,
            *pair.hands,
            *fleet.ordered.get(tag, ()),
            *(f"ski {side.value} closed" for side in Side if pair.skis[side].is_closed),
            *(glue_words(*glue) for glue in pair.glued if not _cured(fleet, *glue)),
        ]
        for tag, pair in fleet.pairs.items()
    }
    for recall in fleet.recalls:
        reached = {b.on_pair for b in fleet.bindings.values() if recall.reaches(b) is not Reach.NOT}
        for tag, words in stops.items():
            if tag in reached:
                words.append(f"recall {recall.recall}")
    return {tag: "; ".join(dict.fromkeys(words)) for tag, words in stops.items()}


def _cured(fleet: Fleet, adhesive: str, at: str) -> bool:
    """Return whether glue had cured at the newest moment of the ledger; False where that is not known."""
    end = cured_after(at, fleet.policy.cure_hours(adhesive))
    return end is not None and utc_text(end) <= fleet.newest_at


def notes_by_thing(fleet: Fleet) -> dict[str, str]:
    """The notes that stand, as one cell a thing: by pair, ski (``K-031/A``), binding, and ``boot:B-210``.

    A text that was blanked is not there.
    """
    found: dict[str, list[str]] = {}
    for note in fleet.notes:
        if note.stands and note.text is not None:
            found.setdefault(f"boot:{note.boot}" if note.boot else note.name, []).append(note.words)
    return {name: BETWEEN.join(texts) for name, texts in found.items()}


def _pairs(fleet: Fleet) -> Iterator[ExportRow]:
    stops, notes = stops_by_pair(fleet), notes_by_thing(fleet)
    for p in fleet.pairs.values():
        yield facts(Pair, p) | {"status": p.place.value, "stops": stops[p.tag], "notes": notes.get(p.tag)}


def _skis(fleet: Fleet) -> Iterator[ExportRow]:
    notes = notes_by_thing(fleet)
    for p, ski in _each_ski(fleet):
        low, high = widest_inspected(ski) or (None, None)
        yield (
            _of_ski(p, ski)
            | facts(SkiFacts, ski)
            | {
                "inspected_from_mm": mm(low),
                "inspected_to_mm": mm(high),
                "notes": notes.get(f"{p.tag}/{ski.side}"),
            }
        )


def _of_ski(p: Pair, ski: Ski) -> dict[str, Cell]:
    return {"pair_tag": p.tag, "ski": ski.side.value}


def _each_ski(fleet: Fleet) -> Iterator[tuple[Pair, Ski]]:
    for p in fleet.pairs.values():
        for side in Side:
            yield p, p.skis[side]


def widest_inspected(ski: Ski) -> tuple[int, int] | None:
    """The widest stretch without a gap; never the hull, which would open what nobody saw."""
    merged: list[tuple[int, int]] = []
    for area in sorted(ski.inspected, key=lambda a: (a.from_um, a.to_um)):
        if merged and area.from_um <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], area.to_um))
        else:
            merged.append((area.from_um, area.to_um))
    return max(merged, key=lambda m: (m[1] - m[0], -m[0])) if merged else None


def area_row(p: Pair, ski: Ski, area: InspectedArea) -> ExportRow:
    """One row of `areas`."""
    return (
        _of_ski(p, ski) | facts(AreaFacts, area) | {"on": area.on or None, "by": area.by, "entry": area.entry}
    )


_PATTERN: Final = (PatternFacts, PieceFacts, PatternHoleFacts)


def _bindings(fleet: Fleet) -> Iterator[ExportRow]:
    notes = notes_by_thing(fleet)
    return (facts(Binding, b) | {"notes": notes.get(b.binding_id)} for b in fleet.bindings.values())


def _boots(fleet: Fleet) -> Iterator[ExportRow]:
    notes = notes_by_thing(fleet)
    for boot in fleet.boots.values():
        yield facts(BootFacts, boot) | {
            "status": boot.place.value,
            "stops": "hold" if boot.hold_entry else None,
            "notes": notes.get(f"boot:{boot.tag}"),
        }


MOUNTS: Final = (MountFacts, StatedMountFacts)
"""The facts of a mount that is known, and of one that is only stated: one table has both."""


def mounts_of(p: Pair) -> tuple[Mount | StatedMount, ...]:
    """Those that the ledger knows, then those that a sheet stated."""
    return (*p.mounts, *p.stated)


def stands_of(fleet: Fleet, mount: Mount | StatedMount | None) -> dict[str, int | None]:
    """Return the places of toe and heel of a mount that is on, µm from ski A's mark; None where not known."""
    pattern = fleet.patterns.get(mount.pattern) if isinstance(mount, Mount) else None
    if not isinstance(mount, Mount) or pattern is None or mount.removed_on:
        return {"toe_stands_mm": None, "heel_stands_mm": None}
    known = {piece: mount.stands_um(piece, pattern.travelling) for piece in ("toe", "heel")}
    if any(known.get(piece) is None for piece in pattern.travelling):
        known = dict.fromkeys(known)
    return {f"{piece}_stands_mm": stands_um for piece, stands_um in known.items()}


def mount_row(fleet: Fleet, p: Pair, mount: Mount | StatedMount) -> ExportRow:
    """One row of `mounts`."""
    known = MountFacts if isinstance(mount, Mount) else StatedMountFacts
    blank: dict[str, Cell] = {column.key: None for thing in MOUNTS for column in columns_of(thing)}
    said = {"pair_tag": p.tag} | facts(known, mount) | {"mounted_on": mount.mounted_on or None}
    return blank | said | {key: mm(stands_um) for key, stands_um in stands_of(fleet, mount).items()}


_NOTES: Final = ExportColumn("notes", f"what was noted of it; several with{BETWEEN}between them")
_SIDE: Final = ExportColumn("ski", "A or B", required=True, words=("A", "B"))
_PAIR_TAG: Final = ExportColumn("pair_tag", "asset tag of the pair", required=True)
_TO_PAIR: Final = (("pair_tag", "pairs", "tag"),)

TABLES: Final[tuple[ExportTable, ...]] = (
    ExportTable(
        name="pairs",
        title="pairs of skis",
        columns=in_order(
            "tag model kind length_cm waist_mm construction status rack earlier_mounts"
            " reference_from_tail_mm stops",
            (
                *fact_columns(Pair),
                ExportColumn("status", "where the pair is; for reading only"),
                ExportColumn("stops", "what stops it, wherever it is; goes along into another ledger"),
                _NOTES,
            ),
        ),
        key=("tag",),
        rows=_pairs,
    ),
    ExportTable(
        name="skis",
        title="single skis",
        columns=in_order(
            "pair_tag ski mark_from_tail_mm zone_back_mm zone_front_mm zone_half_width_mm"
            " inspected_from_mm inspected_to_mm",
            (
                _PAIR_TAG,
                _SIDE,
                *fact_columns(SkiFacts),
                ExportColumn(
                    "inspected_from_mm", "start of the widest inspected stretch, from the mark", type="number"
                ),
                ExportColumn("inspected_to_mm", "end of the widest inspected stretch", type="number"),
                _NOTES,
            ),
        ),
        key=("pair_tag", "ski"),
        rows=_skis,
        foreign=_TO_PAIR,
    ),
    ExportTable(
        name="areas",
        title="inspected areas, each as it was entered",
        columns=in_order(
            "pair_tag ski from_mm to_mm how on by entry",
            (
                _PAIR_TAG,
                _SIDE,
                *fact_columns(AreaFacts),
                ExportColumn("by", "who"),
                ExportColumn("entry", "the ledger entry it came from", type="integer"),
            ),
        ),
        key=(),
        rows=lambda fleet: (area_row(p, ski, area) for p, ski in _each_ski(fleet) for area in ski.inspected),
        foreign=_TO_PAIR,
    ),
    ExportTable(
        name="holes",
        title="holes",
        columns=in_order(
            "pair_tag ski hole_id x_mm y_mm diameter_mm depth_mm state knowledge entry",
            (
                _PAIR_TAG,
                _SIDE,
                *fact_columns(HoleFacts),
                ExportColumn("entry", "the ledger entry it came from", type="integer"),
            ),
        ),
        key=("hole_id",),
        rows=lambda fleet: (
            _of_ski(p, ski) | facts(HoleFacts, h) | {"entry": h.entry}
            for p, ski in _each_ski(fleet)
            for h in ski.holes
        ),
        foreign=_TO_PAIR,
    ),
    ExportTable(
        name="patterns",
        title="patterns, one row a hole",
        columns=in_order(
            "pattern binding_model piece follows x_mm y_mm diameter_mm travel_back_mm travel_forward_mm"
            " bsl_min_mm bsl_max_mm binding_kind screw screw_origin kind",
            (*(column for thing in _PATTERN for column in fact_columns(thing)),),
        ),
        key=("pattern", "piece", "x_mm", "y_mm"),
        rows=lambda fleet: (
            facts(PatternFacts, pattern) | facts(PieceFacts, piece) | facts(PatternHoleFacts, hole)
            for pattern in fleet.patterns.values()
            for piece in pattern.pieces
            for hole in piece.holes
        ),
    ),
    ExportTable(
        name="bindings",
        title="bindings, one row a ski's binding",
        columns=in_order(
            "binding_id pattern brake_mm season serial_toe serial_heel on_pair on_ski model",
            (
                *fact_columns(Binding),
                _NOTES,
            ),
        ),
        key=("binding_id",),
        rows=_bindings,
        foreign=(("on_pair", "pairs", "tag"),),
    ),
    ExportTable(
        name="boots",
        title="boots",
        columns=(
            *fact_columns(BootFacts),
            ExportColumn("status", "where the boot is; for reading only"),
            ExportColumn("stops", "what stops it; goes along into another ledger"),
            _NOTES,
        ),
        key=("tag",),
        rows=_boots,
    ),
    ExportTable(
        name="mounts",
        title="mounts, oldest first",
        columns=in_order(
            "pair_tag pattern bsl_mm offset_mm mounted_on removed_on drilled toe_stands_mm heel_stands_mm"
            " binding_model",
            (
                _PAIR_TAG,
                *(replace(column, required=False) for thing in MOUNTS for column in fact_columns(thing)),
                ExportColumn(
                    "toe_stands_mm",
                    "toe end of a sole in it now, from the mark; blank: not known",
                    type="number",
                ),
                ExportColumn("heel_stands_mm", "heel end of a sole in it now, from the mark", type="number"),
            ),
        ),
        key=(),
        rows=lambda fleet: (
            mount_row(fleet, p, mount) for p in fleet.pairs.values() for mount in mounts_of(p)
        ),
        foreign=_TO_PAIR,
    ),
    ExportTable(
        name="wanted",
        title="sets wanted",
        columns=fact_columns(WishFacts),
        key=("wish",),
        rows=lambda fleet: (facts(WishFacts, wish) for wish in fleet.wishes),
    ),
    ExportTable(
        name="fits",
        title="sole type and pattern declared by both makers",
        columns=fact_columns(Fit),
        key=("sole_type", "pattern"),
        rows=lambda fleet: (facts(Fit, fit) for fit in fleet.fits),
    ),
    ExportTable(
        name="staff",
        title="who may sign",
        columns=fact_columns(StaffFacts),
        key=("name",),
        rows=lambda fleet: (facts(StaffFacts, person) for person in fleet.staff.values()),
    ),
    ExportTable(
        name="policy",
        title="shop policy in force",
        columns=(
            ExportColumn("name", "name", required=True),
            ExportColumn("value", "blank: not set"),
            ExportColumn("unit", "unit"),
            ExportColumn("origin", "where the figure comes from"),
            ExportColumn("since", "since when"),
        ),
        key=("name",),
        rows=lambda fleet: (asdict(setting) | {"value": setting.value or None} for setting in fleet.policy),
    ),
)
"""All tables read from a fleet; the entries themselves stand apart."""
TABLE: Final = {table.name: table for table in TABLES}
