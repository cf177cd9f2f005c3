"""The empty inventory workbook: headers, units, drop-downs, tag columns as text, and a guide with examples.

The examples stand on a sheet of their own whose first cell says that it is never imported, so that no
example can be taken for data.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fleet.facts.columns import Holds
from fleet.facts.kinds import with_shop_kinds
from fleet.facts.policy import Policy
from imports.headers import CLEAN_WORKBOOK, FIELDS, SheetColumn, SheetPlan, holds_text
from imports.new_workbook import STYLES, looks, new_workbook, print_setup
from imports.tables import GUIDE_MARK
from planner.exchange.export.whole_file import not_over_a_workbook, write_whole

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

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
        plans = [replace(plan, columns=with_words(plan.columns, policy)) for plan in CLEAN_WORKBOOK]
        _guide(book, formats, plans)
        for plan in plans:
            sheet_of_things(
                book.add_worksheet(plan.sheet),
                plan.columns,
                formats,
                rows=ROWS,
                head=lambda column: "required" if column.required else "optional",
                width=lambda column: max(11, min(22, len(column.key) + 2)),
                paper="A4",
            )
    write_whole(path, out.getvalue())


def with_words(columns: Sequence[SheetColumn], policy: Policy) -> tuple[SheetColumn, ...]:
    """The columns with the words to choose from in this shop."""
    return tuple(replace(each, words=with_shop_kinds(each.words, policy)) for each in columns)


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
    for row, said in enumerate(_guide_lines(plans), start=5):
        for place, (text, look) in enumerate(said):
            sheet.write_string(row, place, text, formats[look])
    print_setup(sheet, "A4", landscape=True)
    sheet.activate()


def _guide_lines(plans: Sequence[SheetPlan]) -> Iterator[Iterable[tuple[str, str]]]:
    """The lines on each sheet and its columns: texts, each with its look by name."""
    for plan in plans:
        yield (plan.sheet, "title"), (plan.says, "text")
        yield ((head, "optional") for head in _HEADS)
        for column in plan.columns:
            must, words = "yes" if column.required else "", ", ".join(column.words)
            about = (plan.sheet, column.key, must, column.meaning, words, column.example)
            yield zip(about, ("wrap", "bold", *["wrap"] * 4), strict=True)
        yield ()


_HEADS: Final = ("sheet", "header", "must", "meaning", "words allowed", "example")


_TEXT_KEYS: Final = frozenset({"hole_id", "binding_id", "model"})
"""The columns that may look like a number or a day too, beside those that `holds_text`."""


def sheet_of_things(
    page: Worksheet,
    columns: Sequence[SheetColumn],
    formats: dict[str, Any],
    *,
    rows: int,
    spare: int = 0,
    head: Callable[[SheetColumn], str],
    width: Callable[[SheetColumn], int],
    paper: str,
) -> None:
    """A sheet of things with nothing on it yet: heads with their meaning, drop-downs, filter, print set-up.

    ``rows``: below the heads; ``spare``: more of them that have drop-downs. ``head``: the look of a column's
    head, by name.
    """
    for place, column in enumerate(columns):
        page.write_string(0, place, column.key, formats[head(column)])
        example = f". Example: {column.example}" if column.example else ""
        page.write_comment(0, place, f"{column.meaning}{example}")
        text = column.key in _TEXT_KEYS or holds_text(column.key)
        look = "text" if text else "day" if FIELDS[column.key].holds is Holds.DAY else None
        page.set_column(place, place, width(column), formats[look] if look else None)
        if column.words:
            choice = {"validate": "list", "source": list(column.words), "error_title": column.key}
            message = f"one of: {', '.join(column.words)}"[:255]
            page.data_validation(1, place, rows + spare, place, choice | {"error_message": message})
    page.freeze_panes(1, 1)
    page.autofilter(0, 0, rows, len(columns) - 1)
    page.repeat_rows(0)
    print_setup(page, paper, landscape=True)
