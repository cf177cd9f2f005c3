"""The recheck list as paper: every screw of every returned pair is a ring to be struck through.

The picture is the answer form. One stroke through a ring: not moved. A filled ring with a number beside it:
turned, how far; then the pair is a hold. Rings drawn heavy, on a dark strip, are looked at first.

The rings of a ski's screws have the right arrangement and no scale: a ring takes the stroke of a wet pen and
no other ring touches it. Seen with the tip to the right, so that the ski's right side is at the bottom.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from itertools import pairwise
from typing import Final

from fleet.base.days import day_text
from fleet.base.entries import Head
from fleet.base.errors import BadInput
from fleet.base.units import mm_text
from fleet.facts.holes import Side
from fleet.rules.looks import Found
from fleet.rules.recheck import Group, RecheckList, RecheckRow, ScrewDot, UnreturnedPair
from planner.paper.shapes import (
    GARNET,
    GARNET_PALE,
    ICE,
    INK,
    LABEL,
    READ,
    RULE,
    SMALL,
    SOFT,
    TITLE,
    WHITE,
    Anchor,
    Face,
    Page,
    fitted,
    shortened,
    stacked,
    width_mm,
    wrapped,
)
from planner.paper.sheet_frame import (
    LEAST_TAG,
    Anchors,
    FramedSheet,
    Paper,
    answer_box,
    framed,
    moment_text,
    paper_named,
    pdf_of,
    qr_code,
    signature_row,
    standing_cautions,
    tag_words,
)

RING_R: Final = 2.5
"""Millimetres. A felt pen's stroke through a smaller ring fills it: own choice, no source."""
RING_STROKE: Final = 0.6
"""The heaviest stroke of a ring."""
_STEP: Final = 2 * RING_R + RING_STROKE + 0.3
"""From centre to centre of two rings."""
_EDGE: Final = RING_R + RING_STROKE / 2 + 0.25
"""From a ring's centre to the edge of the strip, or of its piece."""
NAME_WIDE: Final = 3.4
"""Room before each piece for its name, turned upright."""
_SPREAD: Final = 10.0
"""From screw to screw along the ski, where there is room."""
_SAME_UM: Final = 3_000
"""Screws that lie less far apart along the ski stand in one row across it."""
_MOST_ACROSS: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRings:
    """One piece: its stretch of the strip, and its rings' centres from the strip's top left corner (mm)."""

    piece: str
    left: float
    width: float
    rings: tuple[tuple[float, float, ScrewDot], ...]


_Row = list[ScrewDot]


def rings_of(dots: Sequence[ScrewDot], width: float) -> tuple[float, tuple[PieceRings, ...]]:
    """Return the height of the strip (mm) and the pieces on it, tail first.

    Where the rows do not fit beside each other, neighbours share one, in order: the strip grows higher.
    Raises BadInput where even that does not hold them.
    """
    pieces = {name: [dot for dot in dots if dot.piece == name] for name in {dot.piece for dot in dots}}
    order = sorted(pieces, key=lambda name: (sum(dot.x_um for dot in pieces[name]) / len(pieces[name]), name))
    for across in range(1, _MOST_ACROSS + 1):
        rows = {name: _rows(pieces[name], across) for name in order}
        free = width - sum(NAME_WIDE + _wide(rows[name], _STEP) for name in order)
        if free >= 0:
            break
    else:
        raise BadInput(f"{len(dots)} screws of one ski are more than the picture holds")
    most = max((len(row) for name in order for row in rows[name]), default=2)
    height = (max(most, 2) - 1) * _STEP + 2 * _EDGE
    wish = sum((len(rows[name]) - 1) * (_SPREAD - _STEP) for name in order)
    step = _STEP + (_SPREAD - _STEP) * (min(1.0, free / wish) if wish else 0.0)
    gap = (width - sum(NAME_WIDE + _wide(rows[name], step) for name in order)) / (len(order) + 1)
    drawn, left = [], 0.0
    for name in order:
        left += gap + NAME_WIDE
        drawn.append(_piece(name, rows[name], left, step, height))
        left += drawn[-1].width
    return height, tuple(drawn)


def _wide(rows: Sequence[_Row], step: float) -> float:
    return (len(rows) - 1) * step + 2 * _EDGE


def _rows(dots: Sequence[ScrewDot], across: int) -> list[_Row]:
    """Return the rows across the ski, tail first, each from left to right; small neighbours joined."""
    rows: list[_Row] = []
    for dot in sorted(dots, key=lambda dot: (dot.x_um, dot.y_um)):
        if rows and dot.x_um - rows[-1][0].x_um < _SAME_UM and len(rows[-1]) < _MOST_ACROSS:
            rows[-1].append(dot)
        else:
            rows.append([dot])
    joined = rows[:1]
    for row in rows[1:]:
        if len(joined[-1]) + len(row) <= across:
            joined[-1] = [*joined[-1], *row]
        else:
            joined.append(row)
    return [sorted(row, key=lambda dot: (dot.y_um, dot.x_um)) for row in joined]


def _piece(name: str, rows: Sequence[_Row], left: float, step: float, height: float) -> PieceRings:
    half = height / 2 - _EDGE
    widest = max(1, *(abs(dot.y_um) for row in rows for dot in row))
    rings = [
        (left + _EDGE + index * step, height / 2 + y, dot)
        for index, row in enumerate(rows)
        for y, dot in zip(_across([half * dot.y_um / widest for dot in row], half), row, strict=True)
    ]
    return PieceRings(piece=name, left=left, width=_wide(rows, step), rings=tuple(rings))


def _across(wished: Sequence[float], half: float) -> list[float]:
    """Return places near the wished ones (ascending) that keep a ring's distance, within the strip."""
    if all(after - before >= _STEP for before, after in pairwise(wished)):
        return list(wished)
    reach = (len(wished) - 1) * _STEP / 2
    middle = max(reach - half, min(half - reach, sum(wished) / len(wished)))
    return [middle - reach + index * _STEP for index in range(len(wished))]


_HEAD: Final = 40.0
_BAND: Final = 6.0
_PICTURE: Final = 84.0
_SET_FOR: Final = 15.0
"""Room beside the tag for the sole length that the pair's bindings were last set for."""
_LEADING: Final = 4.5
_FIRST_REASON: Final = 14.2
"""From the row's top to the first line of why the pair is on the list."""
_GAP: Final = 0.6
_SIGN_ROW: Final = 14.0
_FOOT: Final = 22.0
"""The foot with its two lines of cautions."""
_LONGEST_REMARK: Final = 300
_TITLES: Final = {
    Group.CHECK_FIRST: "Check first",
    Group.DUE: "Due",
    Group.ROUTINE: "Routine",
}
_WAITS: Final = {
    Group.CHECK_FIRST: "not one of these waits for tomorrow; heavy rings first",
    Group.DUE: "longest since the last look",
    Group.ROUTINE: "may wait, unpassed, if the evening is short",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Item:
    """Something drawn from a place downward; ``pairs``: rows of the list in it."""

    height: float
    draw: Callable[[FramedSheet, float], None]
    pairs: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Section:
    """A part of the list under its band, which is repeated on every page that the part reaches."""

    title: str
    note: str = ""
    count: int | None = None
    loud: bool = False
    items: tuple[_Item, ...]


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
    pages = recheck_pages(
        listed, head=head, shop=shop, printed_at=printed_at, paper=paper, not_drawn=not_drawn
    )
    return pdf_of(pages, title=f"Screw recheck {listed.list_id}")


def recheck_pages(
    listed: RecheckList,
    *,
    head: Head,
    shop: str,
    printed_at: datetime,
    paper: str = "A4",
    not_drawn: Sequence[str] = (),
) -> list[Page]:
    """Return the pages as shapes, for the writers and the tests."""
    anchors = Anchors(
        shop=shop,
        name=listed.list_id,
        head=head.full,
        printed_at=moment_text(printed_at, listed.zone),
        stale_after=day_text(listed.day),
    )
    made = paper_named(paper)
    pages = _split(_sections(listed, FramedSheet(made, proposal=False), not_drawn), made, listed)
    return [
        _page(listed, anchors, made, items, number, len(pages)) for number, items in enumerate(pages, start=1)
    ]


def _sections(listed: RecheckList, probe: FramedSheet, not_drawn: Sequence[str]) -> Iterator[_Section]:
    """Yield the parts of the list from the worst to what is only told; none of them is cut short."""
    number = 0
    for group in Group:
        rows = [row for row in listed.rows if row.group is group]
        items = tuple(_row_item(n, row, probe) for n, row in enumerate(rows, start=number + 1))
        number += len(rows)
        yield _Section(
            title=_TITLES[group],
            note=_WAITS[group],
            count=len(rows),
            loud=group is Group.CHECK_FIRST,
            items=items,
        )
    also = [f"not drawn: look at every screw of {tag}" for tag in not_drawn]
    yield _Section(
        title="Also on this list", count=len(also), loud=True, items=_lines(also, probe, Face.BOLD)
    )
    if not listed.rows and not not_drawn:
        since = f" since {listed.supplement_to}" if listed.supplement_to else ""
        nothing = f"Nothing came back{since} that was not passed."
        nothing = f"No pair of rack {listed.rack} waits for a look." if listed.rack else nothing
        yield _Section(title="", items=_lines([nothing], probe, Face.BOLD))
    elif listed.rack:
        typed = f'mountbook recheck enter "{listed.list_id}" --but TAG --by NAME'
        yield _Section(title="To be entered, where nothing moved", items=_lines([typed], probe))
    if listed.rack:
        return
    yield _Section(title="Still out", count=len(listed.out), items=_names(listed.out, listed.day, probe))
    others = []
    if listed.second_check:
        others.append(f"Fresh from the bench, waiting for a second person: {', '.join(listed.second_check)}.")
    if listed.never_back:
        words = listed.never_back_words
        others.append(f"{words[0].upper()}{words[1:]}.")
    later = f"mountbook recheck print --since {listed.list_id}"
    others.append(f"For what comes back later print the supplement: {later}")
    yield _Section(title="Not on this list", items=_lines(others, probe))


def _lines(texts: Sequence[str], probe: FramedSheet, face: Face = Face.SANS) -> tuple[_Item, ...]:
    return tuple(
        _Item(height=_LEADING, draw=partial(_cells, cells=[line], face=face))
        for text in texts
        for line in wrapped(text, face, READ, probe.room - 4)
    )


def _names(out: Sequence[UnreturnedPair], day: date, probe: FramedSheet) -> tuple[_Item, ...]:
    """Return the pairs that are out, beside each other where their tags are short."""
    texts = [f"{pair.tag}  {pair.due_words(day)}" for pair in out]
    widest = max((width_mm(text, Face.SANS, READ) for text in texts), default=0.0)
    columns = max(1, int((probe.room - 4) // (widest + 6)))
    if columns == 1:
        return _lines(texts, probe)
    rows = [texts[start : start + columns] for start in range(0, len(texts), columns)]
    return tuple(
        _Item(height=_LEADING, draw=partial(_cells, cells=row, wide=(probe.room - 4) / columns))
        for row in rows
    )


def _cells(
    sheet: FramedSheet, y: float, *, cells: Sequence[str], wide: float = 0.0, face: Face = Face.SANS
) -> None:
    for index, cell in enumerate(cells):
        sheet.words(sheet.left + 2 + index * wide, y + 3.7, cell, size=READ, face=face)


def _split(sections: Iterable[_Section], paper: Paper, listed: RecheckList) -> list[list[_Item]]:
    """Return pages of items. A band is never the last thing on a page, and stands again on the next."""
    room = paper.size_mm[1] - 9.0 - _HEAD - _FOOT - _SIGN_ROW - 2.0
    room -= _BAND if listed.supplement_to else 0.0
    pages: list[list[_Item]] = [[]]
    used = 0.0
    for section in sections:
        for index, item in enumerate(section.items):
            band = _BAND if section.title else 0.0
            full = pages[-1] and used + item.height + (band if index == 0 else 0.0) > room
            if full:
                pages.append([])
                used = 0.0
            if band and (full or index == 0):
                pages[-1].append(_Item(height=band, draw=partial(_band, section=section, again=index > 0)))
                used += band
            pages[-1].append(item)
            used += item.height
    return pages


def _page(
    listed: RecheckList, anchors: Anchors, paper: Paper, items: Sequence[_Item], page: int, pages: int
) -> Page:
    sheet = framed(paper, anchors, [standing_cautions()], page, pages)
    _head(sheet, listed, sum(item.pairs for item in items))
    y = sheet.top + _HEAD
    if listed.supplement_to:
        _supplement_band(sheet, listed.supplement_to, y)
        y += _BAND
    for item in items:
        item.draw(sheet, y)
        y += item.height
    signature_row(sheet, _SIGN_ROW, _SIGNATURES)
    return sheet.page(sheet.width, sheet.height)


def _head(sheet: FramedSheet, listed: RecheckList, here: int) -> None:
    y = sheet.top
    sheet.add(qr_code(listed.list_id, sheet.left, y + 0.5, 16.5))
    x = sheet.left + 20.5
    day = f"{day_text(listed.day)}{f', rack {listed.rack}' if listed.rack else ''}"
    on_page = f"list {listed.list_id} · {here} of {len(listed.rows)} pairs on this page"
    stacked(
        sheet,
        x,
        y,
        (
            (7.6, "Screw recheck", TITLE + 4, Face.BOLD, INK),
            (13.4, day, 14, Face.BOLD, INK),
            (18.0, on_page, 9, Face.SANS, SOFT),
        ),
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
        stacked(
            sheet,
            right,
            y,
            ((11.0, text, 25, Face.BOLD, GARNET if loud else INK), (15.6, label, 9, face, ink)),
            anchor=Anchor.END,
        )
        right -= max(width_mm(text, Face.BOLD, 25), width_mm(label, face, 9)) + 7
    sheet.line(sheet.left, y + 20.4, sheet.right, y + 20.4, stroke=INK, width=0.9)
    _key(sheet, y + 23.0)
    top = y + _HEAD - 1.6
    sheet.words(sheet.left, top, "pair", size=LABEL, fill=SOFT)
    tip = _picture_left(sheet) + _PICTURE - 1
    sheet.words(tip - 3, top, "TIP", size=LABEL, face=Face.BOLD, anchor=Anchor.END)
    sheet.poly([(tip - 2, top - 2.1), (tip + 0.4, top - 1.0), (tip - 2, top + 0.1)], fill=INK)
    for at, text in zip(_result_x(sheet), ("PASS", "HOLD"), strict=True):
        sheet.words(at + 5.0, top, text, size=LABEL, face=Face.BOLD, anchor=Anchor.MIDDLE)
    sheet.words(sheet.right, top, "initials", size=LABEL, fill=SOFT, anchor=Anchor.END)
    sheet.line(sheet.left, y + _HEAD, sheet.right, y + _HEAD, stroke=INK, width=0.5)


def _key(sheet: FramedSheet, y: float) -> None:
    """Draw the key: every answer as it is written, in the words in which it is entered."""
    start, middle, others = Anchor.START, Anchor.MIDDLE, f"{Found.SPINS}, {Found.MISSING}, {Found.CRACKED}"
    keys = (
        (Found.NOT_MOVED.value, "one stroke through it", 0.22, WHITE, "", 0.0, 0.0, start),
        (Found.TURNED.value, "fill it, write how far: HOLD", 0.25, INK, "½", 2.3, -1.2, start),
        (others, "fill it, circle it, S, M or C: HOLD", 0.30, INK, "S", 3.1, -1.2, start),
        (Found.COULD_NOT_REACH.value, "write ? in it: no PASS", 0.23, WHITE, "?", 0.0, 1.2, middle),
    )
    x = sheet.left
    for lead, what, share, fill, sign, right, down, anchor in keys:
        cx, cy = x + 3.2, y + 5.2
        sheet.disc(cx, cy, 2.1, fill=fill, stroke=INK, width=0.35)
        if lead == Found.NOT_MOVED:
            sheet.line(cx - 2.8, cy + 2.2, cx + 2.8, cy - 2.2, stroke=INK, width=0.7)
        if lead == others:
            sheet.disc(cx, cy, 3.1, stroke=INK, width=0.5)
        sheet.words(cx + right, cy + down, sign, size=9, face=Face.BOLD, anchor=anchor)
        text = lead[0].upper() + lead[1:]
        sheet.words(x + 9.4, y + 4.6, text, size=READ, face=Face.BOLD)
        sheet.words(x + 9.4, y + 8.6, what, size=8)
        x += sheet.room * share
    rule = (
        "Every screw of both skis by hand, fitting driver; wobble each piece; ask what the renter said. "
        "Any movement is a hold. PASS is for the whole pair."
    )
    fitted(sheet, sheet.left, y + 12.3, rule, size=8.5, room=sheet.room, least=SMALL, face=Face.BOLD)


def _hours(minutes: int) -> str:
    return f"{minutes} min" if minutes < 100 else f"{minutes // 60}:{minutes % 60:02d} h"


def _picture_left(sheet: FramedSheet) -> float:
    return sheet.right - 47.0 - _PICTURE


def _result_x(sheet: FramedSheet) -> tuple[float, float]:
    return (sheet.right - 43.5, sheet.right - 31.0)


def _band(sheet: FramedSheet, y: float, *, section: _Section, again: bool) -> None:
    sheet.box(sheet.left, y + 0.2, sheet.room, _BAND - 0.4, fill=GARNET if section.loud else ICE)
    ink = WHITE if section.loud else INK
    title = f"{section.title}, continued" if again else section.title
    sheet.words(sheet.left + 2, y + 4.5, title, size=READ + 1, face=Face.BOLD, fill=ink)
    shift = max(30.0, width_mm(title, Face.BOLD, READ + 1) + 4)
    sheet.words(sheet.left + 2 + shift, y + 4.4, section.note, size=9, fill=ink)
    count = "" if section.count is None else str(section.count)
    sheet.words(sheet.right - 2, y + 4.5, count, size=READ + 1, face=Face.BOLD, fill=ink, anchor=Anchor.END)


def _supplement_band(sheet: FramedSheet, list_id: str, y: float) -> None:
    sheet.box(sheet.left, y + 0.2, sheet.room, _BAND - 0.4, fill=INK)
    text = f"SUPPLEMENT to {list_id}: only what came since that list. Both lists belong together."
    sheet.words(sheet.left + 2, y + 4.5, text, size=READ, face=Face.BOLD, fill=WHITE)


def _row_item(number: int, row: RecheckRow, probe: FramedSheet) -> _Item:
    """Return a row as high as its picture and its reasons need."""
    room = _picture_left(probe) - probe.left - 6
    reasons: tuple[str, ...] = tuple(map(_not_too_long, row.reasons))
    beside = (
        width_mm(row.tag, Face.MONO_BOLD, LEAST_TAG) <= room - 6 - _SET_FOR
        and width_mm(row.setting.words, Face.BOLD, 8) <= _SET_FOR
    )
    if not beside:  # a long tag needs the whole width, and so do skis that differ
        reasons = (row.setting.set_for, *reasons)
    face = Face.BOLD if row.group is Group.CHECK_FIRST else Face.SANS
    why = wrapped("; ".join(reasons), face, READ, room - 6)
    strips = tuple(rings_of(row.screws.get(side, ()), _PICTURE) for side in Side)
    pictured = sum(height for height, _ in strips) + 2 * _GAP
    said = _FIRST_REASON + _LEADING * (len(why) - 1) + 1.8

    def draw(sheet: FramedSheet, y: float) -> None:
        x = sheet.left
        sheet.words(x, y + 5.4, f"{number}", size=8, fill=SOFT)
        if beside:
            sheet.words(x + room, y + 2.9, "set for sole", size=SMALL, fill=SOFT, anchor=Anchor.END)
            sheet.words(x + room, y + 5.9, row.setting.words, size=8, face=Face.BOLD, anchor=Anchor.END)
        tag_words(sheet, x + 6, y + 5.7, row.tag, size=16, room=room - 6 - (_SET_FOR if beside else 0.0))
        place = f"{row.rack + ' · ' if row.rack else ''}{mm_text(row.length_mm * 100)} cm · {row.model}"
        sheet.words(x + 6, y + 9.2, shortened(place, Face.SANS, 7.5, room - 6), size=7.5, fill=SOFT)
        for index, line in enumerate(why):
            sheet.words(x + 6, y + _FIRST_REASON + _LEADING * index, line, size=READ, face=face)
        top = y + _GAP / 2
        for side, (height, pieces) in zip(Side, strips, strict=True):
            _strip(sheet, row, side, pieces, top, height)
            top += height + _GAP
        for at in _result_x(sheet):
            answer_box(sheet, at, y + 5.0, 10.0, 10.0)
        sheet.line(sheet.right - 17.5, y + 14.8, sheet.right, y + 14.8, stroke=SOFT, width=0.25)
        sheet.line(sheet.left, y + height_mm, sheet.right, y + height_mm, stroke=RULE, width=0.25)

    height_mm = max(pictured, said)
    return _Item(height=height_mm, draw=draw, pairs=1)


def _not_too_long(reason: str) -> str:
    """Return the reason; of a renter's very long remark the beginning, and where the rest is read."""
    if len(reason) <= _LONGEST_REMARK:
        return reason
    return f"{reason[:_LONGEST_REMARK].rstrip()}… (the rest: mountbook ski)"


def _strip(
    sheet: FramedSheet, row: RecheckRow, side: Side, pieces: Sequence[PieceRings], y: float, height: float
) -> None:
    """Draw one ski lying across the page, tip to the right, with a ring for each screw."""
    x = _picture_left(sheet)
    sheet.box(x, y, _PICTURE, height, fill=ICE, stroke=SOFT, width=0.2, radius=1.6)
    sheet.words(x - 1.2, y + height / 2 + 1.2, side.value, size=9, face=Face.BOLD, anchor=Anchor.END)
    if not pieces:
        text = "screws not in the ledger: look at every one"
        sheet.words(x + _PICTURE / 2, y + height / 2 + 1.1, text, size=8, fill=SOFT, anchor=Anchor.MIDDLE)
    for piece in pieces:
        marked = (side, piece.piece) in row.marked
        if marked:
            left, wide = x + piece.left - NAME_WIDE, piece.width + NAME_WIDE
            sheet.box(
                left, y + 0.15, wide, height - 0.3, fill=GARNET_PALE, stroke=GARNET, width=0.5, radius=1.2
            )
        sheet.words(
            x + piece.left - 0.6, y + height / 2, piece.piece.upper(), size=LABEL, face=Face.BOLD,
            fill=GARNET if marked else SOFT, anchor=Anchor.MIDDLE, turn=90,
        )  # fmt: skip
        for across, down, dot in piece.rings:
            ink, width = (GARNET, RING_STROKE) if dot.marked else (INK, 0.3)
            sheet.disc(x + across, y + down, RING_R, fill=WHITE, stroke=ink, width=width)


_SIGNATURES: Final = (
    ("this page: passed", 0.15),
    ("held", 0.12),
    ("not found", 0.13),
    ("checked by: name, time", 0.30),
    ("hold tags hung on both skis, seen by", 0.30),
)
