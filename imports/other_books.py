"""Workbooks of other kinds (.xls, .ods, .xlsb) as sheets of cells, read by a process of its own."""

import os
import subprocess
import sys
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

import msgspec

from imports.cells import Area, Cell, Content, Sheet
from imports.gate import MAX_CHILD_SECONDS, SAVE_AS_XLSX, Admitted, GateRefusal
from imports.sheet_parts import exact_number, number_text

FORMAT_NOT_KNOWN: Final = "not known"
"""The style of a number whose format this kind of file does not tell: a tag may have lost its zeros."""
NOT_SEEN: Final = (
    "parts_not_seen",
    "read as an older or other kind of workbook: hidden and struck rows, colours, comments and the format of"
    " numbers are not seen; save it as .xlsx if they say anything",
)
_WHY: Final = {
    "too_large": (
        "too_large",
        "needs more memory than the limit",
        "save the inventory sheets alone as .xlsx",
    ),
    "too_many_cells": ("too_many_cells", "holds more cells than the limit", "split it"),
    "password": ("password", "is protected by a password", "save a copy without the password"),
}


def read_other_book(file: Admitted) -> list[Sheet]:
    """All sheets in order. Raises GateRefusal where the file cannot be read within the limits."""
    answer = _answer(file)
    if "refused" in answer:
        code, words, cure = _WHY.get(
            answer["refused"], ("damaged", f"is not a whole workbook ({answer.get('why', '')})", SAVE_AS_XLSX)
        )
        raise GateRefusal(code, f"{file.name} {words}", cure)
    sheets = [_sheet(file.name, said) for said in answer["sheets"]]
    if not sheets:
        raise GateRefusal("no_sheets", f"{file.name} holds no sheet that can be read", SAVE_AS_XLSX)
    return sheets


def _answer(file: Admitted) -> dict[str, Any]:
    home = str(Path(__file__).resolve().parent.parent)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "imports.book_child"],
            input=file.data,
            capture_output=True,
            check=False,
            timeout=MAX_CHILD_SECONDS * 2,
            env={**os.environ, "PYTHONPATH": home},
        )
        found: dict[str, Any] = msgspec.json.decode(done.stdout)
    except subprocess.TimeoutExpired:
        return {"refused": "too_large"}
    except msgspec.DecodeError:
        return {"refused": "damaged", "why": "its reader ended without an answer"}
    return found


def _sheet(file: str, said: dict[str, Any]) -> Sheet:
    sheet = Sheet(name=said["name"], file=file, hidden=said["hidden"])
    sheet.merged = tuple(Area(*area) for area in said["merged"])
    known: dict[tuple[str, str], Cell | None] = {}
    for row, column, kind, text in said["cells"]:
        if (kind, text) not in known:
            known[kind, text] = _cell(kind, text)
        cell = known[kind, text]
        if cell is not None:
            sheet.rows.setdefault(row, {})[column] = cell
    return sheet


def _cell(kind: str, text: str) -> Cell | None:
    if kind == "number":
        number: Decimal | None = exact_number(text)
        if number is None:
            return Cell(text, Content.ERROR)
        return Cell(number_text(number), Content.NUMBER, number, FORMAT_NOT_KNOWN)
    if kind == "date":
        moment: date = datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
        return Cell(text, Content.DATE, moment)
    if kind == "truth":
        return Cell(text, Content.TRUTH, text == "TRUE")
    return Cell(text) if text.strip() else None
