"""The empty inventory workbook: headers, units, drop-downs, tag columns as text, and a guide with examples.

The examples stand on a sheet of their own whose first cell says that it is never imported, so that no
example can be taken for data.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fleet.facts.columns import Holds
from fleet.facts.kinds import with_shop_kinds
from fleet.facts.policy import Policy
from imports.headers import CLEAN_WORKBOOK, FIELDS, SheetPlan, holds_text
from imports.new_workbook import STYLES, looks, new_workbook, print_setup
from imports.tables import GUIDE_MARK
from planner.exchange.export.whole_file import not_over_a_workbook, write_whole

if TYPE_CHECKING:
    from xlsxwriter import Workbook

ROWS: Final = 2000
"""So many rows get drop-downs and formats; a sheet may have more."""


def write_blank(path: Path, *, policy: Policy) -> None:
    """Write the workbook, whole or not at all; the kinds that the shop added are offered with the others.

    Raises BadInput where it cannot be written, or is there.
    """
    not_over_a_workbook(path)
    with new_workbook() as (book, out):
        head = STYLES["head"] | {"border": 1}
        formats = looks(
            book,
            required=head | {"bg_color": "#D9D9D9"},
            optional=head | {"bg_color": "#F2F2F2", "bold": False},
            wrap={"text_wrap": True, "valign": "top"},
            bold={"bold": True, "valign": "top"},
        )
        plans = [_with_words(plan, policy) for plan in CLEAN_WORKBOOK]
        _guide(book, formats, plans)
        for plan in plans:
            _data_sheet(book, plan, formats)
    write_whole(path, out.getvalue())


def _with_words(plan: SheetPlan, policy: Policy) -> SheetPlan:
    columns = (replace(each, words=with_shop_kinds(each.words, policy)) for each in plan.columns)
    return replace(plan, columns=tuple(columns))


_SAYS: Final = (
    "Fill the other sheets, one row a thing; leave out sheets you do not need. Dark headers must be filled.",
    "Nothing is guessed: what is doubtful comes back as a question; nothing is written before the answer.",
    "Makers' instructions, local rules and qualified technicians come first.",
)


def _guide(book: Workbook, formats: dict[str, Any], plans: Sequence[SheetPlan]) -> None:
    sheet = book.add_worksheet("Guide")
    sheet.write_string(0, 0, GUIDE_MARK, formats["title"])
    for line, text in enumerate(_SAYS, start=1):
        sheet.write_string(line, 0, text)
    for place, wide in enumerate((12, 22, 11, 58, 34, 26)):
        sheet.set_column(place, place, wide)
    row = 5
    for plan in plans:
        sheet.write_string(row, 0, plan.sheet, formats["title"])
        sheet.write_string(row, 1, plan.says)
        row += 1
        heads = ("sheet", "header", "must", "meaning", "words allowed", "example")
        sheet.write_row(row, 0, heads, formats["optional"])
        row += 1
        for column in plan.columns:
            must, words = "yes" if column.required else "", ", ".join(column.words)
            about = (plan.sheet, column.key, must, column.meaning, words, column.example)
            for place, text in enumerate(about):
                sheet.write_string(row, place, text, formats["bold" if place == 1 else "wrap"])
            row += 1
        row += 1
    print_setup(sheet, "A4", landscape=True)
    sheet.activate()


def _data_sheet(book: Workbook, plan: SheetPlan, formats: dict[str, Any]) -> None:
    sheet = book.add_worksheet(plan.sheet)
    for place, column in enumerate(plan.columns):
        sheet.write_string(0, place, column.key, formats["required" if column.required else "optional"])
        style = None
        if holds_text(column.key):
            style = formats["text"]
        elif FIELDS[column.key].holds is Holds.DAY:
            style = formats["day"]
        sheet.set_column(place, place, max(11, min(22, len(column.key) + 2)), style)
        if column.words:
            sheet.data_validation(
                1,
                place,
                ROWS,
                place,
                {
                    "validate": "list",
                    "source": list(column.words),
                    "error_title": column.key,
                    "error_message": f"one of: {', '.join(column.words)}"[:255],
                },
            )
        sheet.write_comment(
            0, place, f"{column.meaning}. Example: {column.example}" if column.example else column.meaning
        )
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, ROWS, len(plan.columns) - 1)
    sheet.repeat_rows(0)
    print_setup(sheet, "A4", landscape=True)
