"""Rows set aside by name: ``Skis:12,15-17``, a whole sheet by its name, ``Skis:missing`` for absent rows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from fleet.base.errors import BadInput
from imports.findings import Severity
from imports.headers import Table
from imports.reading import Reading
from imports.rows import Row
from imports.sheet_name import hinted


@dataclass(frozen=True, slots=True, kw_only=True)
class LeaveOut:
    """Rows of one sheet; ``rows`` None means all of them. ``missing``: what the export had and it lacks."""

    sheet: str
    rows: frozenset[int] | None
    missing: bool = False


def parse_leave_out(texts: Sequence[str]) -> tuple[LeaveOut, ...]:
    """From the option's texts. Raises BadInput with an example."""
    found = []
    for text in texts:
        for part in text.split(";"):
            part = part.strip()
            if not part:
                continue
            sheet, colon, rows = part.rpartition(":")
            if not colon:
                found.append(LeaveOut(sheet=part, rows=None))
                continue
            if rows.strip() == "missing":
                found.append(LeaveOut(sheet=sheet.strip(), rows=frozenset(), missing=True))
                continue
            found.append(LeaveOut(sheet=sheet.strip(), rows=_numbers(rows, part)))
    return tuple(found)


def _numbers(text: str, whole: str) -> frozenset[int]:
    numbers: set[int] = set()
    for piece in text.split(","):
        match = re.fullmatch(r"\s*(\d{1,7})(?:\s*-\s*(\d{1,7}))?\s*", piece)
        if not match:
            raise BadInput(f"{whole!r} names no rows", cure='write it like --leave-out "Skis:12,15-17"')
        first, last = int(match[1]), int(match[2] or match[1])
        if last - first > 100_000:
            raise BadInput(f"{whole!r} names too many rows", cure='write it like --leave-out "Skis:12,15-17"')
        numbers.update(range(first, last + 1))
    return frozenset(numbers)


def missing_accepted(leave_out: Sequence[LeaveOut]) -> frozenset[str]:
    """Sheets (in small letters) whose missing rows the user has accepted as they are."""
    return frozenset(one.sheet.casefold() for one in leave_out if one.missing)


def set_aside(reading: Reading, leave_out: Sequence[LeaveOut]) -> None:
    """Mark the named rows, and with a pair the rows that hang on it. Findings of whole sheets go too.

    Raises BadInput for a row or sheet that is not there: a slip must not leave out the wrong row silently.
    """
    for one in leave_out:
        sheets = {s.sheet.name for s in reading.sheets if s.sheet.name.casefold() == one.sheet.casefold()}
        if not sheets:
            names = ", ".join(dict.fromkeys(s.sheet.name for s in reading.sheets)) or "none"
            raise BadInput(
                f"there is no sheet {one.sheet!r} to leave rows out of", cure=f"the sheets are: {names}"
            )
        mine = [row for row in reading.rows if row.sheet in sheets]
        if one.rows is None:
            for row in mine:
                row.left_out = True
            reading.unread_holes += [
                s.sheet.name
                for s in reading.sheets
                if s.sheet.name in sheets and s.sheet.rows and not mine and hinted(s.sheet.name, Table.HOLE)
            ]
            reading.findings[:] = [
                f for f in reading.findings if f.sheet not in sheets or f.severity is Severity.NOTE
            ]
            continue
        asked = [f for f in reading.findings if f.code == "item_unknown" and f.sheet in sheets]
        known = {row.number for row in mine} | {f.row for f in asked if f.row}
        unknown = sorted(one.rows - known)
        if unknown:
            raise BadInput(
                f"{one.sheet} has no data row {', '.join(map(str, unknown[:5]))}",
                cure="take the row numbers from the dry run",
            )
        for row in mine:
            if row.number in one.rows:
                row.left_out = True
        reading.findings[:] = [
            replace(f, severity=Severity.NOTE, code="left_out", message=f"{f.message} The row is left out")
            if f in asked and f.row in one.rows
            else f
            for f in reading.findings
        ]
    _with_their_pair(reading.rows)


def _with_their_pair(rows: Sequence[Row]) -> None:
    gone = {row.values.get("tag") for row in rows if row.table is Table.SKI and row.left_out}
    kept = {row.values.get("tag") for row in rows if row.table is Table.SKI and not row.left_out}
    for row in rows:
        if (
            row.table in (Table.HOLE, Table.SIDE, Table.MOUNT, Table.AREA)
            and row.values.get("pair_tag") in gone - kept
        ):
            row.left_out = True
