"""Rows that an export had and the edited file has not: asked about, never deleted."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Final

from fleet.tables.snapshot import Fleet
from imports.difference import Draft
from imports.findings import Finding, Severity
from imports.headers import Table
from imports.question_id import About, question_id
from imports.reading import Reading

_SHOWN: Final = 20


def ask_about_missing(draft: Draft, reading: Reading, *, exported: bool, accepted: Collection[str]) -> None:
    """One finding for each thing that was there when the file was made, is still there, and is not in it.

    A question for an edited export, a note for a file of the shop's own; ``accepted``: sheets whose
    missing rows the user knows about.
    """
    if draft.base is None or draft.fleet is None:
        return
    for table, key in (
        (Table.SKI, "tag"),
        (Table.BOOT, "tag"),
        (Table.WANTED, "wish"),
        (Table.HOLE, "hole_id"),
    ):
        rows = [row for row in reading.rows if row.table is table]
        if not rows or (table is Table.HOLE and not any(row.values.get(key) for row in rows)):
            continue
        sheet = rows[0].sheet
        there = {str(row.values.get(key)) for row in rows}
        gone = [n for n in _names(draft.base, table) if n in _names(draft.fleet, table) and n not in there]
        accepted_now = reading.answers.by_id.get(missing_id(table, sheet))
        asked = exported and sheet.casefold() not in accepted and accepted_now is None
        for name in gone[:_SHOWN]:
            draft.findings.append(_finding(sheet, table, name, asked=asked))
        if len(gone) > _SHOWN:
            draft.findings.append(_finding(sheet, table, f"{len(gone) - _SHOWN} more", asked=asked))


def _names(fleet: Fleet, table: Table) -> Mapping[str, object]:
    if table is Table.SKI:
        return fleet.pairs
    if table is Table.BOOT:
        return fleet.boots
    if table is Table.WANTED:
        return {wish.wish: wish for wish in fleet.wishes}
    return {
        hole.hole_id: hole
        for pair in fleet.pairs.values()
        for ski in pair.skis.values()
        for hole in ski.holes
    }


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
