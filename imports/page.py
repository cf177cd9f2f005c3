"""The dry run as a page a manager can act on: what was read, what is asked, what follows, what to type."""

import shlex
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Final

from fleet.base.units import counted, mm_text
from fleet.facts.columns import columns_of
from imports.difference import FieldChange
from imports.findings import Finding, Severity
from imports.headers import SHEET_OF, THINGS_OF, Table
from imports.proposal import Proposal, in_question, leave_out_text

COUNTED: Final = ("rows", "good", "note", "question", "bad")
_SHOWN = 5


def page(proposal: Proposal, *, applied: bool, tried: bool, files: Sequence[str], more: str = "") -> str:
    """The whole page as plain text. ``more``: options already stated, repeated in the command to apply."""
    ending = ending_lines(proposal, applied=applied, tried=tried, files=files, more=more)
    found = (*head_lines(proposal), "", *count_lines(proposal), *doubt_lines(proposal))
    return "\n".join((*found, "", *ending))


def doubt_lines(proposal: Proposal, *, asked: str = "") -> list[str]:
    """Return what follows the counts: findings, and what changes.

    ``asked``: what to do about what is in question, where its questions stand beside; else its own cure.
    """
    lines = []
    for severity, title in (
        (Severity.BAD, "Cannot be"),
        (Severity.QUESTION, "In question"),
        (Severity.NOTE, "Notes"),
    ):
        found = [f for f in proposal.findings if f.severity is severity]
        if found:
            lines += [
                "",
                f"{title} ({_distinct(found)})",
                *_grouped(found, asked if severity is Severity.QUESTION else ""),
            ]
    return [*lines, "", *_what_changes(proposal)]


def _distinct(findings: Sequence[Finding]) -> int:
    """So many things are said: of the holes in one row the same is said once."""
    return len({(f.code, f.sheet, f.row, f.column, f.message) for f in findings})


def head_lines(proposal: Proposal) -> list[str]:
    """The file, its hash, and which columns of each sheet were understood."""
    reading = proposal.reading
    lines = [f"{reading.name}   sha256 {reading.sha256[:12]}"]
    tables = [table for sheet in reading.sheets if not sheet.left_out for table in sheet.tables]
    for table in (each for each in tables if each.raw):
        columns = ", ".join(
            c.key if c.header.strip() == c.key else f"{' '.join(c.header.split())} = {c.key}"
            for c in table.columns
        )
        lines += [
            f"  {table.sheet.name}: {counted(len(table.raw), 'row')} ({table.table.value}), "
            f"header in row {table.header_row}",
            f"    {columns}",
        ]
    return lines


def count_rows(proposal: Proposal) -> list[tuple[str, int, int, int, int, int]]:
    """Each sheet with its rows, and how many are good, noted, questioned and bad; the last is their sum."""
    found = {table: counts for table, counts in proposal.counts().items() if any(counts.values())}
    titles = {table: SHEET_OF[Table(table)].sheet if Table(table) in SHEET_OF else table for table in found}
    total = {verdict: sum(counts[verdict] for counts in found.values()) for verdict in COUNTED[1:]}
    return [*(_count_row(titles[table], counts) for table, counts in found.items()), _count_row("all", total)]


def _count_row(title: str, n: dict[str, int]) -> tuple[str, int, int, int, int, int]:
    return title, sum(n.values()), n["good"], n["note"], n["question"], n["bad"]


def count_lines(proposal: Proposal) -> list[str]:
    """The counts as lines of text."""
    rows = [("", *COUNTED), *count_rows(proposal)]
    return [f"{t:12}{n:>7}{good:>7}{noted:>7}{asked:>10}{bad:>6}" for t, n, good, noted, asked, bad in rows]


def _grouped(findings: Sequence[Finding], asked: str) -> list[str]:
    """By code, the most frequent first; five values of each, each with its rows counted, the rest counted."""
    groups: dict[str, dict[tuple[str | None, str | None, str], dict[int | None, Finding]]] = {}
    for finding in findings:
        values = groups.setdefault(finding.code, {})
        values.setdefault((finding.sheet, finding.column, finding.message), {}).setdefault(
            finding.row, finding
        )
    lines = []
    counts = {code: sum(map(len, said.values())) for code, said in groups.items()}
    for code, said in sorted(groups.items(), key=lambda group: -counts[group[0]]):
        first = next(iter(next(iter(said.values())).values()))
        shown = 1 if first.severity is Severity.NOTE else _SHOWN
        lines.append(f"  {counts[code]} x {code}")
        for rows in list(said.values())[:shown]:
            finding = next(iter(rows.values()))
            more = f" (and in {counted(len(rows) - 1, 'more row')})" if len(rows) > 1 else ""
            lines.append(f"    {place_text(finding)}{finding.message}{more}")
        rest = sum(map(len, list(said.values())[shown:]))
        if rest:
            lines.append(f"    ... and {rest} more")
        if first.severity is not Severity.NOTE:
            lines.append(f"    -> {asked or first.fix}")
    return lines


def place_text(finding: Finding) -> str:
    """``Skis F12 (K-031): `` or as much of it as is known."""
    place = ""
    if finding.sheet is not None:
        cell = f"{finding.column or ''}{finding.row}" if finding.row is not None else ""
        if cell and finding.column is None:
            cell = f"row {cell}"
        place = f"{finding.sheet} {cell}".strip()
    if finding.tag:
        place = f"{place} ({finding.tag})"
    return f"{place}: " if place else ""


def change_text(change: FieldChange) -> str:
    """``K5: waist width was not known, now 64 mm``; of one ski, with its letter."""
    side, _, name = change.field.rpartition(".")
    words = _fact_words().get(name, name.replace("_", " "))
    of = f" of ski {side}" if side else ""
    old, new = (_fact_value(name, value) for value in (change.old, change.new))
    return f"{change.what.removeprefix('pair ')}: {words}{of} was {old}, now {new}"


@cache
def _fact_words() -> Mapping[str, str]:
    return {
        column.name: column.field.what.removeprefix("the ")
        for things in THINGS_OF.values()
        for thing in things
        for column in columns_of(thing)
    }


def _fact_value(name: str, value: object) -> str:
    if value is None or value == "":
        return "not known"
    if isinstance(value, int) and name.endswith("_um"):
        return f"{mm_text(value)} mm"
    if isinstance(value, int) and name.endswith("_mm"):
        return f"{value / 10:g} cm"
    return str(value)


def _what_changes(proposal: Proposal) -> list[str]:
    counts = proposal.change_counts()
    lines = [
        f"Against the ledger: {counts['new']} new, {counts['changed']} changed, "
        f"{counts['unchanged']} unchanged"
    ]
    lines += [f"  {change_text(change)}" for change in proposal.changes[:20]]
    if len(proposal.changes) > 20:
        lines.append(f"  ... and {len(proposal.changes) - 20} more fields")
    lines += [f"What follows: {text}" for text in proposal.follows]
    return lines


def ending_lines(
    proposal: Proposal, *, applied: bool, tried: bool, files: Sequence[str], more: str = ""
) -> list[str]:
    """Return what came of it, and what to type next."""
    command = f"mountbook import {' '.join(shlex.quote(f) for f in files)}{more}"
    tied = f"--sha256 {proposal.reading.sha256[:12]} --apply"
    asked = len(proposal.questions)
    if applied:
        said = (
            [f"Applied: {len(proposal.entries)} entries in one go."]
            if proposal.entries
            else ["Nothing was written: the ledger says all this already."]
        )
        if proposal.outcome == "questions":
            said.append(
                f"{counted(asked, 'question')} stayed open (`mountbook import open`): what they are about is"
                " in no plan. To answer:"
            )
            said.append("  mountbook import open --ask --apply")
        return said
    if proposal.outcome == "refuse":
        return ["Refused: nothing in it can be used. Nothing was written."]
    if proposal.outcome == "questions":
        lines = [
            "Not applied: questions are open. Nothing was written."
            if tried
            else f"Nothing was written. {counted(asked, 'question')} open. To answer them one by one:",
            f"  {command} --ask",
        ]
        if proposal.entries:
            lines += ["To take what is certain and keep the rest as a worklist:", f"  {command} {tied}"]
        lines.append(
            f"For a copy with these cells coloured and room for answers: {command} --marked FILE.xlsx"
        )
        rows = leave_out_text(proposal.rows, proposal.findings)
        if rows:
            number = counted(sum(map(in_question, proposal.rows)), "row")
            lines += [
                f"To leave all {number} in question out for good:",
                f"  {command} --leave-out {shlex.quote(rows)} {tied}",
            ]
        return lines
    if not proposal.entries:
        return ["Nothing to do: the ledger says all this already."]
    return ["Nothing was written yet. To apply:", f"  {command} {tied}"]
