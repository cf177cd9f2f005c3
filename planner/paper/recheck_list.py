"""The recheck list as paper: every screw of every returned pair is a ring to be struck through.

The picture is the answer form. One stroke through a ring: did not turn. A filled ring with a number beside
it: turned, how far; then the pair is a hold. Rings drawn heavy, on a dark strip, are looked at first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final

from fleet.base.entries import Head
from fleet.base.units import counted, mm_text
from fleet.facts.holes import Side
from fleet.rules.recheck import Group, RecheckList, RecheckRow, ScrewDot
from planner.paper.ink import GARNET, GARNET_PALE, ICE, INK, LABEL, READ, RULE, SOFT, TITLE, WHITE
from planner.paper.moments import day_text, moment_text
from planner.paper.pdf_writer import pdf_of
from planner.paper.qr import qr_code
from planner.paper.shapes import Anchor, Face, Page
from planner.paper.sheet_frame import (
    LEAST_TAG,
    MARGIN,
    Anchors,
    FramedSheet,
    Paper,
    answer_box,
    paper_named,
    standing_cautions,
    tag_words,
)
from planner.paper.typeface import shortened, size_that_fits, width_mm, wrapped

_ROW: Final = 18.6
_STRIP: Final = 8.8
_RING: Final = 2.5
"""Radius of a ring, mm: 5 mm across, so that a wet pen can strike it (our own)."""
_LANE, _STAGGER, _PITCH = 1.75, 4.1, 8.4
"""Distances in mm that keep rings apart: a lane from the middle, the lower ring ahead of the upper one, one
station from the next."""
_BAND: Final = 7.0
_PICTURE: Final = 84.0
_SET_FOR: Final = 15.0
"""Room beside the tag for the sole length that the pair's bindings were last set for."""
_SIGN_ROW: Final = 14.0
_ONE_PLACE_UM: Final = 5_000
"""Screws of a piece so near along the ski stand at one place (our own)."""
_FOOT: Final = 22.0
"""The foot with its two lines of cautions."""
_REASON: Final = 10.0
"""Points; a reason is read at arm's length (our own)."""
_TITLES: Final = {
    Group.CHECK_FIRST: "Check first",
    Group.DUE: "Due",
    Group.ROUTINE: "Routine",
}
_WAITS: Final = {
    Group.CHECK_FIRST: "not one of these waits for tomorrow",
    Group.DUE: "longest since the last look",
    Group.ROUTINE: "back today; may wait, unpassed, if the evening is short",
}
_LINE: Final = 4.2
_Line = tuple[Face, str]
_Item = tuple[Group, int] | tuple[int, RecheckRow]


def recheck_pdf(
    listed: RecheckList,
    *,
    head: Head,
    shop: str,
    printed_at: datetime,
    paper: str = "A4",
    not_drawn: Sequence[str] = (),
) -> bytes:
    """Return the list as PDF: at least one page, even when nothing came back.

    ``not_drawn``: pairs that are on the list and have no row here; the last page names them.
    """
    anchors = Anchors(
        shop=shop,
        name=listed.list_id,
        head=str(head),
        plan_hash="",
        printed_at=moment_text(printed_at, listed.zone),
        stale_after=f"{day_text(listed.day)}, or when one more pair comes back",
        proposal=False,
    )
    size = paper_named(paper)
    chunks = _split(listed, size)
    tails = _tails(_tail_lines(listed, not_drawn, size), chunks[-1], size)
    chunks += [[] for _ in tails[1:]]
    tails = [*([[]] * (len(chunks) - len(tails))), *tails]
    pages = (
        _page(listed, anchors, size, chunk, tail, number, len(chunks))
        for number, (chunk, tail) in enumerate(zip(chunks, tails, strict=True), start=1)
    )
    return pdf_of(pages, title=f"Screw recheck {listed.list_id}")


def _items(listed: RecheckList) -> Iterator[_Item]:
    number = 0
    for group in Group:
        rows = [row for row in listed.rows if row.group is group]
        if rows:
            yield (group, len(rows))
        for row in rows:
            number += 1
            yield (number, row)


def _split(listed: RecheckList, paper: Paper) -> list[list[_Item]]:
    """Return pages of items. A group's band is never the last thing on a page."""
    room = _room(paper)
    pages: list[list[_Item]] = [[]]
    used = 0.0
    for item in _items(listed):
        band = isinstance(item[0], Group)
        need = _BAND if band else _ROW
        if used + need + (_ROW if band else 0.0) > room and pages[-1]:
            pages.append([])
            used = 0.0
            if isinstance(item[1], RecheckRow):  # its band again, so that the page says what waits
                pages[-1].append((item[1].group, listed.count(item[1].group)))
                used += _BAND
        pages[-1].append(item)
        used += need
    return pages


def _room(paper: Paper) -> float:
    """Return the height for rows and lines of one page, mm."""
    return paper.size_mm[1] - 9.0 - _HEAD - _FOOT - _SIGN_ROW - 2.0


_HEAD: Final = 41.5


def _page(
    listed: RecheckList,
    anchors: Anchors,
    paper: Paper,
    items: Sequence[_Item],
    tail: Sequence[_Line],
    page: int,
    pages: int,
) -> Page:
    sheet = FramedSheet(paper, proposal=False)
    sheet.finish(anchors, [standing_cautions()], page, pages)
    _head(sheet, listed, sum(isinstance(item[1], RecheckRow) for item in items))
    y = sheet.top + _HEAD
    if not listed.rows and not any(face is Face.BOLD for face, _ in tail):
        sheet.words(
            sheet.left, y + 9, "Nothing came back that was not passed.", size=TITLE - 4, face=Face.BOLD
        )
    for first, second in items:
        if isinstance(first, Group):
            _band(sheet, first, int(second) if isinstance(second, int) else 0, y)
            y += _BAND
        elif isinstance(second, RecheckRow):
            _row(sheet, first, second, y)
            y += _ROW
    if not listed.rows:
        y += _BAND * 2
    for index, (face, line) in enumerate(tail, start=1):
        sheet.words(sheet.left, y + 0.7 + _LINE * index, line, size=9, face=face)
    _signatures(sheet)
    return sheet.page(sheet.width, sheet.height)


def _head(sheet: FramedSheet, listed: RecheckList, here: int) -> None:
    y = sheet.top
    sheet.add(qr_code(listed.list_id, sheet.left, y + 0.5, 16.5))
    x = sheet.left + 20.5
    sheet.words(x, y + 7.6, "Screw recheck", size=TITLE + 4, face=Face.BOLD)
    sheet.words(x, y + 13.4, day_text(listed.day), size=14, face=Face.BOLD)
    sheet.words(
        x,
        y + 18.0,
        f"list {listed.list_id} · {here} of {len(listed.rows)} pairs on this page",
        size=9,
        fill=SOFT,
    )
    first = listed.count(Group.CHECK_FIRST)
    figures = [
        (str(len(listed.rows)), "pairs", False),
        (str(first), "check first", first > 0),
        (_hours(listed.minutes), "the whole list", False),
    ]
    right = sheet.right
    for text, label, loud in reversed(figures):
        ink, face = (GARNET, Face.BOLD) if loud else (SOFT, Face.SANS)
        sheet.words(
            right, y + 11.0, text, size=25, face=Face.BOLD, fill=GARNET if loud else INK, anchor=Anchor.END
        )
        sheet.words(right, y + 15.6, label, size=9, fill=ink, face=face, anchor=Anchor.END)
        right -= max(width_mm(text, Face.BOLD, 25), width_mm(label, face, 9)) + 7
    sheet.line(sheet.left, y + 20.4, sheet.right, y + 20.4, stroke=INK, width=0.9)
    _key(sheet, y + 23.0)
    top = y + _HEAD - 1.6
    sheet.words(sheet.left, top, "pair", size=LABEL, fill=SOFT)
    picture = _picture_left(sheet)
    for piece in ("heel", "toe"):
        middle = picture + _PICTURE * _MIDDLE[piece]
        sheet.words(middle, top, piece.upper(), size=LABEL, face=Face.BOLD, anchor=Anchor.MIDDLE)
    tip = picture + _PICTURE - 1
    sheet.words(tip - 3, top, "TIP", size=LABEL, face=Face.BOLD, anchor=Anchor.END)
    sheet.poly([(tip - 2, top - 2.1), (tip + 0.4, top - 1.0), (tip - 2, top + 0.1)], fill=INK)
    for at, text in zip(_result_x(sheet), ("PASS", "HOLD"), strict=True):
        sheet.words(at + 5.0, top, text, size=LABEL, face=Face.BOLD, anchor=Anchor.MIDDLE)
    sheet.words(sheet.right, top, "initials", size=LABEL, fill=SOFT, anchor=Anchor.END)
    sheet.line(sheet.left, y + _HEAD, sheet.right, y + _HEAD, stroke=INK, width=0.5)


def _key(sheet: FramedSheet, y: float) -> None:
    """Draw the key: every answer as it is written, shown and said."""
    third = sheet.room / 3
    keys = (
        ("Did not turn", "one stroke through the ring"),
        ("Turned", "fill it, write how far: HOLD"),
        ("Spins, missing, cracked", "fill it, circle it: HOLD"),
    )
    for index, (lead, what) in enumerate(keys):
        x = sheet.left + index * third
        cx, cy = x + 3.4, y + 5.6
        sheet.disc(cx, cy, 2.1, fill=INK if index else WHITE, stroke=INK, width=0.35)
        if index == 0:
            sheet.line(cx - 2.8, cy + 2.2, cx + 2.8, cy - 2.2, stroke=INK, width=0.7)
        if index == 1:
            sheet.words(cx + 2.6, cy - 1.3, "½", size=9, face=Face.BOLD)
        if index == 2:
            sheet.disc(cx, cy, 3.3, stroke=INK, width=0.5)
        sheet.words(x + 9, y + 5.0, lead, size=READ, face=Face.BOLD)
        sheet.words(x + 9, y + 9.2, what, size=9)
    rule = (
        "Every screw of both skis by hand, fitting driver; wobble each piece; ask what the renter said. "
        "Any movement is a hold. PASS is for the whole pair."
    )
    size = size_that_fits(rule, Face.BOLD, 8.5, sheet.room, least=6)
    sheet.words(sheet.left, y + 13.0, rule, size=size, face=Face.BOLD)


def _hours(minutes: int) -> str:
    return f"{minutes} min" if minutes < 100 else f"{minutes // 60}:{minutes % 60:02d} h"


def _picture_left(sheet: FramedSheet) -> float:
    return sheet.right - 47.0 - _PICTURE


def _result_x(sheet: FramedSheet) -> tuple[float, float]:
    return (sheet.right - 43.5, sheet.right - 31.0)


def _band(sheet: FramedSheet, group: Group, count: int, y: float) -> None:
    loud = group is Group.CHECK_FIRST
    sheet.box(sheet.left, y + 0.2, sheet.room, _BAND - 0.4, fill=GARNET if loud else ICE)
    ink = WHITE if loud else INK
    sheet.words(sheet.left + 2, y + 5.0, _TITLES[group], size=READ + 1, face=Face.BOLD, fill=ink)
    sheet.words(sheet.left + 32, y + 4.9, _WAITS[group], size=9, fill=ink)
    sheet.words(
        sheet.right - 2, y + 5.0, str(count), size=READ + 1, face=Face.BOLD, fill=ink, anchor=Anchor.END
    )


def _row(sheet: FramedSheet, number: int, row: RecheckRow, y: float) -> None:
    x = sheet.left
    picture = _picture_left(sheet)
    room = picture - x - 6
    sheet.words(x, y + 5.0, f"{number}", size=8, fill=SOFT)
    said = row.reasons
    beside = 0.0
    if width_mm(row.tag, Face.MONO_BOLD, LEAST_TAG) <= room - 6 - _SET_FOR:
        beside = _SET_FOR
        sheet.words(x + room, y + 2.6, "stands at", size=6.5, fill=SOFT, anchor=Anchor.END)
        sheet.words(x + room, y + 5.6, row.setting.words, size=8, face=Face.BOLD, anchor=Anchor.END)
    else:  # a long tag needs the whole width
        said = (row.stands, *said)
    tag_words(sheet, x + 6, y + 5.4, row.tag, size=16, room=room - 6 - beside)
    place = f"{row.rack + ' · ' if row.rack else ''}{mm_text(row.length_mm * 100)} cm · {row.model}"
    sheet.words(x + 6, y + 8.7, shortened(place, Face.SANS, 7.5, room - 6), size=7.5, fill=SOFT)
    face = Face.BOLD if row.group is Group.CHECK_FIRST else Face.SANS
    lines = _reasons(said, face, room - 6)
    for index, line in enumerate(lines):
        sheet.words(
            x + 6, y + (12.6 if len(lines) > 1 else 13.6) + 3.9 * index, line, size=_REASON, face=face
        )
    for index, side in enumerate(Side):
        _strip(sheet, row, side, picture, y + 0.4 + index * (_STRIP + 0.2))
    for at in _result_x(sheet):
        answer_box(sheet, at, y + 4.2, 10.0, 10.0)
    sheet.line(sheet.right - 17.5, y + 14.2, sheet.right, y + 14.2, stroke=SOFT, width=0.25)
    sheet.line(sheet.left, y + _ROW, sheet.right, y + _ROW, stroke=RULE, width=0.25)


def _reasons(reasons: Sequence[str], face: Face, room: float) -> list[str]:
    """Return two lines at most. The longest reason is cut first, so that no long remark hides another."""
    kept = [reason if len(reason) <= 160 else f"{reason[:160]}…" for reason in reasons]
    while len(lines := wrapped("; ".join(kept), face, _REASON, room)) > 2:
        longest = max(range(len(kept)), key=lambda n: len(kept[n]))
        if len(kept[longest]) < 12:
            return [lines[0], shortened(" ".join(lines[1:]), face, _REASON, room)]
        kept[longest] = f"{kept[longest][:-3].rstrip()}…"
    return lines


def _strip(sheet: FramedSheet, row: RecheckRow, side: Side, x: float, y: float) -> None:
    """Draw one ski lying across the page, tip to the right, with a ring for each screw."""
    h = _STRIP
    sheet.box(x, y, _PICTURE, h, fill=ICE, stroke=SOFT, width=0.2, radius=1.6)
    sheet.words(x - 1.2, y + 5.6, side.value, size=9, face=Face.BOLD, anchor=Anchor.END)
    dots = row.screws.get(side, ())
    laid = {
        piece: laid_out([dot for dot in dots if dot.piece == piece])
        for piece in dict.fromkeys(dot.piece for dot in dots)
    }
    for piece in ("heel", "toe", "plate"):
        if (side, piece) in row.marked:
            width = 2 * _reach(laid.get(piece, ())) + 2.4
            left = x + _PICTURE * _MIDDLE[piece] - width / 2
            sheet.box(left, y + 0.3, width, h - 0.6, fill=GARNET_PALE, stroke=GARNET, width=0.7, radius=1.2)
    if not dots:
        sheet.words(
            x + _PICTURE / 2,
            y + 5.6,
            "screws not in the ledger: look at every one",
            size=8,
            fill=SOFT,
            anchor=Anchor.MIDDLE,
        )
        return
    for piece, rings in laid.items():
        for along, across, dot in rings:
            sheet.disc(
                x + _PICTURE * _MIDDLE[piece] + along,
                y + h / 2 + across,
                _RING,
                fill=WHITE,
                stroke=GARNET if dot.marked else INK,
                width=0.75 if dot.marked else 0.3,
            )


_MIDDLE: Final = {"heel": 0.21, "plate": 0.5, "toe": 0.76}
"""The middle of a piece along the strip, as a share; HEEL and TOE above the rows stand there too."""


def _reach(rings: Sequence[tuple[float, float, ScrewDot]]) -> float:
    """Return how far rings reach from the middle of their piece, mm."""
    return max((abs(along) for along, _, _ in rings), default=10.0) + _RING


def laid_out(dots: Sequence[ScrewDot]) -> list[tuple[float, float, ScrewDot]]:
    """Return the middles of one piece's rings from the middle of the piece, mm: right order, no scale.

    Tip to the right, so the ski's right side is at the bottom. Holes at one place along the ski stand one
    above the other, the lower one ahead; more than two of them begin a new column.
    """
    columns: list[list[ScrewDot]] = []
    for dot in sorted(dots, key=lambda dot: (dot.x_um, dot.y_um)):
        beside = columns and abs(columns[-1][0].x_um - dot.x_um) <= _ONE_PLACE_UM and len(columns[-1]) < 2
        if beside and min(columns[-1][0].y_um, dot.y_um) < max(columns[-1][0].y_um, dot.y_um):
            columns[-1].append(dot)
        else:
            columns.append([dot])
    start = -(_PITCH * (len(columns) - 1) + _STAGGER) / 2
    placed = []
    for index, column in enumerate(columns):
        left = start + _PITCH * index
        if len(column) == 1:
            placed.append((left + _STAGGER / 2, 0.0, column[0]))
            continue
        upper, lower = sorted(column, key=lambda dot: dot.y_um)
        placed += [(left, -_LANE, upper), (left + _STAGGER, _LANE, lower)]
    return placed


def _tail_lines(listed: RecheckList, not_drawn: Sequence[str], paper: Paper) -> list[_Line]:
    """Return the lines under the list: pairs not drawn, pairs fresh from the bench, pairs still out."""
    notes = [(Face.BOLD, f"ALSO ON THIS LIST, not drawn: look at every screw of {tag}") for tag in not_drawn]
    if listed.second_check:
        fresh = f"Fresh from the bench, waiting for a second person: {', '.join(listed.second_check)}."
        notes.append((Face.SANS, fresh))
    if listed.out:
        named = "; ".join(out.words for out in listed.out)
        notes.append((Face.SANS, f"{counted(listed.still_out, 'pair')} still out at this head: {named}."))
    room = paper.size_mm[0] - 2 * MARGIN
    return [(face, line) for face, note in notes for line in wrapped(note, face, 9, room)]


def _tails(lines: Sequence[_Line], last: Sequence[_Item], paper: Paper) -> list[list[_Line]]:
    """Return the lines that fit under the last page's rows, then those of further pages."""
    used = sum(_BAND if isinstance(item[0], Group) else _ROW for item in last) or _BAND * 2
    fits = max(int((_room(paper) - used) / _LINE), 0)
    more = int(_room(paper) / _LINE) - 3
    rest = lines[fits:]
    return [list(lines[:fits]), *(list(rest[at : at + more]) for at in range(0, len(rest), more))]


def _signatures(sheet: FramedSheet) -> None:
    h = _SIGN_ROW
    y = sheet.bottom - h
    x = sheet.left
    cells = (
        ("this page: passed", 0.15),
        ("held", 0.12),
        ("not found", 0.13),
        ("checked by: name, time", 0.30),
        ("hold tags hung on both skis, seen by", 0.30),
    )
    for title, share in cells:
        w = sheet.room * share
        sheet.box(x, y, w, h, fill=WHITE, stroke=INK, width=0.35)
        sheet.words(x + 1.6, y + 3.4, title, size=LABEL, face=Face.BOLD)
        x += w
