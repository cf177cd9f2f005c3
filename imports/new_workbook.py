"""The one place where a workbook to write begins: nothing in it can run, and common cells look alike."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

_NOTHING_RUNS: Final = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "in_memory": True,
}
STYLES: Final[dict[str, dict[str, Any]]] = {
    "text": {"num_format": "@"},
    "day": {"num_format": "yyyy-mm-dd", "align": "left"},
    "title": {"bold": True, "font_size": 14},
    "bold": {"bold": True},
    "head": {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1, "bg_color": "#E6E6E6"},
}
"""The looks that workbooks share, by name."""
PAPERS: Final = {"A4": 9, "Letter": 1}
"""Sizes of paper by the numbers that workbooks give them."""


@contextmanager
def new_workbook() -> Iterator[tuple[Workbook, BytesIO]]:
    """Open an empty workbook; its bytes stand in the buffer when the block has ended."""
    import xlsxwriter

    out = BytesIO()
    with xlsxwriter.Workbook(out, _NOTHING_RUNS) as book:
        yield book, out


def looks(book: Workbook, **own: dict[str, Any]) -> dict[str, Any]:
    """Return the cell formats of a workbook by name: the shared ones and its own, which stand above them."""
    return {name: book.add_format(look) for name, look in (STYLES | own).items()}


def print_setup(page: Worksheet, paper: str, *, landscape: bool) -> None:
    """One page wide: prints alike on A4 and Letter, because the width is what is fitted."""
    if landscape:
        page.set_landscape()
    page.set_paper(PAPERS[paper])
    page.fit_to_pages(1, 0)
    page.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    page.set_footer("&L&F  &A&RPage &P of &N")
