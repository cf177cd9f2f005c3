"""Finding the tables in a sheet: header rows by their words, what lies between them, what is no data."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from imports.cells import Cell, Content, Sheet, column_letter
from imports.findings import Finding, Severity
from imports.header_match import (
    MappedColumn,
    best_table,
    header_text,
    is_header_word,
    match_columns,
    nearest_key,
    required_keys,
)
from imports.headers import Table

IGNORED_KEYS: Final = ("entry", "by")
"""Columns of an export that say where a row came from; they are for reading only."""
GUIDE_MARK: Final = "mountbook: a guide with examples; this sheet is never imported"
_TOTALS: Final = re.compile(
    r"^(?:sub\s?-?totals?|totals?|grand total|sums?|summe|zwischensumme|gesamt|somme|sous\s?-?total|total general)\b",
    re.IGNORECASE,
)


@dataclass(slots=True, kw_only=True)
class FoundTable:
    """One table: its columns and its data rows, as row number -> {key: (column, cell)}."""

    table: Table
    sheet: Sheet
    header_row: int
    columns: tuple[MappedColumn, ...]
    rows: list[tuple[int, dict[str, tuple[int, Cell]]]] = field(default_factory=list)
    missing: tuple[str, ...] = ()


@dataclass(slots=True, kw_only=True)
class SheetReading:
    """What was found on one sheet."""

    sheet: Sheet
    tables: list[FoundTable] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    skipped_rows: list[int] = field(default_factory=list)
    left_out: str = ""


def read_sheet(sheet: Sheet, chosen: Mapping[str, str] | None = None) -> SheetReading:
    """All tables of one sheet. What is neither header nor data is named, by number."""
    reading = SheetReading(sheet=sheet)
    current: FoundTable | None = None
    loose: list[int] = []
    for number in sorted(sheet.rows):
        cells = sheet.rows[number]
        if _is_header(cells, sheet.name, chosen):
            if current is not None and _repeats(cells, current):
                reading.skipped_rows.append(number)
                continue
            opened = _open_table(sheet, number, cells, chosen, reading)
            if opened is not None:
                current = opened
                reading.tables.append(current)
                continue
        if current is None:
            loose.append(number)
            continue
        _take_row(current, number, cells, reading)
    _say_skipped(reading, loose)
    return reading


def _is_header(cells: Mapping[int, Cell], sheet_name: str, chosen: Mapping[str, str] | None) -> bool:
    """At least two known header words, and words that are headers for more than half of the texts."""
    own = {header_text(key).words for key in (chosen or {})}
    hits = texts = 0
    for cell in cells.values():
        if cell.content is Content.TEXT:
            texts += 1
            if is_header_word(cell.text) or (own and header_text(cell.text).words in own):
                hits += 1
    if hits < 2 or texts < len(cells) * 0.7:
        return False
    return hits * 2 >= texts or hits >= 4


def _repeats(cells: Mapping[int, Cell], table: FoundTable) -> bool:
    mine = {c.number: header_text(c.header).words for c in table.columns}
    theirs = {n: header_text(c.text).words for n, c in cells.items()}
    return bool(mine) and all(theirs.get(n) == words for n, words in mine.items())


def _open_table(
    sheet: Sheet,
    number: int,
    cells: Mapping[int, Cell],
    chosen: Mapping[str, str] | None,
    reading: SheetReading,
) -> FoundTable | None:
    headers = {column: cell.text for column, cell in cells.items()}
    table, _ = best_table(headers, sheet.name, chosen)
    if table is None:
        return None
    mapped, unknown = match_columns(headers, table, chosen)
    unique: dict[str, MappedColumn] = {}
    for column in mapped:
        first = unique.setdefault(column.key, column)
        if first is not column:
            reading.findings.append(
                _about_column(
                    sheet,
                    number,
                    column.number,
                    column.header,
                    Severity.QUESTION,
                    "duplicate_column",
                    f"two columns mean {column.key}: {first.header!r} and {column.header!r}",
                    f'say which counts: --column "{_one_line(column.header)}=" leaves this one out',
                )
            )
    for column_number, text in unknown:
        near = nearest_key(text, table)
        if near is not None and near not in unique:
            reading.findings.append(
                _about_column(
                    sheet,
                    number,
                    column_number,
                    text,
                    Severity.QUESTION,
                    "unknown_column",
                    f"the column {_one_line(text)!r} is not known; did you mean {near}?",
                    f'--column "{_one_line(text)}={near}", or --column "{_one_line(text)}=" to leave it out',
                )
            )
        else:
            reading.findings.append(
                _about_column(
                    sheet,
                    number,
                    column_number,
                    text,
                    Severity.NOTE,
                    "unknown_column",
                    f"the column {_one_line(text)!r} is not known and is left out",
                    f'--column "{_one_line(text)}=KEY", if it holds one of our values',
                )
            )
    for key in IGNORED_KEYS:
        unique.pop(key, None)
    status = unique.pop("status", None)
    if status is not None:
        reading.findings.append(
            _about_column(
                sheet,
                number,
                status.number,
                status.header,
                Severity.NOTE,
                "status_ignored",
                "a status column is ignored: a spreadsheet can neither clear nor hold a pair",
                "use the commands of the counter",
            )
        )
    missing = tuple(key for key in required_keys(table, unique) if key not in unique)
    for key in missing:
        reading.findings.append(
            Finding(
                severity=Severity.BAD,
                code="missing_column",
                sheet=sheet.name,
                row=number,
                message=f"the table of {table.value} rows has no column for {key}",
                fix=f'add it, or name it with --column "HEADER={key}"',
            )
        )
    return FoundTable(
        table=table, sheet=sheet, header_row=number, columns=tuple(unique.values()), missing=missing
    )


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _about_column(
    sheet: Sheet, row: int, column: int, header: str, severity: Severity, code: str, message: str, fix: str
) -> Finding:
    return Finding(
        severity=severity,
        code=code,
        sheet=sheet.name,
        row=row,
        column=column_letter(column),
        raw=header,
        message=message,
        fix=fix,
    )


def _take_row(table: FoundTable, number: int, cells: Mapping[int, Cell], reading: SheetReading) -> None:
    by_key = {c.key: (c.number, cells[c.number]) for c in table.columns if c.number in cells}
    first = next(iter(sorted(cells.items())))[1]
    if first.content is Content.TEXT and _TOTALS.match(first.text.strip()):
        reading.skipped_rows.append(number)
        return
    if len(by_key) <= 1 and len(cells) <= 2 and len(table.columns) > 2:
        reading.skipped_rows.append(number)
        return
    table.rows.append((number, by_key))


def _say_skipped(reading: SheetReading, loose: list[int]) -> None:
    sheet = reading.sheet
    if not reading.tables:
        wide = [n for n in loose if len(sheet.rows[n]) >= 3]
        if len(wide) >= 2:
            reading.findings.append(
                Finding(
                    severity=Severity.BAD,
                    code="no_header",
                    sheet=sheet.name,
                    row=wide[0],
                    message=f"no header row was recognised on the sheet {sheet.name!r} ({len(sheet.rows)} rows)",
                    fix="write a header row as `mountbook blank` does, one row a ski or boot",
                )
            )
        elif sheet.rows:
            reading.findings.append(
                Finding(
                    severity=Severity.NOTE,
                    code="no_table",
                    sheet=sheet.name,
                    message=f"the sheet {sheet.name!r} holds no table and is left out",
                    fix="nothing, if that is right",
                )
            )
        return
    for code, what, numbers in (
        ("rows_before_header", "before the header", loose),
        ("rows_skipped", "that are repeated headers, totals or remarks", reading.skipped_rows),
    ):
        if numbers:
            reading.findings.append(
                Finding(
                    severity=Severity.NOTE,
                    code=code,
                    sheet=sheet.name,
                    row=numbers[0],
                    raw=_first_text(sheet, numbers[0]),
                    message=f"{len(numbers)} row(s) {what} are no data: {number_ranges(numbers)}",
                    fix="nothing, if that is right",
                )
            )


def _first_text(sheet: Sheet, number: int) -> str:
    return next((cell.text for _, cell in sorted(sheet.rows[number].items())), "")


def number_ranges(numbers: list[int]) -> str:
    """``[3, 4, 5, 9]`` -> ``3-5, 9``."""
    return ", ".join(f"{a}" if a == b else f"{a}-{b}" for a, b in _runs(numbers))


def _runs(numbers: list[int]) -> Iterator[tuple[int, int]]:
    ordered = sorted(numbers)
    start = last = ordered[0]
    for n in ordered[1:]:
        if n != last + 1:
            yield start, last
            start = n
        last = n
    yield start, last
