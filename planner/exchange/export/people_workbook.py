"""The ledger as a workbook for people: filters, drop-downs, print set-up, totals, and nothing that can run.

It may be edited and imported again; its first sheet names the entry it was made at, so that the import can
tell what was edited from what the ledger has changed since.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fleet.base.entries import Head
from fleet.base.errors import BadInput
from fleet.tables.snapshot import Fleet
from imports.headers import SheetColumn
from imports.new_workbook import PAPERS, looks, new_workbook, print_setup
from imports.tables import EXPORT_HEAD, EXPORT_MARK
from planner.exchange.export.blank_workbook import sheet_of_things, with_words
from planner.exchange.export.people_rows import PEOPLE_SHEETS, PeopleSheet, Value
from planner.exchange.export.whole_file import write_whole

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

_LOOK_OF: Final[dict[type, str]] = {str: "text", date: "day"}
"""Type of a value -> its look; every other is a number."""
_SPARE_ROWS: Final = 500
"""Rows below the data that still have drop-downs and text tags."""


def write_people_workbook(fleet: Fleet, head: Head, path: Path, *, paper: str = "A4") -> dict[str, int]:
    """Write the workbook whole or not at all; rows by sheet. Raises BadInput for an unknown paper."""
    if paper not in PAPERS:
        raise BadInput(f"there is no paper {paper!r}", cure=f"choose {' or '.join(PAPERS)}")
    tables = [(sheet, list(sheet.rows(fleet))) for sheet in PEOPLE_SHEETS]
    with new_workbook() as (book, out):
        formats = looks(
            book,
            number={"num_format": "0.###"},
            count={"num_format": "#,##0", "align": "right"},
        )
        _summary(book.add_worksheet("Summary"), fleet, head, tables, formats, paper)
        for sheet, rows in tables:
            _sheet(
                book.add_worksheet(sheet.name), with_words(sheet.columns, fleet.policy), rows, formats, paper
            )
    write_whole(path, out.getvalue())
    return {sheet.name: len(rows) for sheet, rows in tables}


def _summary(
    page: Worksheet,
    fleet: Fleet,
    head: Head,
    tables: Sequence[tuple[PeopleSheet, Sequence[Mapping[str, Value]]]],
    formats: dict[str, Any],
    paper: str,
) -> None:
    page.write_string(0, 0, f"{EXPORT_MARK} of {fleet.shop}", formats["title"])
    page.write_string(1, 1, f"{head.seq}:{head.hash}")
    page.write_column(
        1,
        0,
        (
            EXPORT_HEAD,
            "Edit the other sheets and import the file again; keep this sheet as it is.",
            "Makers' instructions, local rules and qualified technicians come first."
            " Positions are as recorded.",
        ),
    )
    row = 5
    for title, counts in _totals(fleet, tables):
        page.write_string(row, 0, title, formats["bold"])
        row += 1
        for name, count in counts:
            page.write_string(row, 0, name)
            page.write_number(row, 1, count, formats["count"])
            row += 1
        row += 1
    page.set_column(0, 0, 34)
    page.set_column(1, 1, 16)
    print_setup(page, paper, landscape=False)
    page.activate()


def _totals(
    fleet: Fleet, tables: Sequence[tuple[PeopleSheet, Sequence[Mapping[str, Value]]]]
) -> list[tuple[str, list[tuple[str, int]]]]:
    """Plain numbers, not formulas: a phone's preview shows them, and nothing has to run for it."""
    pairs = fleet.pairs.values()
    return [
        ("rows by sheet", [(sheet.name, len(rows)) for sheet, rows in tables]),
        (
            "pairs by kind",
            [*sorted(Counter(each.kind.value for each in pairs).items()), ("all pairs", len(pairs))],
        ),
        ("pairs by place", sorted(Counter(each.place.value for each in pairs).items())),
    ]


def _sheet(
    page: Worksheet,
    columns: Sequence[SheetColumn],
    rows: Sequence[Mapping[str, Value]],
    formats: dict[str, Any],
    paper: str,
) -> None:
    sheet_of_things(
        page,
        columns,
        formats,
        rows=max(len(rows), 1),
        spare=_SPARE_ROWS,
        head=lambda _: "head",
        width=lambda column: _width(column, rows),
        paper=paper,
    )
    for number, values in enumerate(rows, start=1):
        for place, column in enumerate(columns):
            value = values.get(column.key)
            if value not in (None, ""):
                page.write(number, place, value, formats[_LOOK_OF.get(type(value), "number")])


def _width(column: SheetColumn, rows: Sequence[Mapping[str, Value]]) -> int:
    longest = max((len(str(r.get(column.key) or "")) for r in rows), default=0)
    return min(max(longest + 1, len(column.key) + 3), 32)  # 3: the button of the filter
