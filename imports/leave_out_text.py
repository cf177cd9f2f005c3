"""The rows in question as the option's text, so that the page can give the exact command."""

from __future__ import annotations

from collections import defaultdict

from imports.proposal import Proposal
from imports.rows import Row
from imports.table_findings import number_ranges


def in_question(row: Row) -> bool:
    """Return whether a row waits for an answer, or cannot come in, and nobody set it aside."""
    return row.verdict in ("question", "bad") and not row.left_out


def leave_out_text(proposal: Proposal) -> str:
    """``Skis:12,15-17;Boots:3``; empty if no row is in question."""
    by_sheet: dict[str, set[int]] = defaultdict(set)
    for row in proposal.rows:
        if in_question(row):
            by_sheet[row.sheet].add(row.number)
    for finding in proposal.findings:
        if finding.code == "item_unknown" and finding.sheet and finding.row:
            by_sheet[finding.sheet].add(finding.row)
    return ";".join(f"{sheet}:{number_ranges(rows).replace(' ', '')}" for sheet, rows in by_sheet.items())
