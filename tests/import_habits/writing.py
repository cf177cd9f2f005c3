"""Drafts written as files: workbook, csv, or OpenDocument sheet; and where each value went."""

from __future__ import annotations

import csv
import zipfile
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name

from tests.import_habits.shop import Cell, Draft, Row, Table, Want

Place = tuple[str, int, str]
"""Sheet, row from 1, column letter."""


@dataclass
class Sheet:
    name: str
    grid: dict[tuple[int, int], Any] = field(default_factory=dict)
    looks: dict[int, Row] = field(default_factory=dict)
    comments: dict[tuple[int, int], str] = field(default_factory=dict)

    def line(self, row: int, column: int, values: list[Any]) -> None:
        for at, value in enumerate(values):
            if value is not None:
                self.grid[row, column + at] = value

    @property
    def height(self) -> int:
        return max((row for row, _ in self.grid), default=-1) + 1

    @property
    def width(self) -> int:
        return max((column for _, column in self.grid), default=-1) + 1


@dataclass
class Written:
    """The file, and the place of each row and each cell of it, by the identity of the row."""

    path: Path
    rows: dict[int, tuple[str, int]]
    cells: dict[tuple[int, str], Place]


def _put(sheet: Sheet, table: Table, top: int, left: int, out: Written, what: str = "") -> int:
    """Write a table there; return the row after it."""
    at = top
    for line in table.above:
        sheet.line(at, left, line)
        at += 1
    head = [*(["Item"] if what else []), *table.headers.values(), *table.extra]
    sheet.line(at, left, head)
    at += 1
    if table.second_header:
        sheet.line(at, left, [table.second_header.get(key) for key in table.headers])
        at += 1
    out.rows[id(table)] = (sheet.name, at)
    for number, row in enumerate(table.rows):
        for line in row.before:
            sheet.line(at, left, head if line == ["\0header"] else line)
            at += 1
        start = left + bool(what)
        if what:
            sheet.grid[at, left] = what
        for column, key in enumerate(table.headers):
            if key in row.cells:
                out.cells[id(row), key] = (sheet.name, at + 1, xl_col_to_name(start + column))
                if (shown := row.cells[key].shown) is not None:
                    sheet.grid[at, start + column] = shown
        for column, values in enumerate(table.extra.values()):
            if number < len(values) and values[number] is not None:
                sheet.grid[at, start + len(table.headers) + column] = values[number]
        if row.comment:
            sheet.comments[at, left] = row.comment
        if row.struck or row.fill or at not in sheet.looks:
            sheet.looks[at] = row
        out.rows[id(row)] = (sheet.name, at + 1)
        at += 1
    for line in table.below:
        sheet.line(at, left, line)
        at += 1
    return at


def _grid(sheet: Sheet, lines: list[list[Any]], top: int = 0, left: int = 0) -> int:
    for at, line in enumerate(lines):
        sheet.line(top + at, left, line)
    return top + len(lines)


def _one_list(draft: Draft, sheet: Sheet, out: Written, *, said: bool) -> None:
    """Both tables under one header: the skis' columns, then those that only boots have."""
    skis, boots = draft.skis, draft.boots
    for row in skis.rows:  # what the skis' own list does not hold stands under no header of the boots
        row.cells = {key: cell for key, cell in row.cells.items() if key in skis.headers}
    head = {**skis.headers, **{key: text for key, text in boots.headers.items() if key not in skis.headers}}
    both = Table("ski", head, [*skis.rows, *boots.rows], above=skis.above, extra=skis.extra)
    for row in boots.rows:
        row.cells.setdefault("kind", Cell(None, None, Want.LEFT))
    if said:
        both.headers = {"\0item": "Item", **head}
        for row in both.rows:
            row.cells["\0item"] = Cell("boots" if row in boots.rows else "ski", None, Want.LEFT)
    _put(sheet, both, 0, 0, out)
    out.rows[id(skis)] = out.rows[id(boots)] = out.rows[id(both)]
    for row in both.rows:
        row.cells.pop("\0item", None)


def laid_out(draft: Draft, out: Written) -> list[Sheet]:
    sheets = [Sheet(draft.names["ski"])]
    first = sheets[0]
    others = [table for name, table in draft.tables.items() if name != "ski"]
    holes = draft.hole_grid
    if draft.layout.startswith("one list") and "boot" in draft.tables:
        _one_list(draft, first, out, said=draft.layout == "one list")
        others = [table for name, table in draft.tables.items() if name not in ("ski", "boot")]
    elif draft.layout in ("beside", "touching"):
        _put(first, draft.skis, 0, 0, out)
        gap = 1 if draft.layout == "beside" else 0
        left = first.width + gap
        if "boot" in draft.tables:
            _put(first, draft.boots, 0, left, out)
            others = [table for name, table in draft.tables.items() if name not in ("ski", "boot")]
    elif draft.layout == "twins" and "twin" in draft.tables:
        _put(first, draft.skis, 0, 0, out)
        _put(first, draft.tables["twin"], 0, first.width + 1, out)
        others = [table for name, table in draft.tables.items() if name not in ("ski", "twin")]
    elif draft.layout == "beside a stranger":
        draft.skis.above.insert(0, ["Skis"])
        _put(first, draft.skis, 0, 0, out)
        left, top = first.width + 1, len(draft.skis.above)
        first.grid[0, left] = "WANTED from 1 December"
        lines = (
            ["what", "Kind", "ski length from", "to", "Pieces", "Priority"],
            ["B1", "telemark", 146, 160, 10, 1],
            ["B2", "junior", 160, 184, 14, 1],
        )
        for at, line in enumerate(lines):
            first.line(top + at, left, list(line))
    elif draft.layout == "below":
        below = _put(first, draft.skis, 0, 0, out) + 1
        for name, table in draft.tables.items():
            if name == "gone":
                first.line(below, 0, [draft.names[name]])
                below += 1
            if table in others:
                below = _put(first, table, below, 0, out) + 1
        others = []
    elif draft.layout == "moved":
        _put(first, draft.skis, 6, 3, out)
    else:
        _put(first, draft.skis, 0, 0, out)
    for table in others:
        name = next(name for name, of in draft.tables.items() if of is table)
        sheets.append(Sheet(draft.names.get(name, name)))
        _put(sheets[-1], table, 0, 0, out)
    if holes:
        sheets.append(Sheet(draft.names["hole"]))
        _grid(sheets[-1], holes)
    for name, lines in draft.strange:
        sheets.append(Sheet(name))
        _grid(sheets[-1], lines)
    return sheets


def written(draft: Draft, path: Path) -> Written:
    out = Written(path.with_suffix(f".{draft.format}"), {}, {})
    if draft.format == "csv":
        draft.names["ski"] = path.stem
    sheets = laid_out(draft, out)
    {"xlsx": _xlsx, "csv": _csv, "ods": _ods}[draft.format](draft, sheets, out.path)
    return out


def _xlsx(draft: Draft, sheets: list[Sheet], path: Path) -> None:
    told = {"strings_to_numbers": False, "strings_to_formulas": False, "in_memory": True}
    book = xlsxwriter.Workbook(str(path), told)
    formats: dict[tuple[bool, str, bool], Any] = {}
    for sheet in sheets:
        ws = book.add_worksheet(sheet.name[:31])
        for (row, column), value in sorted(sheet.grid.items()):
            look = sheet.looks.get(row)
            key = (bool(look and look.struck), look.fill if look else "", isinstance(value, datetime))
            if key not in formats:
                struck, fill, day = key
                formats[key] = book.add_format(
                    {
                        **({"font_strikeout": True} if struck else {}),
                        **({"bg_color": "#" + fill} if fill else {}),
                        **({"num_format": "dd.mm.yyyy"} if day else {}),
                    }
                )
            if isinstance(value, datetime):
                ws.write_datetime(row, column, value, formats[key])
            elif isinstance(value, int | float):
                ws.write_number(row, column, value, formats[key])
            else:
                ws.write_string(row, column, str(value), formats[key])
        for (row, column), text in sheet.comments.items():
            ws.write_comment(row, column, text)
    book.close()


def _text(value: Any) -> str:
    if isinstance(value, datetime):
        return value.strftime("%d.%m.%Y")
    return "" if value is None else str(value)


def _csv(draft: Draft, sheets: list[Sheet], path: Path) -> None:
    how = {"delimiter": ",", "lineterminator": "\r\n", **draft.csv}
    encoding, first, trailing = how.pop("encoding", "utf-8"), how.pop("first", ""), how.pop("trailing", 0)
    sheet = sheets[0]
    try:
        "".join(map(_text, sheet.grid.values())).encode(encoding)
    except UnicodeEncodeError:
        encoding = "utf-8"  # no program writes a language in letters that the encoding does not have
    with path.open("w", newline="", encoding=encoding) as file:
        if first:
            file.write(first + "\r\n")
        out = csv.writer(file, **how)
        for row in range(sheet.height):
            out.writerow([_text(sheet.grid.get((row, column))) for column in range(sheet.width + trailing)])


def _ods(draft: Draft, sheets: list[Sheet], path: Path) -> None:
    def cell(value: Any) -> str:
        if value is None:
            return "<table:table-cell/>"
        if isinstance(value, datetime):
            return f'<table:table-cell office:value-type="date" office:date-value="{value:%Y-%m-%d}"><text:p>{value:%d.%m.%Y}</text:p></table:table-cell>'
        if isinstance(value, int | float):
            return f'<table:table-cell office:value-type="float" office:value="{value}"><text:p>{value}</text:p></table:table-cell>'
        return f'<table:table-cell office:value-type="string"><text:p>{escape(str(value))}</text:p></table:table-cell>'

    body = "".join(
        f'<table:table table:name="{escape(sheet.name)}">'
        + "".join(
            "<table:table-row>"
            + "".join(cell(sheet.grid.get((row, column))) for column in range(sheet.width))
            + "</table:table-row>"
            for row in range(sheet.height)
        )
        + "</table:table>"
        for sheet in sheets
    )
    spaces = " ".join(
        f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
        for short, name in (("office", "office"), ("table", "table"), ("text", "text"))
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr(zipfile.ZipInfo("mimetype"), kind)
        file.writestr(
            "META-INF/manifest.xml",
            '<?xml version="1.0" encoding="UTF-8"?><manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
            f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/><manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>',
        )
        file.writestr(
            "content.xml",
            f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces} office:version="1.2"><office:body><office:spreadsheet>{body}</office:spreadsheet></office:body></office:document-content>',
        )
