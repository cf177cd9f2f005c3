"""A csv file as one sheet: encoding stated, separator found by the header, an open quote named by line."""

import csv
import io
import re
from collections.abc import Callable
from pathlib import PurePath
from typing import Final

from imports.cells import Cell, Sheet
from imports.gate import MAX_CELLS, MAX_ROWS, Admitted, GateRefusal, decode

_DELIMITERS: Final = (",", ";", "\t", "|")


def read_text_table(
    file: Admitted, *, header_hits: Callable[[list[str]], int]
) -> tuple[Sheet, list[tuple[str, str]]]:
    """(sheet, remarks). ``header_hits`` counts how many cells of a line are known header words.

    Raises GateRefusal for a quote that is never closed, and for a file beyond the limits.
    """
    text, code = decode(file.data)
    remarks = []
    if code == "cp1252":
        remarks.append(("cp1252", "the file is not UTF-8; it was read as Windows text (cp1252)"))
    elif code == "utf-16":
        remarks.append(("utf16", "the file was read as UTF-16"))
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "")
    stated = _STATED.match(text)
    delimiter = stated["sign"] if stated else _delimiter(text, header_hits)
    records = _records(file.name, text, delimiter, bool(stated))
    if stated:
        remarks.append(("sep_line", f"the first line states the separator {delimiter!r}"))
    sheet = Sheet(name=PurePath(file.name).stem, file=file.name)
    cells = 0
    for number, record in enumerate(records, start=1):
        filled = {column: Cell(value) for column, value in enumerate(record, start=1) if value.strip()}
        if filled:
            sheet.rows[number] = filled
            cells += len(filled)
        if cells > MAX_CELLS:
            raise GateRefusal("too_many_cells", f"more than {MAX_CELLS:,} filled cells", "split the file")
        if len(sheet.rows) > MAX_ROWS:
            raise GateRefusal("too_many_rows", f"more than {MAX_ROWS:,} filled rows", "split the file")
    return sheet, remarks


_STATED: Final = re.compile(r'[ "]*sep=(?P<sign>[^\n" ])[ "\t]*(?:\n|$)', re.IGNORECASE)
"""A first line that says the separator, as some programs write and read it."""


def _delimiter(text: str, header_hits: Callable[[list[str]], int]) -> str:
    """The delimiter under which the first lines hold the most known header words."""
    lines = text.split("\n", 40)[:40]
    best, best_score = ",", (-1, -1)
    for delimiter in _DELIMITERS:
        try:
            rows = list(csv.reader(lines, delimiter=delimiter))
        except csv.Error:
            continue
        hits = max((header_hits(row) for row in rows), default=0)
        width = max((len(row) for row in rows), default=0)
        if (hits, width) > best_score:
            best, best_score = delimiter, (hits, width)
    return best


def _records(name: str, text: str, delimiter: str, skip_first: bool) -> list[list[str]]:
    """All records; a record number is its place in the file. An unclosed quote swallows the rest: refused."""
    csv.field_size_limit(1_000_000)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[list[str]] = []
    line = 0
    try:
        for record in reader:
            if reader.line_num - line > 50:
                raise GateRefusal(
                    "unclosed_quote",
                    f"{name}: a quote opened on line {line + 1} runs over {reader.line_num - line} lines",
                    f"close or remove the quote on line {line + 1}",
                )
            line = reader.line_num
            records.append(record)
    except csv.Error as fault:
        if "unexpected end" in str(fault):
            raise GateRefusal(
                "unclosed_quote",
                f"{name}: a quote opened on line {line + 1} is never closed",
                f"close or remove the quote on line {line + 1}",
            ) from fault
        raise GateRefusal(
            "csv_damaged", f"{name}: line {line + 1} cannot be read ({fault})", "look at its quotes"
        ) from fault
    return [[], *records[1:]] if skip_first else records
