"""The cost of the last sets of a plan on one page: bars of holes, minutes and mounts, and the table."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from fleet.tables.snapshot import Fleet
from planner.paper.chart import Bar, bar_chart
from planner.paper.ink import GARNET, ICE, INK, READ, RULE, SOFT, TITLE, WHITE
from planner.paper.pdf_writer import pdf_of
from planner.paper.shapes import Anchor, Drawing, Face, Page
from planner.paper.sheet_frame import anchors_of, framed, paper_named, standing_cautions
from planner.paper.svg_writer import svg_of
from planner.paper.typeface import paragraph
from planner.plan.last_sets import FrontierPoint, frontier_lines, known_how

FILE: Final = "last_sets.pdf"
PICTURE: Final = "last_sets.svg"
_CHART: Final = 46.0
_GAP: Final = 4.0
_HEAD: Final = 5.5
_ROW: Final = 5.6
_COLUMNS: Final = ("sets served", "left unserved", "holes", "minutes", "drilled mounts", "known how", "gap")
_WORDS: Final = (
    "Each column is a plan of its own: the fewest holes that so many sets take, and of those plans the "
    "fewest minutes. To plan without the dearest sets: mountbook plan --spare N, N as in the second column. "
    "Which customers then find no set is for the manager to decide. Drilled mounts are those of that "
    "plan: they are counted, not kept few. "
)


def last_sets_pdf(
    fleet: Fleet, points: Sequence[FrontierPoint], *, printed_at: datetime, plan_hash: str, paper: str = "A4"
) -> bytes:
    """The page, as the PDF of a proposal."""
    anchors = anchors_of(fleet, "what the last sets cost", printed_at=printed_at, plan_hash=plan_hash)
    sheet = framed(paper_named(paper), anchors, [standing_cautions()], proposal=True)
    sheet.words(sheet.left, sheet.top + 7, "WHAT THE LAST SETS COST", size=TITLE, face=Face.BOLD)
    words = _WORDS + " ".join(f"{said}." for said in known_how(points))
    y = paragraph(sheet, sheet.left, sheet.top + 13, words, size=READ, room=sheet.room, step=5.2)
    below = _HEAD + _ROW * len(points)
    chart = min(_CHART, (sheet.bottom - y - 1 - below) / 3 - _GAP)
    _body(sheet, points, left=sheet.left, top=y + 1, width=sheet.room, chart=chart)
    return pdf_of([sheet.page(sheet.width, sheet.height)], title="What the last sets cost")


def last_sets_svg(points: Sequence[FrontierPoint]) -> str:
    """The bars and the table alone, for a page on a screen."""
    d, width = Drawing(), 190.0
    bottom = _body(d, points, left=1.0, top=1.0, width=width - 2, chart=_CHART)
    page: Page = d.page(width, bottom + 3)
    return svg_of(page, label="; ".join(frontier_lines(points)))


def _body(
    d: Drawing, points: Sequence[FrontierPoint], *, left: float, top: float, width: float, chart: float
) -> float:
    for title, fill, values in (
        ("holes drilled, both skis", GARNET, [p.holes for p in points]),
        ("bench minutes", ICE, [p.minutes for p in points]),
        ("mounts drilled: one further mount less of each of these pairs", WHITE, [p.mounts for p in points]),
    ):
        bars = [Bar(f"{p.sets} sets", (value,)) for p, value in zip(points, values, strict=True)]
        bar_chart(d, bars, title=title, parts=((title, fill),), left=left, top=top, width=width, height=chart)
        top += chart + _GAP
    ends = [left + width * end for end in (0.12, 0.26, 0.36, 0.48, 0.64, 0.86, 1.0)]
    for x, name in zip(ends, _COLUMNS, strict=True):
        d.words(x - 2, top + 4, name, size=READ - 2, fill=SOFT, anchor=Anchor.END)
    d.line(left, top + _HEAD, left + width, top + _HEAD, stroke=INK, width=0.4)
    top += _HEAD
    for p in points:
        cells = (p.sets, p.unserved, p.holes, p.minutes, p.mounts, p.known, p.gap_text)
        for x, cell in zip(ends, cells, strict=True):
            d.words(x - 2, top + 4.2, str(cell), size=READ, anchor=Anchor.END)
        top += _ROW
        d.line(left, top, left + width, top, stroke=RULE, width=0.2)
    return top
