"""The fleet as the sheets people edit: the clean workbook's columns, one row a pair where both skis agree."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from fleet.facts.boots import BootFacts
from fleet.facts.columns import LedgerFacts
from fleet.facts.holes import HoleFacts, Mount, Side, StatedMount
from fleet.facts.pairs import AreaFacts, Binding, InspectedArea, Pair, Ski, SkiFacts
from fleet.tables.snapshot import Fleet
from imports.headers import NOTES, SHEET_OF, SheetColumn, Table, in_order, sheet_columns
from imports.propose_notes import BETWEEN
from planner.exchange.export.tables import (
    MOUNTS,
    TABLE,
    Cell,
    ExportColumn,
    ExportRow,
    area_row,
    fact_columns,
    facts,
    mm,
    mount_row,
    mounts_of,
    notes_by_thing,
    stands_of,
    stops_by_pair,
)

Value = str | float | date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleSheet:
    """One sheet: its columns (key, meaning, words) and its rows."""

    name: str
    columns: tuple[SheetColumn, ...]
    rows: Callable[[Fleet], Iterator[Mapping[str, Value]]]


def _cells(columns: Sequence[ExportColumn], row: ExportRow) -> dict[str, Value]:
    """A row of an exported table as the cells of a sheet hold it: numbers, and days as days."""
    return {column.key: _cell(column.type, row[column.key]) for column in columns}


def _cell(kind: str, value: Cell) -> Value:
    if kind == "any":  # a number, or a word in its place
        return float(value) if value is not None and re.fullmatch(r"[0-9.]+", str(value)) else value
    if value is None or kind not in ("number", "date"):
        return value
    return float(value) if kind == "number" else _day(str(value))


def _day(text: str) -> date | str:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return text


def _as_exported(name: str) -> Callable[[Fleet], Iterator[Mapping[str, Value]]]:
    """The rows of the exported table of that name."""
    table = TABLE[name]
    return lambda fleet: (_cells(table.columns, row) for row in table.rows(fleet))


def _facts(thing: type[LedgerFacts], value: object) -> dict[str, Value]:
    return _cells(fact_columns(thing), facts(thing, value))


def _skis(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    on, stops, notes = _bindings_by_pair(fleet), stops_by_pair(fleet), notes_by_thing(fleet)
    for pair in fleet.pairs.values():
        own = [notes.get(f"{pair.tag}/{side}") for side in Side]
        sides = [_side_values(pair.skis[side]) for side in Side]
        common = _pair_values(fleet, pair, on.get(pair.tag)) | {"stops": stops[pair.tag]}
        said = notes.get(pair.tag)
        if sides[0] == sides[1] and own == [None, None]:
            yield common | sides[0] | {"notes": said}
        else:
            for side, values, note in zip(Side, sides, own, strict=True):
                both = BETWEEN.join(filter(None, (said, note))) or None
                yield common | values | {"ski": side.value, "notes": both}


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
    zone = (-ski.zone_back_um, ski.zone_front_um)
    return next((a for a in reversed(ski.inspected) if (a.from_um, a.to_um) == zone and a.on), None)


def _pair_values(fleet: Fleet, pair: Pair, binding: Binding | None) -> dict[str, Value]:
    mount = shown_mount(pair, binding) or shown_stated(pair, binding)
    return _facts(Pair, pair) | {
        "mark_offset_mm": _cell("number", mm(mount.offset_um)) if mount else None,
        "binding_model": (binding.pattern or binding.model) if binding else None,
        "brake_mm": _facts(Binding, binding)["brake_mm"] if binding else None,
        "bsl_mm": _cell("number", mm(mount.bsl_um)) if mount else None,
        **{key: _cell("number", mm(stands_um)) for key, stands_um in stands_of(fleet, mount).items()},
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


def _mounts(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    on = _bindings_by_pair(fleet)
    for pair in fleet.pairs.values():
        said = (shown_mount(pair, on.get(pair.tag)), shown_stated(pair, on.get(pair.tag)))
        for mount in mounts_of(pair):
            if not any(mount is one for one in said):
                yield _cells(TABLE["mounts"].columns, mount_row(fleet, pair, mount))


def _areas(fleet: Fleet) -> Iterator[Mapping[str, Value]]:
    for pair in fleet.pairs.values():
        for ski in (pair.skis[side] for side in Side):
            shown = zone_area(ski)
            for area in ski.inspected:
                if area is not shown:
                    yield _cells(TABLE["areas"].columns, area_row(pair, ski, area))


PEOPLE_SHEETS: Final[tuple[PeopleSheet, ...]] = (
    PeopleSheet(
        name="Skis",
        columns=(
            *SHEET_OF[Table.SKI].columns,
            SheetColumn(
                "status", "where the pair is; for reading only: it moves no pair that the ledger knows"
            ),
            SheetColumn("stops", "what stops it; goes along into another ledger, lifts nothing in this one"),
        ),
        rows=_skis,
    ),
    PeopleSheet(
        name="Boots",
        columns=(
            *sheet_columns(BootFacts, people=True),
            SheetColumn(
                "status", "where the boot is; for reading only: it moves no boot that the ledger knows"
            ),
            SheetColumn("stops", "what stops it; goes along into another ledger, lifts nothing in this one"),
            NOTES,
        ),
        rows=_as_exported("boots"),
    ),
    PeopleSheet(
        name="Bindings",
        columns=(*sheet_columns(Binding, people=True), NOTES),
        rows=lambda fleet: (row for row in _as_exported("bindings")(fleet) if row["on_pair"] is None),
    ),
    PeopleSheet(name="Patterns", columns=SHEET_OF[Table.PATTERN].columns, rows=_as_exported("patterns")),
    PeopleSheet(
        name="Holes",
        columns=(*SHEET_OF[Table.HOLE].columns[:2], *sheet_columns(HoleFacts, people=True)),
        rows=_as_exported("holes"),
    ),
    PeopleSheet(
        name="Mounts",
        columns=in_order(
            "pair_tag pattern bsl_mm offset_mm mounted_on removed_on drilled binding_model",
            (
                SheetColumn("pair_tag", "asset tag of the pair"),
                SheetColumn("toe_stands_mm", "where the toe end of a sole stands in it now, from the mark"),
                SheetColumn("heel_stands_mm", "the same for the heel end"),
                *sheet_columns(*MOUNTS, people=True),
            ),
        ),
        rows=_mounts,
    ),
    PeopleSheet(
        name="Areas",
        columns=(
            SheetColumn("pair_tag", "asset tag of the pair"),
            SheetColumn("ski", "A or B"),
            *sheet_columns(AreaFacts, people=True),
        ),
        rows=_areas,
    ),
    PeopleSheet(name="Fits", columns=SHEET_OF[Table.FIT].columns, rows=_as_exported("fits")),
    PeopleSheet(name="Wanted", columns=SHEET_OF[Table.WANTED].columns, rows=_as_exported("wanted")),
    PeopleSheet(name="Staff", columns=SHEET_OF[Table.STAFF].columns, rows=_as_exported("staff")),
)
"""The sheets in order. What a pair's own row says is not said again on Mounts and Areas."""
