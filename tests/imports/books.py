"""Builders for import tests: workbooks and csv files from plain lists, and the clean one-pair shop."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from fleet.tables.snapshot import Fleet
from imports.headers import SHEET_OF, Table
from imports.proposal import Proposal, propose
from imports.reading import read_files

TODAY = date(2026, 11, 25)

Rows = Sequence[Sequence[Any]]


def write_book(path: Path, sheets: Mapping[str, Rows]) -> Path:
    """A workbook; texts stay texts, numbers numbers, dates dates, None blank."""
    from xlsxwriter import Workbook

    told = {"strings_to_formulas": False, "default_date_format": "yyyy-mm-dd", "in_memory": True}
    with Workbook(str(path), told) as book:
        book.set_properties({"created": datetime(2026, 11, 25, tzinfo=UTC)})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for r, row in enumerate(rows):
                for c, value in enumerate(row):
                    if isinstance(value, date):
                        sheet.write_datetime(r, c, value)
                    elif isinstance(value, str):
                        sheet.write_string(r, c, value)
                    elif value is not None:
                        sheet.write_number(r, c, value)
    return path


def write_csv(path: Path, rows: Rows) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([["" if v is None else v for v in row] for row in rows])
    return path


def table_rows(table: Table, *rows: Mapping[str, Any]) -> list[list[Any]]:
    """Header row of a clean sheet, then rows given by key."""
    keys = SHEET_OF[table].keys
    return [list(keys), *([row.get(key) for key in keys] for row in rows)]


SKI = {
    "tag": "K-031",
    "model": "Larch 96",
    "kind": "telemark",
    "length_cm": 178,
    "waist_mm": 96,
    "construction": "no metal",
    "mark_from_tail_mm": 812,
    "zone_back_mm": 330,
    "zone_front_mm": 280,
    "zone_half_width_mm": 38,
    "rack": "R4-12",
}
MOUNTED = SKI | {
    "binding_model": "Teach 4",
    "brake_mm": 105,
    "bsl_mm": 305,
    "mark_offset_mm": 0,
    "mount_date": date(2024, 11, 30),
    "earlier_mounts": 0,
}
BOOT = {
    "tag": "B-210",
    "model": "Gimmel 26",
    "mondopoint": 27.5,
    "bsl_mm": 317,
    "bsl_measured": "printed",
    "sole_type": "ISO 9523",
}
BINDING = {"model": "Teach 4", "quantity": 3, "brake_mm": 105, "season": "2025/26"}
T4H4 = [
    {"pattern": "T4/H4", "binding_model": "Teach 4", "piece": piece, "follows": piece, "x_mm": x, "y_mm": y}
    for piece, holes in (
        ("toe", ((-10, 18), (-10, -18), (-45, 20), (-45, -20))),
        ("heel", ((15, 18), (15, -18), (55, 18), (55, -18))),
    )
    for x, y in holes
]
HOLE = {
    "pair_tag": "K-031",
    "ski": "A",
    "x_mm": 101.5,
    "y_mm": 18,
    "diameter_mm": 3.6,
    "depth_mm": 9,
    "state": "plugged",
    "knowledge": "measured bare",
}
FIT = {"sole_type": "ISO 9523", "pattern": "T4/H4", "binding_sheet": "manual p. 4", "boot_sheet": "list 9"}
WANTED = {
    "wish": "W-03",
    "kind": "telemark",
    "length_min_cm": 165,
    "length_max_cm": 180,
    "mondopoint_min": 26.5,
    "mondopoint_max": 28.5,
    "quantity": 6,
    "priority": 1,
}
STAFF = {"name": "Mara Oberlin", "role": "head technician", "valid_until": date(2027, 4, 30)}


def clean_sheets(**instead: Rows) -> dict[str, Rows]:
    """A small clean shop, one of everything; ``Skis=...`` puts another sheet in its place."""
    sheets: dict[str, Rows] = {
        "Skis": table_rows(Table.SKI, SKI),
        "Boots": table_rows(Table.BOOT, BOOT),
        "Bindings": table_rows(Table.BINDING, BINDING),
        "Patterns": table_rows(Table.PATTERN, *T4H4),
        "Holes": table_rows(Table.HOLE, HOLE),
        "Fits": table_rows(Table.FIT, FIT),
        "Wanted": table_rows(Table.WANTED, WANTED),
        "Staff": table_rows(Table.STAFF, STAFF),
    }
    return sheets | instead


def look(*paths: Path, fleet: Fleet | None = None, columns: Mapping[str, str] | None = None) -> Proposal:
    """A dry run on the day of the tests."""
    return propose(read_files(paths, today=TODAY, columns=columns), fleet)


def report(*paths: Path, **kwargs: Any) -> dict[str, Any]:
    return look(*paths, **kwargs).report()


def codes(said: Mapping[str, Any]) -> set[str]:
    return {finding["code"] for finding in said["findings"]}
