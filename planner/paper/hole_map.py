"""The hole map of a pair on one page, for a ski that is sold and for a case.

Every hole of both skis as the ledger knows it: picture, table, how it is known, what nobody has looked at.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.units import across_text, along_text, mm_text
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair, Ski
from fleet.tables.snapshot import Fleet
from planner.paper import cautions
from planner.paper.pdf_writer import pdf_of
from planner.paper.shapes import INK, RULE, SMALL, SOFT, TITLE, Anchor, Face, Page
from planner.paper.sheet_frame import (
    Anchors,
    FramedSheet,
    Paper,
    framed,
    moment_text,
    paper_named,
    qr_code,
    standing_cautions,
    tag_words,
)
from planner.paper.signs import old_hole_sign
from planner.paper.ski_facts import SkiFact, not_inspected, old_hole
from planner.paper.ski_picture import SkiPicture
from planner.paper.ski_view.ski_words import mark_words, no_holes_words
from planner.paper.typeface import fitted, shortened, width_mm

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
    sheet.words(sheet.right, sheet.top + 6, "HOLE MAP", size=TITLE, face=Face.BOLD, anchor=Anchor.END)
    facts = f" · {mm_text(pair.length_mm * 100)} cm · {pair.mounts_text}"
    room = sheet.room - 19 - 97 - width_mm(facts, Face.SANS, 9)
    model = shortened(pair.model, Face.SANS, 9, room)
    sheet.words(sheet.right, sheet.top + 12, model + facts, size=9, anchor=Anchor.END)
    sheet.line(sheet.left, sheet.top + 17, sheet.right, sheet.top + 17, stroke=INK, width=0.7)
    top, width = sheet.top + 20, sheet.room / 2 - 4
    for column, side in enumerate(Side):
        left = sheet.left + column * (width + 8)
        ski = pair.skis[side]
        fact = map_fact(ski)
        sheet.words(left, top + 4, f"ski {side.value}", size=13, face=Face.BOLD)
        sheet.words(left + 18, top + 4, mark_words(ski), size=8, fill=SOFT)
        SkiPicture(
            sheet, fact, waist_um=pair.waist_um, left=left, top=top + 6, width=width, height=_PICTURE
        ).draw()
        _table(sheet, ski, fact, left, top + 8 + _PICTURE, width)
    return sheet.page(sheet.width, sheet.height)


def map_fact(ski: Ski) -> SkiFact:
    """Return the holes of one ski as its picture shows them: nothing to drill, nothing to plug."""
    from_the_tip = sorted(ski.holes, key=lambda hole: (-hole.x_um, hole.y_um, hole.hole_id))
    return SkiFact(
        sides=(ski.side,),
        screws=(),
        old_holes=tuple(map(old_hole, from_the_tip)),
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
