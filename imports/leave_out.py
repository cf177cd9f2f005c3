"""Rows left out: set aside by name, or missing from an edited export.

Set aside: ``Skis:12,15-17``, a whole sheet by its name, ``Skis:missing`` for absent rows. Rows that an export
had and the edited file has not are asked about, never deleted.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fleet.base.errors import BadInput
from fleet.tables.snapshot import Fleet
from imports.answers import About, question_id
from imports.difference import Draft
from imports.findings import Finding, Severity
from imports.header_rows import hinted
from imports.headers import OF_A_PAIR, Table
from imports.reading import Reading
from imports.rows import Row
from imports.table_findings import number_ranges


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
        if row.table in OF_A_PAIR and row.values.get("pair_tag") in gone - kept:
            row.left_out = True


def in_question(row: Row) -> bool:
    """Return whether a row waits for an answer, or cannot come in, and nobody set it aside."""
    return row.verdict in ("question", "bad") and not row.left_out


def leave_out_text(rows: Sequence[Row], findings: Sequence[Finding]) -> str:
    """The rows in question as the option's text, ``Skis:12,15-17;Boots:3``; empty if there is none."""
    by_sheet: dict[str, set[int]] = defaultdict(set)
    for row in filter(in_question, rows):
        by_sheet[row.sheet].add(row.number)
    for finding in findings:
        if finding.code == "item_unknown" and finding.sheet and finding.row:
            by_sheet[finding.sheet].add(finding.row)
    return ";".join(f"{sheet}:{number_ranges(rows).replace(' ', '')}" for sheet, rows in by_sheet.items())


_SHOWN: Final = 20


def _hole_ids(fleet: Fleet) -> Collection[str]:
    skis = (ski for pair in fleet.pairs.values() for ski in pair.skis.values())
    return {hole.hole_id: None for ski in skis for hole in ski.holes}


_NAMED: Final[tuple[tuple[Table, str, Callable[[Fleet], Collection[str]]], ...]] = (
    (Table.SKI, "tag", lambda fleet: fleet.pairs),
    (Table.BOOT, "tag", lambda fleet: fleet.boots),
    (Table.WANTED, "wish", lambda fleet: [wish.wish for wish in fleet.wishes]),
    (Table.HOLE, "hole_id", _hole_ids),
)
"""Tables of things that may be missing: the key that names each, and the names that a fleet has."""


def ask_about_missing(
    draft: Draft, reading: Reading, *, exported: bool, leave_out: Sequence[LeaveOut]
) -> None:
    """One finding for each thing that was there when the file was made, is still there, and is not in it.

    A question for an edited export, a note for a file of the shop's own. ``leave_out`` names the sheets, too,
    whose missing rows the user has accepted as they are.
    """
    accepted = {one.sheet.casefold() for one in leave_out if one.missing}
    for table, key, names_in in _NAMED:
        rows = [row for row in reading.rows if row.table is table]
        if not rows or (table is Table.HOLE and not any(row.values.get(key) for row in rows)):
            continue
        sheet = rows[0].sheet
        there, still = {str(row.values.get(key)) for row in rows}, names_in(draft.fleet)
        gone = [name for name in names_in(draft.base) if name in still and name not in there]
        accepted_now = reading.answers.by_id.get(missing_id(table, sheet))
        asked = exported and sheet.casefold() not in accepted and accepted_now is None
        more = [f"{len(gone) - _SHOWN} more"] if len(gone) > _SHOWN else []
        draft.findings += [_finding(sheet, table, name, asked=asked) for name in (*gone[:_SHOWN], *more)]


def missing_id(table: Table, sheet: str) -> str:
    """The question whether rows that were there may be missing."""
    return question_id(About.CHECK, table.value, "missing_row", "", sheet)


def _finding(sheet: str, table: Table, name: str, *, asked: bool) -> Finding:
    return Finding(
        severity=Severity.QUESTION if asked else Severity.NOTE,
        code="missing_row",
        sheet=sheet,
        question=missing_id(table, sheet),
        tag=name,
        message=f"{table.value} {name} was there when this file was made and is not in it; it stays",
        fix=f'restore the row, or say that it may be missing: --leave-out "{sheet}:missing"',
    )
