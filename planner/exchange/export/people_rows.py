"""The fleet as the sheets people edit: the clean workbook's columns, one row a pair where both skis agree."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from fleet.facts.columns import Holds, LedgerColumn, LedgerFacts, columns_of
from fleet.facts.equipment import (
    Binding,
    BootFacts,
    InspectedArea,
    Mount,
    Pair,
    Ski,
    SkiFacts,
    StatedMount,
)
from fleet.facts.holes import HoleFacts, Side
from fleet.tables.snapshot import Fleet
from imports.headers import SHEET_OF, SheetColumn, Table, fact_columns
from planner.exchange.export.tables import stops_by_pair

Value = str | float | date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleSheet:
    """One sheet: its columns (key, meaning, words) and its rows."""

    name: str
    columns: tuple[SheetColumn, ...]
    rows: Callable[[Fleet], Iterator[Mapping[str, Value]]]


def _mm(value_um: int | None) -> float | None:
    return None if value_um is None else value_um / 1000


def _cm(value_mm: int | None) -> float | None:
    return None if value_mm is None else value_mm / 10


def _day(text: str | None) -> date | str | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        return text


def _facts(thing: type[LedgerFacts], value: object) -> dict[str, Value]:
    """A thing's facts by header, as a cell holds them: in the header's unit, a word as its text."""
    return {column.key: _cell(column, getattr(value, column.name)) for column in columns_of(thing)}


def _cell(column: LedgerColumn, fact: Any) -> Value:
    if column.field.holds is Holds.DAY:
        return _day(fact)
    if column.per_unit > 1 and fact is not None:
        return float(fact / column.per_unit)
    return str(fact) if isinstance(fact, str) else fact


def _skis(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    on, stops = _bindings_by_pair(fleet), stops_by_pair(fleet)
    for pair in fleet.pairs.values():
        sides = [_side_values(pair.skis[side]) for side in Side]
        common = _pair_values(fleet, pair, on.get(pair.tag)) | {"stops": stops[pair.tag]}
        if sides[0] == sides[1]:
            yield common | sides[0]
        else:
            for side, own in zip(Side, sides, strict=True):
                yield common | own | {"ski": side.value}


def _bindings_by_pair(fleet: Fleet) -> dict[str, Binding]:
    """One binding of each mounted pair, ski A's where there is one."""
    found: dict[str, Binding] = {}
    for binding in sorted(fleet.bindings.values(), key=lambda b: b.on_ski or ""):
        if binding.on_pair is not None:
            found.setdefault(binding.on_pair, binding)
    return found


def _side_values(ski: Ski) -> dict[str, Value]:
    area = zone_area(ski)
    return _facts(SkiFacts, ski) | {
        "inspected": area.how if area else None,
        "inspected_on": _day(area.on) if area else None,
    }


def zone_area(ski: Ski) -> InspectedArea | None:
    """The newest inspection that covers exactly the mounting zone: what one row of a sheet can say."""
    if ski.zone_back_um is None or ski.zone_front_um is None or ski.zone_half_width_um is None:
        return None
    fitting = [
        a for a in ski.inspected if (a.from_um, a.to_um) == (-ski.zone_back_um, ski.zone_front_um) and a.on
    ]
    return fitting[-1] if fitting else None


def _pair_values(fleet: Fleet, pair: Pair, binding: Binding | None) -> dict[str, Value]:
    mount = shown_mount(pair, binding) or shown_stated(pair, binding)
    return _facts(Pair, pair) | {
        "mark_offset_mm": _mm(mount.offset_um) if mount else None,
        "binding_model": (binding.pattern or binding.model) if binding else None,
        "brake_mm": _mm(binding.brake_um) if binding else None,
        "bsl_mm": _mm(mount.bsl_um) if mount else None,
        "mount_date": _day(mount.mounted_on) if mount and mount.mounted_on else None,
        "status": pair.place.value,
    }


def shown_mount(pair: Pair, binding: Binding | None) -> Mount | None:
    """The current mount, where the pair's own row can say it: its binding is on, of the same pattern."""
    mount = pair.current_mount
    return mount if mount and binding and binding.pattern == mount.pattern else None


def shown_stated(pair: Pair, binding: Binding | None) -> StatedMount | None:
    """The mount that is on as stated, where the pair's own row can say it: its binding is on."""
    stated = pair.present_stated
    return stated if stated and binding and binding.model == stated.binding_model else None


def _boots(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    return (_facts(BootFacts, boot) for boot in fleet.boots.values())


def _bindings(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    return (_facts(Binding, binding) for binding in fleet.bindings.values() if binding.on_pair is None)


def _patterns(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    for pattern in fleet.patterns.values():
        for piece in pattern.pieces:
            for hole in piece.holes:
                yield {
                    "pattern": pattern.name,
                    "binding_model": pattern.binding_model,
                    "piece": piece.name.value,
                    "follows": piece.follows.value,
                    "x_mm": _mm(hole.x_um),
                    "y_mm": _mm(hole.y_um),
                    "diameter_mm": _mm(hole.diameter_um),
                    "travel_back_mm": _mm(piece.travel_back_um),
                    "travel_forward_mm": _mm(piece.travel_forward_um),
                    "bsl_min_mm": _mm(pattern.bsl_min_um),
                    "bsl_max_mm": _mm(pattern.bsl_max_um),
                }


def _holes(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    for pair in fleet.pairs.values():
        for side in Side:
            for hole in pair.skis[side].holes:
                yield {"pair_tag": pair.tag, "ski": side.value} | _facts(HoleFacts, hole)


def _mounts(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    on = _bindings_by_pair(fleet)
    for pair in fleet.pairs.values():
        shown = shown_mount(pair, on.get(pair.tag))
        for mount in pair.mounts:
            if mount is not shown:
                yield {
                    "pair_tag": pair.tag,
                    "pattern": mount.pattern,
                    "bsl_mm": _mm(mount.bsl_um),
                    "offset_mm": _mm(mount.offset_um),
                    "mounted_on": _day(mount.mounted_on),
                    "removed_on": _day(mount.removed_on),
                    "drilled": int(mount.drilled),
                }
        on_row = shown_stated(pair, on.get(pair.tag))
        for stated in pair.stated:
            if stated is not on_row:
                yield {
                    "pair_tag": pair.tag,
                    "bsl_mm": _mm(stated.bsl_um),
                    "offset_mm": _mm(stated.offset_um),
                    "mounted_on": _day(stated.mounted_on),
                    "removed_on": _day(stated.removed_on),
                    "binding_model": stated.binding_model,
                }


def _areas(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    for pair in fleet.pairs.values():
        for side in Side:
            shown = zone_area(pair.skis[side])
            for area in pair.skis[side].inspected:
                if area is not shown:
                    yield {
                        "pair_tag": pair.tag,
                        "ski": side.value,
                        "from_mm": _mm(area.from_um),
                        "to_mm": _mm(area.to_um),
                        "how": area.how,
                        "on": _day(area.on),
                    }


def _fits(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    for fit in fleet.fits:
        yield {
            "sole_type": fit.sole_type,
            "pattern": fit.pattern,
            "binding_sheet": fit.binding_sheet,
            "boot_sheet": fit.boot_sheet,
        }


def _wanted(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    for wish in fleet.wishes:
        yield {
            "wish": wish.wish,
            "kind": wish.kind.value,
            "length_min_cm": _cm(wish.length_min_mm),
            "length_max_cm": _cm(wish.length_max_mm),
            "mondopoint_min": _cm(wish.mondopoint_min_mm),
            "mondopoint_max": _cm(wish.mondopoint_max_mm),
            "quantity": wish.quantity,
            "priority": wish.priority,
        }


def _staff(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    for person in fleet.staff.values():
        yield {"name": person.name, "role": person.role.value, "valid_until": person.valid_until}


def _column(key: str, meaning: str, *words: str) -> SheetColumn:
    return SheetColumn(key=key, meaning=meaning, example="", words=words)


def _clean(table: Table, *more: SheetColumn) -> tuple[SheetColumn, ...]:
    return (*SHEET_OF[table].columns, *more)


PEOPLE_SHEETS: Final[tuple[PeopleSheet, ...]] = (
    PeopleSheet(
        name="Skis",
        columns=_clean(
            Table.SKI,
            _column("status", "where the pair is; for reading only: it moves no pair that the ledger knows"),
            _column("stops", "what stops it; goes along into another ledger, lifts nothing in this one"),
        ),
        rows=_skis,
    ),
    PeopleSheet(name="Boots", columns=fact_columns(BootFacts, people=True), rows=_boots),
    PeopleSheet(name="Bindings", columns=fact_columns(Binding, people=True), rows=_bindings),
    PeopleSheet(name="Patterns", columns=_clean(Table.PATTERN), rows=_patterns),
    PeopleSheet(
        name="Holes",
        columns=(*_clean(Table.HOLE)[:2], *fact_columns(HoleFacts, people=True)),
        rows=_holes,
    ),
    PeopleSheet(
        name="Mounts",
        columns=(
            _column("pair_tag", "asset tag of the pair"),
            _column("pattern", "pattern mounted; blank: not known"),
            _column("bsl_mm", "sole length it was mounted for"),
            _column("offset_mm", "boot centre from the mark, + to the tip"),
            _column("mounted_on", "day it was mounted"),
            _column("removed_on", "day it came off"),
            _column("drilled", "1: at least one hole was drilled for it"),
            _column("binding_model", "the binding as a sheet stated it, where no pattern is known"),
        ),
        rows=_mounts,
    ),
    PeopleSheet(
        name="Areas",
        columns=(
            _column("pair_tag", "asset tag of the pair"),
            _column("ski", "A or B"),
            _column("from_mm", "from the ski's own mark"),
            _column("to_mm", "from the ski's own mark"),
            _column("how", "bare or new"),
            _column("on", "day of the inspection"),
        ),
        rows=_areas,
    ),
    PeopleSheet(name="Fits", columns=_clean(Table.FIT), rows=_fits),
    PeopleSheet(name="Wanted", columns=_clean(Table.WANTED), rows=_wanted),
    PeopleSheet(name="Staff", columns=_clean(Table.STAFF), rows=_staff),
)
"""The sheets in order. What a pair's own row says is not said again on Mounts and Areas."""
