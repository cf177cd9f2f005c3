"""The picture of one pair to a file, with the legal offsets that were asked for."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from fleet.base.days import day_text
from fleet.base.errors import BadInput
from fleet.ledger.history import PairHistory
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from planner.paper.picture_file import write_picture
from planner.paper.shapes import Page
from planner.paper.sheet_frame import moment_text
from planner.paper.ski_view.offset_band import band_for
from planner.paper.ski_view.picture import ski_picture


def draw_pair(
    ledger: Ledger,
    history: PairHistory,
    file: Path | None,
    *,
    boot: str | None,
    pattern: str | None,
    bsl_mm: str | None,
    now: datetime,
) -> None:
    """Draw the pair as ``history`` has it. Nothing is written where the question makes no sense.

    Raises BadInput without a file, and for legal offsets of a day gone by: the policy and the boots are
    those of now. Refused for an unknown boot or pattern.
    """
    asked = any(given is not None for given in (boot, pattern, bsl_mm))
    if file is None:
        raise BadInput(
            "legal offsets are drawn on a picture", cure="add --picture FILE.svg, or use `mountbook where`"
        )
    if asked and history.as_of is not None:
        raise BadInput("legal offsets are those of now", cure="leave out --as-of, or the boot and pattern")
    page = pair_picture(ledger, history, boot=boot, pattern=pattern, bsl_mm=bsl_mm, now=now)
    write_picture(file, page, label=f"Mounting zones of pair {history.pair.tag}")


def pair_picture(
    ledger: Ledger,
    history: PairHistory,
    *,
    now: datetime,
    boot: str | None = None,
    pattern: str | None = None,
    bsl_mm: str | None = None,
) -> Page:
    """Return the pair as ``history`` has it, with the legal offsets of today; Refused for an unknown boot."""
    fleet = read_fleet(ledger.connection, pairs=(history.pair.tag,), boots=None if boot else ())
    band = None
    if history.as_of is None:
        band = band_for(fleet, history.pair.tag, boot=boot, pattern=pattern, bsl_mm=bsl_mm)
    seen_at = moment_text(now, history.zone)
    if history.as_of is not None:
        seen_at = f"as known at the end of {day_text(history.as_of)}, drawn {seen_at}"
    return ski_picture(history.pair, band, shop=fleet.shop, head=str(history.head), seen_at=seen_at)
