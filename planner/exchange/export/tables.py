"""The fleet as tables of plain values: what each exported csv holds, column by column.

Lengths in millimetres with a point, at most three decimals; Mondopoint in cm; days as ISO text.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from fleet.base.units import mm_text
from fleet.facts.equipment import InspectedArea, Pair, Ski
from fleet.facts.holes import Side
from fleet.facts.recalls import Reach
from fleet.tables.snapshot import Fleet

Cell = str | int | None
"""Text, a whole number, a length as text of its decimal number, or nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportColumn:
    """One column: name, Table Schema type, meaning, and the words it may hold."""

    name: str
    type: str
    title: str
    words: tuple[str, ...] = ()
    required: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportTable:
    """One table of an export. ``rows`` gives one tuple a row, as long as ``columns``."""

    name: str
    title: str
    columns: tuple[ExportColumn, ...]
    key: tuple[str, ...]
    rows: Callable[[Fleet], Iterable[Sequence[Cell]]]
    foreign: tuple[tuple[str, str, str], ...] = ()


def mm(value_um: int | None) -> str | None:
    """Exact millimetres, or nothing."""
    return None if value_um is None else mm_text(value_um)


def cm(value_mm: int | None) -> str | None:
    """Centimetres of a length kept in whole millimetres: ``178``, ``27.5``."""
    return None if value_mm is None else mm_text(value_mm * 100)


def _text(name: str, title: str, *, required: bool = False, words: tuple[str, ...] = ()) -> ExportColumn:
    return ExportColumn(name=name, type="string", title=title, required=required, words=words)


def _number(name: str, title: str, *, required: bool = False) -> ExportColumn:
    return ExportColumn(name=name, type="number", title=title, required=required)


def _count(name: str, title: str, *, required: bool = False) -> ExportColumn:
    return ExportColumn(name=name, type="integer", title=title, required=required)


def _day(name: str, title: str) -> ExportColumn:
    return ExportColumn(name=name, type="date", title=title)


def stops_by_pair(fleet: Fleet) -> dict[str, str]:
    """What stops each pair, recalls and closed skis included, as one cell: it goes along with the ski."""
    stops = {
        tag: [*pair.stops, *(f"ski {side.value} closed" for side in Side if pair.skis[side].is_closed)]
        for tag, pair in fleet.pairs.items()
    }
    for recall in fleet.recalls:
        reached = {b.on_pair for b in fleet.bindings.values() if recall.reaches(b) is not Reach.NOT}
        for tag, words in stops.items():
            if tag in reached:
                words.append(f"recall {recall.recall}")
    return {tag: "; ".join(words) for tag, words in stops.items()}


def _pairs(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    stops = stops_by_pair(fleet)
    for p in fleet.pairs.values():
        yield (
            p.tag,
            p.model,
            p.kind.value,
            cm(p.length_mm),
            mm(p.waist_um),
            p.construction.value if p.construction else None,
            p.place.value,
            p.rack,
            p.earlier_mounts,
            mm(p.reference_from_tail_um),
            stops[p.tag],
        )


def _skis(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for p, ski in _each_ski(fleet):
        widest = widest_inspected(ski)
        yield (
            p.tag,
            ski.side.value,
            mm(ski.mark_from_tail_um),
            mm(ski.zone_back_um),
            mm(ski.zone_front_um),
            mm(ski.zone_half_width_um),
            mm(widest[0]) if widest else None,
            mm(widest[1]) if widest else None,
        )


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


def _areas(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for p, ski in _each_ski(fleet):
        area: InspectedArea
        for area in ski.inspected:
            yield (
                p.tag,
                ski.side.value,
                mm(area.from_um),
                mm(area.to_um),
                area.how,
                area.on or None,
                area.by,
                area.entry,
            )


def _holes(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for p, ski in _each_ski(fleet):
        for h in ski.holes:
            yield (
                p.tag,
                ski.side.value,
                h.hole_id,
                mm(h.x_um),
                mm(h.y_um),
                mm(h.diameter_um),
                mm(h.depth_um),
                h.state.value,
                h.knowledge.value,
                h.entry,
            )


def _patterns(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for pattern in fleet.patterns.values():
        for piece in pattern.pieces:
            for hole in piece.holes:
                yield (
                    pattern.name,
                    pattern.binding_model,
                    piece.name.value,
                    piece.follows.value,
                    mm(hole.x_um),
                    mm(hole.y_um),
                    mm(hole.diameter_um),
                    mm(piece.travel_back_um),
                    mm(piece.travel_forward_um),
                    mm(pattern.bsl_min_um),
                    mm(pattern.bsl_max_um),
                    pattern.binding_kind,
                    piece.screw,
                    piece.screw_origin,
                )


def _bindings(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for b in fleet.bindings.values():
        yield (
            b.binding_id,
            b.pattern,
            mm(b.brake_um),
            b.season,
            b.serial_toe,
            b.serial_heel,
            b.on_pair,
            b.on_ski.value if b.on_ski else None,
            b.model,
        )


def _boots(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for b in fleet.boots.values():
        yield (
            b.tag,
            b.model,
            cm(b.mondopoint_mm),
            mm(b.bsl_um),
            b.bsl_measured,
            b.sole_type,
            b.season,
            mm(b.pin_um),
        )


def _mounts(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for p in fleet.pairs.values():
        for m in p.mounts:
            yield (
                p.tag,
                m.pattern,
                mm(m.bsl_um),
                mm(m.offset_um),
                m.mounted_on or None,
                m.removed_on or None,
                int(m.drilled),
                None,
            )
        for s in p.stated:
            told = (mm(s.bsl_um), mm(s.offset_um), s.mounted_on or None, s.removed_on, None, s.binding_model)
            yield (p.tag, None, *told)


def _wanted(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for w in fleet.wishes:
        yield (
            w.wish,
            w.kind.value,
            cm(w.length_min_mm),
            cm(w.length_max_mm),
            cm(w.mondopoint_min_mm),
            cm(w.mondopoint_max_mm),
            w.quantity,
            w.priority,
        )


def _fits(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for f in fleet.fits:
        yield (f.sole_type, f.pattern, f.binding_sheet, f.boot_sheet)


def _staff(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for s in fleet.staff.values():
        yield (s.name, s.role.value, s.valid_until.isoformat())


def _policy(fleet: Fleet) -> Iterator[tuple[Cell, ...]]:
    for s in fleet.policy:
        yield (s.name, s.value or None, s.unit, s.origin, s.since)


_SIDE: Final = _text("ski", "A or B", required=True, words=("A", "B"))
_PAIR_TAG: Final = _text("pair_tag", "asset tag of the pair", required=True)
_TO_PAIR: Final = (("pair_tag", "pairs", "tag"),)

TABLES: Final[tuple[ExportTable, ...]] = (
    ExportTable(
        name="pairs",
        title="pairs of skis",
        columns=(
            _text("tag", "asset tag", required=True),
            _text("model", "make and model"),
            _text("kind", "what the pair is for", required=True),
            _number("length_cm", "length", required=True),
            _number("waist_mm", "width under the boot"),
            _text("construction", "what the drill meets; blank: unknown"),
            _text("status", "where the pair is; for reading only"),
            _text("rack", "where it stands"),
            _count("earlier_mounts", "full mounts before the first one of mounts.csv; blank: not known"),
            _number("reference_from_tail_mm", "the pair's reference, where the head technician set one"),
            _text("stops", "what stops it, wherever it is; goes along into another ledger"),
        ),
        key=("tag",),
        rows=_pairs,
    ),
    ExportTable(
        name="skis",
        title="single skis",
        columns=(
            _PAIR_TAG,
            _SIDE,
            _number("mark_from_tail_mm", "printed mark from the rearmost point; blank: unknown"),
            _number("zone_back_mm", "mounting zone behind the mark"),
            _number("zone_front_mm", "mounting zone ahead of the mark"),
            _number("zone_half_width_mm", "half the zone's width"),
            _number("inspected_from_mm", "start of the widest inspected stretch, from the mark"),
            _number("inspected_to_mm", "end of the widest inspected stretch"),
        ),
        key=("pair_tag", "ski"),
        rows=_skis,
        foreign=_TO_PAIR,
    ),
    ExportTable(
        name="areas",
        title="inspected areas, each as it was entered",
        columns=(
            _PAIR_TAG,
            _SIDE,
            _number("from_mm", "from the ski's own mark", required=True),
            _number("to_mm", "from the ski's own mark", required=True),
            _text("how", "bare or new", words=("bare", "new")),
            _day("on", "day of the inspection"),
            _text("by", "who"),
            _count("entry", "the ledger entry it came from"),
        ),
        key=(),
        rows=_areas,
        foreign=_TO_PAIR,
    ),
    ExportTable(
        name="holes",
        title="holes",
        columns=(
            _PAIR_TAG,
            _SIDE,
            _text("hole_id", "name of the hole", required=True),
            _number("x_mm", "from the ski's own mark, + to the tip", required=True),
            _number("y_mm", "across, + to the right looking at the tip", required=True),
            _number("diameter_mm", "blank: not known"),
            _number("depth_mm", "blank: not known"),
            _text("state", "what stands in it", required=True),
            _text("knowledge", "how it is known", required=True),
            _count("entry", "the ledger entry it came from"),
        ),
        key=("hole_id",),
        rows=_holes,
        foreign=_TO_PAIR,
    ),
    ExportTable(
        name="patterns",
        title="patterns, one row a hole",
        columns=(
            _text("pattern", "name", required=True),
            _text("binding_model", "binding model", required=True),
            _text("piece", "toe, heel or plate", required=True),
            _text("follows", "what the piece is placed by", required=True),
            _number("x_mm", "relative to what it follows", required=True),
            _number("y_mm", "across", required=True),
            _number("diameter_mm", "where the maker states one"),
            _number("travel_back_mm", "travel toward the tail"),
            _number("travel_forward_mm", "travel toward the tip"),
            _number("bsl_min_mm", "shortest sole"),
            _number("bsl_max_mm", "longest sole"),
            _text("binding_kind", "kind of binding; blank: not stated"),
            _text("screw", "length and head of the piece's screws; blank: not known"),
            _text("screw_origin", "whose sheet says so"),
        ),
        key=("pattern", "piece", "x_mm", "y_mm"),
        rows=_patterns,
    ),
    ExportTable(
        name="bindings",
        title="bindings, one row a ski's binding",
        columns=(
            _text("binding_id", "name of the binding", required=True),
            _text("pattern", "its pattern; blank: not known"),
            _number("brake_mm", "blank: no brake"),
            _text("season", "season of purchase"),
            _text("serial_toe", "serial or date code"),
            _text("serial_heel", "serial or date code"),
            _text("on_pair", "the pair it is on; blank: in stock"),
            _text("on_ski", "A or B"),
            _text("model", "binding model"),
        ),
        key=("binding_id",),
        rows=_bindings,
        foreign=(("on_pair", "pairs", "tag"),),
    ),
    ExportTable(
        name="boots",
        title="boots",
        columns=(
            _text("tag", "asset tag", required=True),
            _text("model", "make and model"),
            _number("mondopoint", "shell size in cm"),
            _number("bsl_mm", "sole length that counts at the bench"),
            _text("bsl_measured", "how the number came about"),
            _text("sole_type", "norm of the sole"),
            _text("season", "season of purchase"),
            _number("pin_mm", "toe end to pin line, for boots mounted by it"),
        ),
        key=("tag",),
        rows=_boots,
    ),
    ExportTable(
        name="mounts",
        title="mounts, oldest first",
        columns=(
            _PAIR_TAG,
            _text("pattern", "pattern mounted; blank: not known, the mount is as a sheet stated it"),
            _number("bsl_mm", "sole length it was mounted for; blank, without a pattern: not known"),
            _number("offset_mm", "boot centre from the mark, + to the tip; blank: as the sole length"),
            _day("mounted_on", "blank: not known"),
            _day("removed_on", "blank: still on"),
            _count("drilled", "1: at least one hole was drilled for it"),
            _text("binding_model", "where no pattern is known: the binding as a sheet stated it"),
        ),
        key=(),
        rows=_mounts,
        foreign=_TO_PAIR,
    ),
    ExportTable(
        name="wanted",
        title="sets wanted",
        columns=(
            _text("wish", "name of the line", required=True),
            _text("kind", "what the set is for", required=True),
            _number("length_min_cm", "shortest ski", required=True),
            _number("length_max_cm", "longest ski", required=True),
            _number("mondopoint_min", "smallest shell in cm", required=True),
            _number("mondopoint_max", "largest shell in cm", required=True),
            _count("quantity", "sets", required=True),
            _count("priority", "1 is served first", required=True),
        ),
        key=("wish",),
        rows=_wanted,
    ),
    ExportTable(
        name="fits",
        title="sole type and pattern declared by both makers",
        columns=(
            _text("sole_type", "norm of the sole", required=True),
            _text("pattern", "pattern", required=True),
            _text("binding_sheet", "the binding maker's sheet", required=True),
            _text("boot_sheet", "the boot maker's sheet", required=True),
        ),
        key=("sole_type", "pattern"),
        rows=_fits,
    ),
    ExportTable(
        name="staff",
        title="who may sign",
        columns=(
            _text("name", "name", required=True),
            _text("role", "what the person may sign", required=True),
            _day("valid_until", "last day the signature counts"),
        ),
        key=("name",),
        rows=_staff,
    ),
    ExportTable(
        name="policy",
        title="shop policy in force",
        columns=(
            _text("name", "name", required=True),
            _text("value", "blank: not set"),
            _text("unit", "unit"),
            _text("origin", "where the figure comes from"),
            _text("since", "since when"),
        ),
        key=("name",),
        rows=_policy,
    ),
)
"""All tables read from a fleet; the entries themselves stand apart."""
