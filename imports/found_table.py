"""The tables found in a sheet: their columns and their data rows, before any value is read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from imports.answers import shape
from imports.cells import Cell, Sheet
from imports.findings import Finding
from imports.header_match import MappedColumn
from imports.headers import Table

FAR_RIGHT: Final = 10**6
"""The last column of a table that has none to its right."""
ABOVE: Final = 2
"""So many rows above its header a table's first title may stand."""
DataRow = tuple[int, dict[str, tuple[int, Cell]]]


@dataclass(slots=True, kw_only=True)
class FoundTable:
    """One table: its columns and its data rows, as row number -> {key: (column, cell)}.

    ``header_row`` is the last row of the header, ``header_first`` the first.
    ``context`` holds values that the sheet's name says for the whole table, ``of_holes`` those of all holes
    in the rows of a list of skis; ``ragged`` the rows with more cells than headers; ``titles`` lone texts
    between its rows, where other tables stand beside it. ``told``: an answer, or a column of its rows, says
    what they are.
    """

    table: Table
    sheet: Sheet
    header_row: int
    header_first: int
    columns: tuple[MappedColumn, ...]
    headers: Mapping[int, str]
    rows: list[DataRow] = field(default_factory=list)
    raw: list[tuple[int, Mapping[int, Cell]]] = field(default_factory=list)
    missing: tuple[str, ...] = ()
    of_holes: Mapping[str, str] = field(default_factory=dict)
    context: Mapping[str, str] = field(default_factory=dict)
    ragged: set[int] = field(default_factory=set)
    titles: dict[int, str] = field(default_factory=dict)
    told: bool = False
    left: int = 1
    right: int = FAR_RIGHT

    @property
    def shape(self) -> str:
        """A short name for its header, whatever the order of its columns."""
        return shape(self.headers.values(), self.left)

    @property
    def beside(self) -> int:
        """The number of the first column after its last."""
        return max((*self.headers, *(max(cells) for _, cells in self.raw))) + 1


@dataclass(slots=True, kw_only=True)
class SheetReading:
    """One sheet as it was read. ``titles``: lone texts among the rows of a table, by row."""

    sheet: Sheet
    tables: list[FoundTable] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    skipped_rows: list[int] = field(default_factory=list)
    titles: dict[int, str] = field(default_factory=dict)
    left_out: str = ""
