"""The season's end on one page: the fleet's further mounts over the years, and the pairs that end."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from fleet.base.units import counted
from fleet.tables.snapshot import Fleet
from planner.bench.season.season_end import Buy, LifeOfYear, PairThatEnds
from planner.paper import cautions
from planner.paper.chart import Bar, bar_chart
from planner.paper.ink import GARNET, READ, RULE, SOFT, STEEL, TITLE, WHITE
from planner.paper.pdf_writer import pdf_of
from planner.paper.shapes import Face
from planner.paper.sheet_frame import anchors_of, framed, paper_named, standing_cautions
from planner.paper.typeface import paragraph, shortened

_PARTS: Final = (("none left", GARNET), ("one", STEEL), ("two", RULE), ("three and more", WHITE))
"""The fewer are left the darker, in grey as in colour."""
_CHART: Final = 92.0
_ROW: Final = 5.4
_HOW: Final = (
    "Further mounts by the shop's rule (mounts_max), of the pairs still owned; a mount of no date counts as "
    "one of before. A ski may take fewer: its spacing, its core and the head technician decide. Dashed bars "
    "are winters played out, no forecast."
)


def season_end_pdf(
    fleet: Fleet,
    years: Sequence[LifeOfYear],
    ends: Sequence[PairThatEnds],
    buy: Sequence[Buy],
    *,
    printed_at: datetime,
    paper: str = "A4",
) -> bytes:
    """The page. Pairs that find no room on it are counted, and stand in the command's own list."""
    anchors = anchors_of(fleet, "season's end", printed_at=printed_at)
    sheet = framed(paper_named(paper), anchors, [f"{cautions.COUNTS} {standing_cautions()}"])
    sheet.words(sheet.left, sheet.top + 7, "SEASON'S END", size=TITLE, face=Face.BOLD)
    y = sheet.top + 12
    bar_chart(
        sheet,
        [Bar(each.name, each.left, drawn=each.drawn) for each in years],
        title="pairs by further mounts",
        parts=_PARTS,
        left=sheet.left,
        top=y,
        width=sheet.room,
        height=_CHART,
    )
    y += _CHART + 4
    y = paragraph(sheet, sheet.left, y, _HOW, size=READ - 2, room=sheet.room, step=4.2, fill=SOFT) + 5
    title = (
        f"{counted(len(ends), 'pair')} without a further mount" if ends else "every pair has a further mount"
    )
    sheet.words(sheet.left, y, title, size=READ + 2, face=Face.BOLD)
    rows = [(each.tag, each.reason) for each in ends]
    rows += [
        (
            f"buy for {each.wish}",
            f"{each.quantity - each.standing} {each.kind}, {each.length_min_mm // 10} to"
            f" {each.length_max_mm // 10} cm",
        )
        for each in buy
    ]
    room = int((sheet.bottom - y - 8) / _ROW)
    shown = rows if len(rows) <= room else rows[: room - 1]
    for name, words in shown:
        y += _ROW
        sheet.words(sheet.left, y, shortened(name, Face.BOLD, READ, 38), size=READ, face=Face.BOLD)
        said = shortened(words, Face.SANS, READ, sheet.room - 40)
        sheet.words(sheet.left + 40, y, said, size=READ)
        sheet.line(sheet.left, y + 1.5, sheet.right, y + 1.5, stroke=RULE, width=0.2)
    if len(shown) < len(rows):
        more = f"and {len(rows) - len(shown)} more: mountbook season-end"
        sheet.words(sheet.left, y + _ROW, more, size=READ, face=Face.BOLD)
    return pdf_of([sheet.page(sheet.width, sheet.height)], title="Season's end")
