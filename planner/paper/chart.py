"""Charts of stacked bars in the style of the sheets: black on white first, every bar with its number.

And the two sheets of them: the season's end, and what the last sets of a plan cost.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from fleet.base.units import counted
from fleet.tables.snapshot import Fleet
from planner.bench.season import Buy, LifeOfYear
from planner.paper import cautions
from planner.paper.shapes import (
    GARNET,
    ICE,
    INK,
    LABEL,
    MM_PER_PT,
    READ,
    RULE,
    SMALL,
    SOFT,
    STEEL,
    TITLE,
    WHITE,
    Anchor,
    Drawing,
    Face,
    Page,
    paragraph,
    shortened,
    width_mm,
)
from planner.paper.sheet_frame import anchors_of, framed, paper_named, pdf_of, standing_cautions
from planner.paper.svg_writer import svg_of
from planner.plan.plan_words import FrontierPoint, frontier_lines, known_how

_GAP: Final = 0.3


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar: its name below it, and the numbers of its parts from the bottom up. ``drawn``: of no record,
    but played out, which its dashed frame shows."""

    name: str
    parts: tuple[int, ...]
    drawn: bool = False


def bar_chart(
    d: Drawing,
    bars: Sequence[Bar],
    *,
    title: str,
    parts: Sequence[tuple[str, str]],
    left: float,
    top: float,
    width: float,
    height: float,
) -> None:
    """Draw the bars in that room, millimetres, under their title. ``parts``: name and fill of each part.

    The parts are named beside the title where there are more than one.
    """
    d.words(left, top + 4, title, size=READ, face=Face.BOLD)
    x = left + width
    for name, fill in reversed(parts if len(parts) > 1 else ()):
        x -= width_mm(name, Face.SANS, LABEL + 1)
        d.words(x, top + 4, name, size=LABEL + 1)
        x -= 5
        d.box(x, top + 1.2, 3.4, 3.4, fill=fill, stroke=INK)
        x -= 4
    base, most = top + height - 5, max((sum(bar.parts) for bar in bars), default=0)
    scale = (height - 16) / most if most else 0.0
    step = width / max(1, len(bars))
    wide = min(14.0, step * (1 - _GAP))
    size = LABEL + 1 if step > 9 else SMALL
    for number, bar in enumerate(bars):
        x, y, beside = left + step * number + (step - wide) / 2, base, base + 1
        for value, (_, fill) in zip(bar.parts, parts, strict=True):
            high = value * scale
            if not value:
                continue
            y -= high
            d.box(x, y, wide, high, fill=fill, stroke=INK, width=0.25, dash=(1.0, 0.8) if bar.drawn else ())
            middle = y + high / 2 + size * MM_PER_PT * 0.36
            if len(parts) > 1 and high > size * MM_PER_PT * 1.2:
                d.words(
                    x + wide / 2,
                    middle,
                    str(value),
                    size=size,
                    fill=WHITE if fill == GARNET else INK,
                    anchor=Anchor.MIDDLE,
                )
            elif len(parts) > 1:  # too thin for its number, which stands beside it and above the one below
                beside = min(middle, beside - size * MM_PER_PT)
                d.words(x + wide + 1, beside, str(value), size=size)
        whole, middle = str(sum(bar.parts)), x + wide / 2
        d.words(middle, y - 1.2, whole, size=size, face=Face.BOLD, anchor=Anchor.MIDDLE)
        d.words(middle, base + 4, bar.name, size=size, fill=SOFT, anchor=Anchor.MIDDLE)
    d.line(left, base, left + width, base, stroke=INK, width=0.4)
    d.line(left, top + 6.5, left + width, top + 6.5, stroke=RULE, width=0.2)


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
    ends: Mapping[str, str],
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
    rows = list(ends.items())
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


FILE: Final = "last_sets.pdf"
PICTURE: Final = "last_sets.svg"
_SETS_CHART: Final = 46.0
_SETS_GAP: Final = 4.0
_SETS_HEAD: Final = 5.5
_SETS_ROW: Final = 5.6
_SETS_COLUMNS: Final = (
    "sets served",
    "left unserved",
    "holes",
    "minutes",
    "drilled mounts",
    "known how",
    "gap",
)
_SETS_WORDS: Final = (
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
    words = _SETS_WORDS + " ".join(f"{said}." for said in known_how(points))
    y = paragraph(sheet, sheet.left, sheet.top + 13, words, size=READ, room=sheet.room, step=5.2)
    below = _SETS_HEAD + _SETS_ROW * len(points)
    chart = min(_SETS_CHART, (sheet.bottom - y - 1 - below) / 3 - _SETS_GAP)
    _sets_body(sheet, points, left=sheet.left, top=y + 1, width=sheet.room, chart=chart)
    return pdf_of([sheet.page(sheet.width, sheet.height)], title="What the last sets cost")


def last_sets_svg(points: Sequence[FrontierPoint]) -> str:
    """The bars and the table alone, for a page on a screen."""
    d, width = Drawing(), 190.0
    bottom = _sets_body(d, points, left=1.0, top=1.0, width=width - 2, chart=_SETS_CHART)
    page: Page = d.page(width, bottom + 3)
    return svg_of(page, label="; ".join(frontier_lines(points)))


def _sets_body(
    d: Drawing, points: Sequence[FrontierPoint], *, left: float, top: float, width: float, chart: float
) -> float:
    for title, fill, values in (
        ("holes drilled, both skis", GARNET, [p.holes for p in points]),
        ("bench minutes", ICE, [p.minutes for p in points]),
        ("mounts drilled: one further mount less of each of these pairs", WHITE, [p.mounts for p in points]),
    ):
        bars = [Bar(f"{p.sets} sets", (value,)) for p, value in zip(points, values, strict=True)]
        bar_chart(d, bars, title=title, parts=((title, fill),), left=left, top=top, width=width, height=chart)
        top += chart + _SETS_GAP
    ends = [left + width * end for end in (0.12, 0.26, 0.36, 0.48, 0.64, 0.86, 1.0)]
    for x, name in zip(ends, _SETS_COLUMNS, strict=True):
        d.words(x - 2, top + 4, name, size=READ - 2, fill=SOFT, anchor=Anchor.END)
    d.line(left, top + _SETS_HEAD, left + width, top + _SETS_HEAD, stroke=INK, width=0.4)
    top += _SETS_HEAD
    for p in points:
        cells = (p.sets, p.unserved, p.holes, p.minutes, p.mounts, p.known, p.gap_text)
        for x, cell in zip(ends, cells, strict=True):
            d.words(x - 2, top + 4.2, str(cell), size=READ, anchor=Anchor.END)
        top += _SETS_ROW
        d.line(left, top, left + width, top, stroke=RULE, width=0.2)
    return top
