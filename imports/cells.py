"""The content of a file before anybody understands it: sheets of cells, each with the text a person sees."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from functools import cache
from typing import Final, NamedTuple


class Content(StrEnum):
    """The content of a cell. Empty cells are not kept."""

    TEXT = "text"
    NUMBER = "number"
    DATE = "date"
    TRUTH = "truth"
    ERROR = "error"
    UNCOMPUTED = "formula without a stored result"


class Cell(NamedTuple):
    """One cell. ``text`` is what a person sees, as near as the file tells; ``value`` what is stored.

    ``style`` is the number format, which is how a tag of 17 is shown as 00017. ``formula``: the stored
    value is a result; ``merged``: it stands in the first row of a merged cell. A NamedTuple because there
    may be two million of them.
    """

    text: str
    content: Content = Content.TEXT
    value: Decimal | date | datetime | bool | None = None
    style: str = ""
    formula: bool = False
    merged: bool = False


class Area(NamedTuple):
    """A rectangle of cells, 1-based, both ends included."""

    top: int
    left: int
    bottom: int
    right: int


@dataclass(slots=True, kw_only=True)
class Sheet:
    """One sheet: filled cells only, by row and column number (both 1-based).

    ``fills``: the colour, as RRGGBB, behind the first coloured cell of a row.
    """

    name: str
    file: str = ""
    hidden: bool = False
    rows: dict[int, dict[int, Cell]] = field(default_factory=dict)
    hidden_rows: set[int] = field(default_factory=set)
    struck_rows: set[int] = field(default_factory=set)
    comments: Mapping[int, str] = field(default_factory=dict)
    fills: dict[int, str] = field(default_factory=dict)
    hidden_columns: set[int] = field(default_factory=set)
    merged: list[Area] = field(default_factory=list)
    marks: dict[tuple[int, int], tuple[str, str]] = field(default_factory=dict)
    """Of a marked copy: reason and answer by row and the first column of the table."""


@cache
def column_letter(number: int) -> str:
    """1 is A, 27 is AA."""
    from xlsxwriter.utility import xl_col_to_name

    return str(xl_col_to_name(number - 1))


GUARD: Final = "'"
RUNS: Final = ("=", "+", "-", "@", "\t", "\r")
"""The characters that a spreadsheet takes for the beginning of a formula."""


def unguarded(text: str) -> str:
    """The text without its guard: the apostrophe before ``=``, ``+``, ``-``, ``@`` or another apostrophe."""
    if len(text) > 1 and text[0] == GUARD and (text[1:].lstrip()[:1] in RUNS or text[1] == GUARD):
        return text[1:]
    return text
