"""The record of one pair as paper: its hole map on one page, and its case.

The map is for a ski that is sold, and for a case: every hole of both skis as the ledger knows it, in a
picture and a table, how it is known, what nobody has looked at. The case says what the pair is, draws both
skis, and tells what happened, in order of time.

Nothing is shortened: a line that is too long goes on below, a list that is too long on the next page.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.units import across_text, along_text, mm_text
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair, Ski
from fleet.tables.snapshot import Fleet
from planner.paper import cautions
from planner.paper.shapes import (
    ICE,
    INK,
    RULE,
    SMALL,
    SOFT,
    TITLE,
    WHITE,
    Anchor,
    Face,
    Page,
    fitted,
    paragraph,
    shortened,
    stacked,
    width_mm,
    wrapped,
)
from planner.paper.sheet_frame import (
    Anchors,
    FramedSheet,
    Paper,
    framed,
    moment_text,
    paper_named,
    pdf_of,
    qr_code,
    standing_cautions,
    tag_words,
)
from planner.paper.ski_facts import SkiFact, not_inspected
from planner.paper.ski_picture import (
    NOT_INSPECTED_WORDS,
    UNSURE_WORDS,
    SkiPicture,
    hatch_sign,
    old_hole_sign,
    state_legend,
    unsure_sign,
)
from planner.paper.ski_view.ski_words import HOLE_HEAD, mark_words, no_holes_words

_PICTURE: Final = 128.0
_LEAST_ROW: Final = 2.6


def hole_map_pdf(fleet: Fleet, tags: Sequence[str], *, printed_at: datetime, paper: str = "A4") -> bytes:
    """Return one page a pair. Raises BadInput for no tags, Refused for an unknown one."""
    if not tags:
        raise BadInput("no pair was named", cure="name at least one tag")
    size = paper_named(paper)
    pages = [_page(fleet, fleet.pair(tag), printed_at, size) for tag in tags]
    return pdf_of(pages, title=f"Hole map {', '.join(tags)}")


def _page(fleet: Fleet, pair: Pair, printed_at: datetime, paper: Paper) -> Page:
    anchors = Anchors(
        shop=fleet.shop,
        name=f"hole map {pair.tag}",
        head=fleet.head.full,
        printed_at=moment_text(printed_at, fleet.zone),
        stale_after="the next work on it",
    )
    notes = [
        "Millimetres from each ski's own printed mark; right is right when looking at the tip. "
        "A record, not an inspection: what nobody has looked at may still be in the ski.",
        f"{cautions.NOT_TO_SCALE} {standing_cautions()}",
    ]
    sheet = framed(paper, anchors, notes)
    sheet.add(qr_code(pair.tag, sheet.left, sheet.top, 15.0))
    tag_words(sheet, sheet.left + 19, sheet.top + 11, pair.tag, size=34, room=95, face=Face.BOLD)
    length = f" · {mm_text(pair.length_mm * 100)} cm · {pair.mounts_text}"
    room = sheet.room - 19 - 97 - width_mm(length, Face.SANS, 9)
    model = shortened(pair.model, Face.SANS, 9, room)
    stacked(
        sheet,
        sheet.right,
        sheet.top,
        ((6, "HOLE MAP", TITLE, Face.BOLD, INK), (12, model + length, 9, Face.SANS, INK)),
        anchor=Anchor.END,
    )
    sheet.line(sheet.left, sheet.top + 17, sheet.right, sheet.top + 17, stroke=INK, width=0.7)
    top = sheet.top + 20
    for side, (fact, left, width, picture) in zip(Side, _both(sheet, pair, top, _PICTURE), strict=True):
        ski = pair.skis[side]
        sheet.words(left, top + 4, f"ski {side.value}", size=13, face=Face.BOLD)
        hatched = f" · {NOT_INSPECTED_WORDS}" if fact.not_inspected else ""
        said, room = f"{mark_words(ski)}{hatched}", width - 16
        fitted(sheet, left + 16, top + 4, said, size=8, room=room, least=SMALL, fill=SOFT)
        picture.draw()
        _table(sheet, ski, fact, left, top + 8 + _PICTURE, width)
    return sheet.page(sheet.width, sheet.height)


def _both(
    sheet: FramedSheet, pair: Pair, top: float, height: float
) -> Iterator[tuple[SkiFact, float, float, SkiPicture]]:
    """Yield for each ski its facts, its left edge and width on the sheet, and its picture, not drawn yet:
    beside the other ski's, and to its scale.
    """
    width = sheet.room / 2 - 4
    facts = [map_fact(pair.skis[side]) for side in Side]
    for column, (fact, other) in enumerate(zip(facts, reversed(facts), strict=True)):
        left = sheet.left + column * (width + 8)
        picture = SkiPicture(
            sheet,
            fact,
            waist_um=pair.waist_um,
            left=left,
            top=top + 6,
            width=width,
            height=height,
            beside=other,
        )
        yield fact, left, width, picture


def map_fact(ski: Ski) -> SkiFact:
    """Return the holes of one ski as its picture shows them: nothing to drill, nothing to plug."""
    from_the_tip = sorted(ski.holes, key=lambda hole: (-hole.x_um, hole.y_um, hole.hole_id))
    return SkiFact(
        sides=(ski.side,),
        screws=(),
        old_holes=tuple(from_the_tip),
        plugs=(),
        mark_from_tail_um=ski.mark_from_tail_um,
        centre_from_tail_um=ski.mark_from_tail_um,
        centre_from_mark_um=0,
        not_inspected=not_inspected(ski),
    )


def _table(sheet: FramedSheet, ski: Ski, fact: SkiFact, left: float, top: float, width: float) -> None:
    if not fact.old_holes:
        sheet.words(left, top + 4, no_holes_words(ski), size=9, face=Face.BOLD)
        return
    row = min(4.2, (sheet.bottom - top - 5) / len(fact.old_holes))
    if row < _LEAST_ROW:
        raise BadInput(
            f"{len(fact.old_holes)} holes on one ski do not fit one page", cure="use `mountbook ski`"
        )
    size = min(8.0, row * 2)
    sheet.line(left, top + 1, left + width, top + 1, stroke=RULE, width=0.25)
    y = top + 1
    for hole in fact.old_holes:
        y += row
        old_hole_sign(sheet, left + 6, y - row * 0.32, hole.state, knowledge=hole.knowledge, r=row * 0.33)
        sheet.words(left, y, hole.label, size=size, face=Face.BOLD)
        sheet.words(left + 27.2, y, along_text(hole.x_um), size=size, face=Face.MONO, anchor=Anchor.END)
        sheet.words(left + 47.5, y, across_text(hole.y_um), size=size, face=Face.MONO, anchor=Anchor.END)
        drill = "?" if hole.diameter_um is None else mm_text(hole.diameter_um)
        sheet.words(left + 58.5, y, f"Ø {drill}", size=size, face=Face.MONO, anchor=Anchor.END)
        words = f"{hole.state.value}, {hole.knowledge.value}"
        fitted(sheet, left + 60, y, words, size=size, room=width - 60, least=SMALL, cut=True)


_HEAD: Final = 23.0
_BAND: Final = 7.5
_INDENT: Final = 4.0
_HELD: Final = 4
"""A line of the record that goes on below stays on its page with so many lines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseBlock:
    """Lines that belong together under their heading; ``table``: their columns stand below each other."""

    heading: str
    lines: tuple[str, ...]
    table: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseSection:
    """A part of the case."""

    title: str
    blocks: tuple[CaseBlock, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseSheet:
    """Everything that the paper shows; no person is named in any of it.

    ``sha256`` is that of case.json, ``as_of`` the newest entry that it holds, ``head`` the one that names it.
    """

    pair: Pair
    sha256: str
    head: str
    as_of: int
    shop: str
    zone: str
    stands: str
    now: tuple[CaseSection, ...]
    story: tuple[CaseSection, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _TextRow:
    text: str
    face: Face
    size: float
    height: float
    indent: float = 0.0
    band: bool = False
    keep: bool = False
    """The row after this one must be on its page."""
    above: tuple["_TextRow", ...] = ()
    """The heads that are said again above it, where a page begins with it."""


def case_sheet_pdf(case: CaseSheet, *, printed_at: datetime, paper: str = "A4") -> bytes:
    """Return the case as PDF: hash of case.json, ledger head, cautions and number on every page."""
    size = paper_named(paper)
    anchors = Anchors(
        shop=case.shop,
        name=f"case {case.pair.tag}",
        head=case.head,
        printed_at=moment_text(printed_at, case.zone),
        as_of=f"ENTRY {case.as_of}",
    )
    notes = [
        "Names and free text are left out. A record, not an inspection: what the ledger does not know may"
        " still be in the ski. Exact lengths stand in case.json.",
        standing_cautions(),
    ]
    probe = framed(size, anchors, notes)
    room = probe.bottom - probe.top - _HEAD
    before = len(_split(_rows(case.now, probe.room), room))
    told = _split(_rows((*case.now, *case.story), probe.room), room)
    count = len(told) + 1
    pages: list[Page] = []
    for rows in (*told[:before], None, *told[before:]):
        sheet = framed(size, anchors, notes, len(pages) + 1, count)
        _case_head(sheet, case)
        if rows is None:
            _skis(sheet, case.pair)
        else:
            _text(sheet, rows)
        pages.append(sheet.page(sheet.width, sheet.height))
    return pdf_of(pages, title=f"Case {case.pair.tag}")


def _case_head(sheet: FramedSheet, case: CaseSheet) -> None:
    sheet.words(sheet.left, sheet.top + 7.5, "Case", size=TITLE, face=Face.BOLD)
    tag_words(sheet, sheet.left + 20, sheet.top + 7.5, case.pair.tag, size=TITLE, room=sheet.room - 22)
    below = sheet.top + 12.5
    paragraph(
        sheet, sheet.left, below, case.stands, size=9, room=sheet.room, step=3.6, face=Face.BOLD, most=2
    )
    sheet.words(sheet.left, sheet.top + 19.6, f"case.json {case.sha256}", size=8, face=Face.MONO, fill=SOFT)
    sheet.line(sheet.left, sheet.top + 21, sheet.right, sheet.top + 21, stroke=INK, width=0.7)


def _rows(sections: Iterable[CaseSection], room: float) -> Iterator[_TextRow]:
    for section in sections:
        yield _TextRow(text=section.title, face=Face.BOLD, size=12, height=_BAND, band=True, keep=True)
        for block in section.blocks:
            yield from _heading(block.heading, room)
            above = tuple(_heading(f"{block.heading}, continued", room))
            face, size, height = (Face.MONO, 8.0, 3.7) if block.table else (Face.SANS, 9.0, 4.1)
            for line in block.lines:
                head = block.table and line.lstrip().startswith(f"{HOLE_HEAD[0]} ")
                deep = _INDENT * (1 + (0 if block.table else (len(line) - len(line.lstrip())) / 2))
                folded = _folded(line, face, size, room - deep - _INDENT, block.table)
                for index, text in enumerate(folded):
                    indent = deep + (_INDENT if index else 0.0)
                    keep = head or 0 < len(folded) - index - 1 < _HELD
                    row = _TextRow(
                        text=text, face=face, size=size, height=height, indent=indent, keep=keep, above=above
                    )
                    yield row
                    above = (*above, replace(row, above=())) if head else above


def _heading(text: str, room: float) -> Iterator[_TextRow]:
    for line in wrapped(text, Face.BOLD, 9.5, room):
        yield _TextRow(text=line, face=Face.BOLD, size=9.5, height=5.4, keep=True)


def _folded(line: str, face: Face, size: float, room: float, table: bool) -> list[str]:
    """Return the line as it is where it is a table's and fits, so that its columns stay; else wrapped."""
    folded = wrapped(line, face, size, room)
    return [line] if table and len(folded) == 1 else folded


def _split(rows: Iterable[_TextRow], room: float) -> list[list[_TextRow]]:
    everything = list(rows)
    pages: list[list[_TextRow]] = [[]]
    used = 0.0
    for index, row in enumerate(everything):
        end = index + 1
        while end < len(everything) and everything[end - 1].keep:
            end += 1
        need = sum(one.height for one in everything[index:end])
        if used + need > room and pages[-1]:
            pages.append(list(row.above))
            used = sum(one.height for one in row.above)
        pages[-1].append(row)
        used += row.height
    return pages


def _text(sheet: FramedSheet, rows: Sequence[_TextRow]) -> None:
    y = sheet.top + _HEAD
    for row in rows:
        y += row.height
        if row.band:
            sheet.box(sheet.left, y - 6.2, sheet.room, 6.0, fill=ICE)
        x = sheet.left + (1.5 if row.band else row.indent)
        sheet.words(x, y - (1.9 if row.band else 0.8), row.text, size=row.size, face=row.face)


def _skis(sheet: FramedSheet, pair: Pair) -> None:
    """Draw both skis with every hole on record, each as high as the page."""
    top = sheet.top + _HEAD
    pictures = _both(sheet, pair, top, sheet.bottom - top - 17)
    for side, (_, left, wide, picture) in zip(Side, pictures, strict=True):
        ski = pair.skis[side]
        sheet.words(left, top + 4, f"SKI {side.value}", size=13, face=Face.BOLD)
        sheet.words(left + wide, top + 4, mark_words(ski), size=8, fill=SOFT, anchor=Anchor.END)
        picture.draw()
        if not ski.holes:
            words, middle = no_holes_words(ski), left + wide / 2 + 7
            half = width_mm(words, Face.BOLD, 9) / 2 + 1
            sheet.box(middle - half, top + 13, 2 * half, 5, fill=WHITE)
            sheet.words(middle, top + 16.6, words, size=9, face=Face.BOLD, anchor=Anchor.MIDDLE)
    x, y = sheet.left, sheet.bottom - 8.5
    sheet.line(x, y, sheet.right, y, stroke=RULE, width=0.2)
    sheet.words(x, y + 3.5, cautions.NOT_TO_SCALE, size=8, face=Face.BOLD)
    state_legend(sheet, x + 72, y + 2.5, r=1.3)
    unsure_sign(sheet, x + 72, y + 6.5, 1.3)
    sheet.words(x + 74.6, y + 7.5, UNSURE_WORDS, size=8)
    hatch_sign(sheet, x + 120, y + 6.5)
    sheet.words(x + 123.6, y + 7.5, NOT_INSPECTED_WORDS, size=8)
