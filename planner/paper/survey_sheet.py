"""The survey sheet: the ledger's facts of a pair, and boxes for the bench's measurements of both skis."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import Final

from fleet.base.days import stored_day_text
from fleet.base.units import length_text
from fleet.facts.holes import Hole, Side, short_id
from fleet.facts.pairs import InspectedArea, Pair, Ski
from planner.paper.shapes import (
    INK,
    RULE,
    SMALL,
    SOFT,
    Anchor,
    Face,
    Page,
    fitted,
    paragraph,
    shortened,
    width_mm,
    wrapped,
)
from planner.paper.sheet_frame import (
    Anchors,
    FramedSheet,
    Paper,
    answer_box,
    box_label,
    framed,
    pdf_of,
    qr_code,
    standing_cautions,
    tag_words,
)
from planner.paper.ski_view.ski_words import mark_words

LINES: Final = (
    "A mark 812                     mark to tail",
    "A 101.5 18 d3.6 t9 plugged     a hole: x, y, drill, depth, state (open if none is written)",
    "A tail 913.5 18                a hole whose distance was taken from the tail",
    "A four 36 40.5 36 40.5 54.2 54.2 at 101.5",
    "                               a group: front, right, rear, left, the two diagonals; x of its front row",
    "A bare -250 300                this stretch was seen bare, from x to x",
)
"""The lines as `mountbook survey` reads them; a test types every one."""

_GUTTER: Final = 6.0
_ROWS: Final = 24
_ROW: Final = 6.2
_KNOWN_ROW: Final = 3.1
_FOOT: Final = 33.0
_GROUPS: Final = 44.0
_NOTES: Final = [
    f"A hole that is not on this sheet may still be in the ski: look first. {standing_cautions()}"
]
_RULE_OF_SIGNS: Final = (
    "x from the ski's own mark: + toward TIP, - toward TAIL.  "
    "y from the middle: + right, - left, looking at the TIP.  Millimetres, to 0.5."
)


def survey_sheet_pdf(pair: Pair, *, anchors: Anchors, paper: Paper) -> bytes:
    """Return a page for each ski; more where the ledger knows more holes than one has room to tell."""
    return pdf_of(survey_pages(pair, anchors=anchors, paper=paper), title=f"Survey sheet {pair.tag}")


def survey_pages(pair: Pair, *, anchors: Anchors, paper: Paper) -> list[Page]:
    """Return the pages as shapes, for the writers and the tests."""
    probe = framed(paper, anchors, _NOTES)
    below = probe.bottom - probe.top - 25
    beside = int((below - _FOOT - _GROUPS - 25) / _KNOWN_ROW)
    alone = int((below - 14) / _KNOWN_ROW)
    parts = [(side, part) for side in Side for part in _parts(pair.skis[side], beside, alone)]
    pages = []
    for number, (side, (first, known)) in enumerate(parts, start=1):
        sheet = framed(paper, anchors, _NOTES, number, len(parts))
        y = _head(sheet, pair, side)
        wide = (sheet.room - _GUTTER) / 2
        fitted(sheet, sheet.left, y + 3.5, _RULE_OF_SIGNS, size=8.6, room=sheet.room, least=7, face=Face.BOLD)
        _known(sheet, pair.skis[side], known, sheet.left, y + 5, wide, again=not first)
        if first:
            _boxes(sheet, sheet.left + wide + _GUTTER, y + 6, wide)
            _groups(sheet, sheet.left, sheet.bottom - _FOOT - _GROUPS - 9, wide)
            _foot(sheet, pair.tag, sheet.bottom - _FOOT)
        pages.append(sheet.page(sheet.width, sheet.height))
    return pages


_Known = InspectedArea | Hole


def _parts(ski: Ski, beside: int, alone: int) -> Iterator[tuple[bool, Sequence[_Known]]]:
    """Yield what is known on each page of a ski; True for the first, which has the boxes beside it."""
    known: tuple[_Known, ...] = (*ski.inspected, *ski.holes)
    yield True, known[:beside]
    for start in range(beside, len(known), alone):
        yield False, known[start : start + alone]


def _head(sheet: FramedSheet, pair: Pair, side: Side) -> float:
    top = sheet.top
    sheet.add(qr_code(pair.tag, sheet.left + 2, top + 1, 15))
    tag_words(sheet, sheet.left + 22, top + 13, pair.tag, size=38, room=85, face=Face.BOLD)
    sheet.words(sheet.right, top + 8, f"SKI {side.value}", size=27, face=Face.BOLD, anchor=Anchor.END)
    shift = width_mm(f"SKI {side.value}", Face.BOLD, 27) + 6
    sheet.words(sheet.right - shift, top + 8, "SURVEY", size=15, face=Face.BOLD, anchor=Anchor.END)
    made = pair.construction.value if pair.construction else "construction unknown"
    facts = f"{pair.model} · {pair.length_mm / 10:g} cm · {made}" + (
        f" · rack {pair.rack}" if pair.rack else ""
    )
    shown = shortened(facts, Face.SANS, 9, 78.0)
    sheet.words(sheet.right, top + 14, shown, size=9, fill=SOFT, anchor=Anchor.END)
    sheet.line(sheet.left, top + 18.5, sheet.right, top + 18.5, stroke=INK, width=0.6)
    return top + 19


def _known(
    sheet: FramedSheet,
    ski: Ski,
    known: Sequence[_Known],
    left: float,
    top: float,
    wide: float,
    *,
    again: bool,
) -> None:
    """Draw the ledger's facts of one ski: to be compared with, not to be copied."""
    continued = ", continued" if again else ""
    box_label(sheet, left, top + 4, f"known to the ledger: look whether it is so{continued}")
    said = f"{mark_words(ski)}; {_counted(ski)}"
    y = paragraph(sheet, left, top + 7.8, said, size=8, room=wide, step=3.4)
    if not ski.inspected:
        sheet.words(left, y, "no part of it is inspected", size=7.5, fill=SOFT)
        y += _KNOWN_ROW
    for one in known:
        if isinstance(one, InspectedArea):
            stretch = f"{_signed(one.from_um)} to {_signed(one.to_um)}"
            text = f"inspected {one.how}: {stretch}, {stored_day_text(one.on)}"
            sheet.words(left, y, shortened(text, Face.SANS, 7.5, wide), size=7.5, fill=SOFT)
        else:
            _known_hole(sheet, one, left, y)
        y += _KNOWN_ROW


def _known_hole(sheet: FramedSheet, hole: Hole, left: float, y: float) -> None:
    drill = f"drill {length_text(hole.diameter_um)}" if hole.diameter_um is not None else "drill ?"
    cells = (
        short_id(hole.hole_id),
        _signed(hole.x_um),
        _signed(hole.y_um),
        drill,
        hole.state.value,
        hole.knowledge.value,
    )
    for x, cell in zip((0, 10, 26, 40, 55, 70), cells, strict=True):
        sheet.words(left + x, y, cell, size=7.5, face=Face.MONO if 0 < x < 40 else Face.SANS)


def _counted(ski: Ski) -> str:
    if not ski.holes:
        return "no hole on record"
    counts = Counter(hole.knowledge.value for hole in ski.holes)
    return "holes: " + ", ".join(f"{n} {word}" for word, n in sorted(counts.items()))


def _signed(value_um: int) -> str:
    sign = "+" if value_um > 0 else "-" if value_um < 0 else ""
    return sign + length_text(abs(value_um))


def _asked(sheet: FramedSheet, left: float, top: float, label: str, box: float, wide: float) -> None:
    """Draw a label and its box beside it."""
    box_label(sheet, left, top + 5, label)
    answer_box(sheet, box, top, wide, 8)


def _boxes(sheet: FramedSheet, left: float, top: float, wide: float) -> None:
    _asked(sheet, left, top, "mark to tail, ruler laid flat", left + wide - 48, 40)
    sheet.words(left + wide - 7, top + 5.5, "mm", size=9)
    y = top + 13
    widths = (8.0, 20.0, 17.0, 13.0, 12.0, wide - 70.0)
    heads = ("hole", "x", "y", "drill", "depth", "state")
    columns = list(zip(accumulate(widths[:-1], initial=left), widths, heads, strict=True))
    for x, _, head in columns:
        box_label(sheet, x + 0.8, y, head)
    y += 1.2
    for row in range(_ROWS):
        for x, width, head in columns:
            sheet.box(x, y, width, _ROW, stroke=RULE if head == "hole" else INK, width=0.25)
        sheet.words(left + 4, y + 4.3, str(row + 1), size=8, fill=SOFT, anchor=Anchor.MIDDLE)
        y += _ROW
    sheet.words(left, y + 3, "state: open, screwed, plugged, insert, stripped", size=7, fill=SOFT)


def _groups(sheet: FramedSheet, left: float, top: float, wide: float) -> None:
    """Draw the boxes for holes measured in fours, and for the stretch that was seen bare."""
    half = (wide - 3) / 2
    _four(sheet, left, top, half, "four holes, group 1")
    _four(sheet, left + half + 3, top, half, "four holes, group 2")
    y = top + _GROUPS
    _asked(sheet, left, y, "seen bare from x", left + 26, 24)
    _asked(sheet, left + 54, y, "to x", left + 62, 24)


def _four(sheet: FramedSheet, left: float, top: float, wide: float, name: str) -> None:
    """Four holes as they lie, TIP above: a box on each side, one for each diagonal, one for x."""
    box_label(sheet, left, top + 2, name)
    w, h = 13.0, 5.6
    near, far = left + w / 2, left + wide - w / 2
    front, rear = top + 7.5, top + 29.0
    middle = (near + far) / 2
    for a, b in (
        ((near, front), (far, front)),
        ((far, front), (far, rear)),
        ((far, rear), (near, rear)),
        ((near, rear), (near, front)),
        ((far, front), (near, rear)),
        ((near, front), (far, rear)),
    ):
        sheet.line(*a, *b, stroke=SOFT, width=0.25, dash=(1.2, 0.9))
    for x, y in ((near, front), (far, front), (near, rear), (far, rear)):
        sheet.disc(x, y, 1.1, fill="#FFFFFF", stroke=INK, width=0.4)
    centre = (front + rear) / 2
    for x, y in ((middle, front), (far, centre), (middle, rear), (near, centre)):
        answer_box(sheet, x - w / 2, y - h / 2, w, h)
    sheet.words(left + wide, top + 2, "TIP", size=SMALL, fill=SOFT, anchor=Anchor.END)
    y = rear + 5.0
    columns = (("diag. R to L", left), ("diag. L to R", left + wide / 3), ("x front", left + 2 * wide / 3))
    for label, x in columns:
        sheet.words(x, y + 1.2, label, size=SMALL, fill=SOFT)
        answer_box(sheet, x, y + 2.2, wide / 3 - 1, h)


def _foot(sheet: FramedSheet, tag: str, top: float) -> None:
    _asked(sheet, sheet.left, top, "measured by", sheet.left + 20, 62)
    _asked(sheet, sheet.left + 86, top, "day, time", sheet.left + 101, 36)
    x = sheet.left + 141
    for word in ("bare", "drops-in"):
        sheet.box(x, top + 2, 4, 4, stroke=INK, width=0.3)
        sheet.words(x + 5.5, top + 5.3, word, size=8.5)
        x += 17
    y = top + 13
    typed = f"Then type at the desk, after `mountbook survey {tag}`, one line each; B for the other ski:"
    for above, line in enumerate(reversed(wrapped(typed, Face.BOLD, 7.5, sheet.room))):
        sheet.words(sheet.left, y - 0.6 - 2.5 * above, line, size=7.5, face=Face.BOLD)
    for line in LINES:
        y += 2.9
        sheet.words(sheet.left, y, line.rstrip(), size=7, face=Face.MONO)
