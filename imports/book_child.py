"""Reads a workbook of another kind (.xls, .ods, .xlsb) in a process of its own, under stated limits.

Bytes come in on the standard input, one JSON document goes out: sheets with cells, or why there are none.
Whatever a broken or hostile file does to the reader, it does here, and the import goes on.
"""

import json
import sys
from datetime import date, datetime, time, timedelta
from io import BytesIO
from typing import Any

from imports.gate import MAX_CELLS, MAX_CHILD_BYTES, MAX_CHILD_SECONDS, MAX_ROWS


def main() -> int:
    """Read, and answer on the standard output."""
    _limit()
    data = sys.stdin.buffer.read()
    try:
        answer = _read(data)
    except MemoryError:
        answer = {"refused": "too_large"}
    except Exception as fault:  # the reader's own faults are many, and each means the same here
        refused = "password" if type(fault).__name__ == "PasswordError" else "damaged"
        answer = {"refused": refused, "why": " ".join(str(fault).split())[:200]}
    sys.stdout.write(json.dumps(answer))
    return 0


def _limit() -> None:
    """No more memory and processor time than the gate says, where the system can hold a process to it."""
    try:
        import resource
    except ImportError:  # pragma: no cover - not on Windows; the parent's clock still ends it
        return
    resource.setrlimit(resource.RLIMIT_AS, (MAX_CHILD_BYTES, MAX_CHILD_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MAX_CHILD_SECONDS, MAX_CHILD_SECONDS))


def _read(data: bytes) -> dict[str, Any]:
    from python_calamine import CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    book = CalamineWorkbook.from_filelike(BytesIO(data))
    sheets = []
    left = MAX_CELLS
    for about in book.sheets_metadata:
        if about.typ != SheetTypeEnum.WorkSheet:
            continue
        sheet = book.get_sheet_by_name(about.name)
        cells: list[tuple[int, int, str, str]] = []
        rows = 0
        first = sheet.start
        if first is not None:
            top, start = first
            for number, row in enumerate(sheet.to_python(skip_empty_area=True), start=top + 1):
                before = len(cells)
                for column, value in enumerate(row, start=start + 1):
                    if value != "" and value is not None:
                        cells.append((number, column, *_said(value)))
                rows += len(cells) > before
                left -= len(cells) - before
                if left < 0 or rows > MAX_ROWS:
                    return {"refused": "too_many_cells"}
        merged = [[a[0] + 1, a[1] + 1, b[0] + 1, b[1] + 1] for a, b in sheet.merged_cell_ranges or ()]
        hidden = about.visible != SheetVisibleEnum.Visible
        sheets.append({"name": about.name, "hidden": hidden, "cells": cells, "merged": merged})
    return {"sheets": sheets}


def _said(value: object) -> tuple[str, str]:
    """(sort of content, text) of a value."""
    if isinstance(value, bool):
        return "truth", "TRUE" if value else "FALSE"
    if isinstance(value, int | float):
        whole = float(value).is_integer() and abs(value) < 1e15
        return "number", repr(int(value)) if whole else repr(value)
    if isinstance(value, datetime):
        midnight = (value.hour, value.minute, value.second) == (0, 0, 0)
        return "date", (value.date() if midnight else value).isoformat()
    if isinstance(value, date):
        return "date", value.isoformat()
    if isinstance(value, time | timedelta):
        return "text", str(value)
    return "text", str(value)


if __name__ == "__main__":
    raise SystemExit(main())
