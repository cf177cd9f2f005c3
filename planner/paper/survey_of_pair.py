"""The survey sheet of one pair as the ledger knows it now."""

from __future__ import annotations

from datetime import datetime

from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from planner.paper.moments import moment_text, stale_text
from planner.paper.sheet_frame import Anchors, Paper
from planner.paper.survey_sheet import survey_sheet_pdf


def survey_sheet(ledger: Ledger, tag: str, *, paper: Paper, now: datetime) -> bytes:
    """Return a PDF of one page. Raises Refused for a pair that is not in the ledger."""
    fleet = read_fleet(ledger.connection)
    pair = fleet.pair(tag)
    anchors = Anchors(
        shop=fleet.shop,
        name=f"survey {pair.tag}",
        head=str(ledger.head),
        plan_hash="",
        printed_at=moment_text(now, ledger.zone),
        stale_after=stale_text(now, ledger.zone, fleet.policy.count("sheet_stale_days")),
        proposal=False,
    )
    return survey_sheet_pdf(pair, anchors=anchors, paper=paper)
