"""Labels for skis and boots: the tag large, its check character, and the tag as a QR code.

The code's modules are a whole number of dots at 203 dpi, the coarsest label printer in use, so that each
module prints as wide as the next. The places of labels are told in numbers, as measured with a ruler; a roll
is a sheet of one label.

The caution and the ledger's whole head stand once a sheet, in the margin below the labels (the caution above
them, where only that margin has room). A label has no room for them: one of 70 x 37 mm keeps 13 mm below its
check character, and the head's code with its quiet zone, at three dots a module, is 15.4 mm high. The file
bears the head all the same, for `audit --heads`.

And the tags that hang on held or locked-away pairs: A6, readable from the other side of the bench.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from fleet.base.days import time_text
from fleet.base.entries import Head
from fleet.base.errors import BadInput, Refused
from fleet.base.program import program
from fleet.base.units import mm_text
from fleet.facts.fault_causes import ROADS, RoadRule, road_of
from fleet.facts.holes import Side
from fleet.facts.standing import Place, Standing, read_standing, read_standings
from fleet.facts.tags import SEPARATOR, check_character, ski_code
from fleet.ledger.ledger import read_entries
from fleet.tables.snapshot import Fleet
from planner.paper import cautions
from planner.paper.shapes import (
    GARNET,
    INK,
    RULE,
    SMALL,
    SOFT,
    WHITE,
    Anchor,
    Drawing,
    Face,
    Page,
    fitted,
    paragraph,
    shortened,
    size_that_fits,
    width_mm,
    wrapped,
)
from planner.paper.sheet_frame import (
    HEAD_CODE_MM,
    LEAST_MODULE_MM,
    LEAST_TAG,
    answer_box,
    box_label,
    code_of,
    head_code,
    moment_text,
    paper_named,
    pdf_of,
    qr_code,
    shown_head,
    tag_words,
)

LEAST_W_MM, LEAST_H_MM = 38.0, 19.0
"""Below this the QR code with its quiet zone and a readable tag do not fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelLayout:
    """Millimetres, all measured on the sheet. ``left``/``top``: of the first label's corner.

    ``pitch_x``/``pitch_y``: from one label's corner to the next one's. ``shift_x``/``shift_y``: what the
    printer is off, + right and down. Raises BadInput where the labels do not lie on the sheet.
    """

    page_w: float
    page_h: float
    columns: int
    rows: int
    w: float
    h: float
    left: float
    top: float
    pitch_x: float
    pitch_y: float
    shift_x: float = 0.0
    shift_y: float = 0.0

    def __post_init__(self) -> None:
        over_x = self.left + (self.columns - 1) * self.pitch_x + self.w - self.page_w
        over_y = self.top + (self.rows - 1) * self.pitch_y + self.h - self.page_h
        overlap = (self.columns > 1 and self.pitch_x < self.w) or (self.rows > 1 and self.pitch_y < self.h)
        for good, said, cure in (
            (
                self.columns >= 1 and self.rows >= 1,
                "a sheet has at least one label",
                "give --columns and --rows from 1",
            ),
            (
                self.w >= LEAST_W_MM and self.h >= LEAST_H_MM,
                f"a label of {self.w:g} x {self.h:g} mm is too small for tag and code",
                f"use labels of at least {LEAST_W_MM:g} x {LEAST_H_MM:g} mm",
            ),
            (
                not overlap,
                "the labels overlap: a pitch is smaller than the label",
                "measure from one label's left (top) edge to the next one's",
            ),
            (
                max(over_x, over_y) <= 0.05 and min(self.left, self.top) >= 0,
                f"the labels reach {max(over_x, over_y):.1f} mm over the edge of the sheet",
                "measure left, top, pitch and label once more",
            ),
        ):
            if not good:
                raise BadInput(said, cure=cure)

    @property
    def count(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    @property
    def clear_below(self) -> float:
        """Millimetres of the sheet below the last row, the printer's shift included."""
        return self.page_h - (self.top + (self.rows - 1) * self.pitch_y + self.h + max(self.shift_y, 0.0))

    def corners(self) -> Iterator[tuple[float, float]]:
        """The top left corner of each label, row by row, the printer's shift included."""
        for row in range(self.rows):
            for column in range(self.columns):
                yield (
                    self.left + column * self.pitch_x + self.shift_x,
                    self.top + row * self.pitch_y + self.shift_y,
                )


def sheet_layout(
    paper: str,
    *,
    columns: int,
    rows: int,
    w: float,
    h: float,
    left: float,
    top: float,
    pitch_x: float | None = None,
    pitch_y: float | None = None,
    shift_x: float = 0.0,
    shift_y: float = 0.0,
) -> LabelLayout:
    """Labels on A4 or Letter; a pitch not given is the label's own size (no gap between them)."""
    page_w, page_h = paper_named(paper).size_mm
    return LabelLayout(
        page_w=page_w, page_h=page_h, columns=columns, rows=rows, w=w, h=h, left=left, top=top,
        pitch_x=pitch_x or w, pitch_y=pitch_y or h, shift_x=shift_x, shift_y=shift_y,
    )  # fmt: skip


def roll_layout(*, w: float, h: float, shift_x: float = 0.0, shift_y: float = 0.0) -> LabelLayout:
    """One label a page, for a label printer."""
    return LabelLayout(
        page_w=w, page_h=h, columns=1, rows=1, w=w, h=h, left=0.0, top=0.0, pitch_x=w, pitch_y=h,
        shift_x=shift_x, shift_y=shift_y,
    )  # fmt: skip


DOT_MM: Final = 25.4 / 203
_MODULES: Final = 21
_QUIET: Final = 4
"""Clear modules round the code (ISO/IEC 18004 asks for four)."""
_UNPRINTED_MM: Final = 4.0
"""The sheet's edge that an office printer leaves blank (common practice, no source)."""
_LINE: Final = 3.4
"""The height of a line of small words, clear of the labels, millimetres."""
_LINE_APART: Final = 2.6
"""From the line of the check character to one of small words below it, millimetres."""
_SIGN_ENDS: Final = 8.3
"""From the label's top edge to below the sign of the ski, millimetres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """The words of one label. ``side`` None: a label for the pair as a whole, or for boots.

    ``line``: the model, which is cut where it is long; ``facts``: the number after it, which never is.
    """

    tag: str
    line: str
    facts: str = ""
    side: Side | None = None

    @property
    def check(self) -> str:
        """The check character of the tag."""
        return check_character(self.tag)

    @property
    def code(self) -> str:
        """The text of its code: of a ski its own, so that two skis of different pairs are noticed."""
        return self.tag if self.side is None else ski_code(self.tag, self.side)


def fleet_labels(fleet: Fleet, tags: Sequence[str] = (), *, each_ski: bool = True) -> tuple[Label, ...]:
    """Return labels for these tags, pairs or boots; without tags for every pair. Raises Refused for an
    unknown tag.
    """
    return tuple(
        label for tag in (tags or tuple(fleet.pairs)) for label in _labels_of(fleet, tag, each_ski=each_ski)
    )


def _labels_of(fleet: Fleet, tag: str, *, each_ski: bool) -> Iterator[Label]:
    pair, boot = fleet.pairs.get(fleet.renamed.get(tag, tag)), fleet.boots.get(tag)
    if pair is not None:
        facts = f" · {mm_text(pair.length_mm * 100)} cm"
        for side in Side if each_ski else (None,):
            yield Label(tag=pair.tag, line=pair.model, facts=facts, side=side)
    elif boot is not None:
        sole = f" · sole {boot.sole_words}" if boot.bsl_um is not None else ""
        yield Label(tag=boot.tag, line=boot.model, facts=sole)
    else:
        raise Refused(f"there is no pair and no boot {tag} in the ledger", cure="check the tag")


def labels_pdf(
    labels: Sequence[Label], layout: LabelLayout, *, head: str, skip: int = 0, outlines: bool = False
) -> bytes:
    """Return the labels as PDF. ``head``: of the ledger, with its whole hash; ``skip``: places used up on the
    first sheet; ``outlines``: for a test on paper.
    """
    if not labels:
        raise BadInput("there is no label to print", cure="name tags, or import pairs first")
    if not 0 <= skip < layout.count:
        raise BadInput(f"--skip {skip} leaves no label on the sheet", cure=f"give 0 to {layout.count - 1}")
    return pdf_of(_pages(labels, layout, head, skip, outlines), title=f"{len(labels)} labels")


def _pages(
    labels: Sequence[Label], layout: LabelLayout, head: str, skip: int, outlines: bool
) -> Iterator[Page]:
    places = list(layout.corners())
    queue = list(labels)
    while queue:
        d = Drawing()
        for x, y in places[skip:]:
            if outlines:
                d.box(x, y, layout.w, layout.h, stroke=RULE, width=0.1)
            if queue:
                _label(d, queue.pop(0), x, y, layout)
        skip = 0
        at = _caution_at(layout)
        if at is not None:
            d.words(8.0, at, cautions.LABEL, size=SMALL, fill=SOFT)
        _head_below(d, head, layout)
        yield replace(d.page(layout.page_w, layout.page_h), head=head)


def _caution_at(layout: LabelLayout) -> float | None:
    """Return the line of the caution: in the margin below the labels, else above them; None without room."""
    if layout.clear_below >= _UNPRINTED_MM + 2 * _LINE:
        return layout.page_h - _UNPRINTED_MM - _LINE
    if layout.clear_below >= _UNPRINTED_MM + _LINE:
        return layout.page_h - _UNPRINTED_MM - 0.6
    above = layout.top + min(layout.shift_y, 0.0) >= _UNPRINTED_MM + _LINE
    return _UNPRINTED_MM + 2.4 if above else None


def _head_below(d: Drawing, head: str, layout: LabelLayout) -> None:
    """Draw the head below the labels, where the margin holds a code that can be read."""
    modules = code_of(head_code(head))[0]
    side = min(HEAD_CODE_MM, layout.clear_below - _UNPRINTED_MM - _QUIET * LEAST_MODULE_MM)
    if side < modules * LEAST_MODULE_MM:
        return
    left, top = layout.page_w - 8.0 - side, layout.page_h - _UNPRINTED_MM - side
    d.add(qr_code(head_code(head), left, top, side))
    d.words(
        left - 2.0, top + side, f"ledger {shown_head(head)} · {program()}", size=SMALL, face=Face.MONO,
        fill=SOFT, anchor=Anchor.END,
    )  # fmt: skip


def module_mm(layout: LabelLayout, modules: int = _MODULES) -> float:
    """Return the code's module (mm): the most whole dots of 203 dpi at which code and quiet zone fit the
    label.

    Nought where a code of so many modules would need dots finer than the printer's three.
    """
    room = min(layout.h, layout.w * 0.45)
    dots = int(room / (modules + 2 * _QUIET) / DOT_MM)
    return min(dots, 6) * DOT_MM if dots >= 3 else 0.0


def _label(d: Drawing, label: Label, x: float, y: float, layout: LabelLayout) -> None:
    modules = code_of(label.code)[0]
    module = module_mm(layout, modules) if modules else 0.0
    if not module:
        raise _too_small(label, layout)
    side = modules * module
    blank = _UNPRINTED_MM if layout.w < layout.page_w else 0.0  # a roll is printed to its edge
    top, bottom = max(y, blank - 2.0), min(y + layout.h, layout.page_h - blank + 1.2)
    h, middle = bottom - top, (top + bottom) / 2
    code_x, right = max(x + _QUIET * module, blank), min(x + layout.w - 2.0, layout.page_w - blank)
    d.add(qr_code(label.code, code_x, middle - side / 2, side))
    left = code_x + side + _QUIET * module
    room = right - left
    if label.side is not None:
        _side_sign(d, label.side, right, top + 2.0)
    most = min(34.0, h * 0.95)
    beside = label.side is not None and middle - 0.16 * most < top + _SIGN_ENDS
    tag_room = room - 7.0 if beside else room  # a low label's tag reaches up to the sign of the ski
    size = size_that_fits(label.tag, Face.MONO_BOLD, most, tag_room, least=LEAST_TAG)
    lines = wrapped(label.tag, Face.MONO_BOLD, size, tag_room)
    if len(lines) > max(2, _lines_above_the_check(label, h, size)):
        raise _too_small(label, layout)
    for below, line in enumerate(lines, start=1 - len(lines)):
        d.words(left, middle + size * (0.1 + 0.42 * below), line, size=size, face=Face.MONO_BOLD)
    check = middle + size * 0.1 + 4.0
    d.words(left, check, f"{SEPARATOR} {label.check}", size=10, face=Face.MONO_BOLD)
    if bottom - 1.8 - check < _LINE_APART:  # the last line stands where others say what that sign is
        left, room, last = left + 7.0, room - 7.0, check
    else:
        d.words(left + 7.0, check, "check character", size=SMALL, fill=SOFT)
        last = bottom - 1.8
        if h / 2 - side / 2 - 5.0 > _QUIET * module:  # it has room below the code's quiet zone
            left, room = code_x, right - code_x
    size = size_that_fits(label.facts, Face.SANS, SMALL, room, least=SMALL)
    line = shortened(label.line, Face.SANS, size, room - width_mm(label.facts, Face.SANS, size))
    d.words(left, last, f"{line}{label.facts}", size=size, fill=INK)


def _lines_above_the_check(label: Label, h: float, size: float) -> int:
    """Return the number of lines of the tag that the upper half takes, below the sign of the ski."""
    clear = 2.0 if label.side is None else 9.0
    return 1 + int((h / 2 - clear - 0.15 * size) / (0.42 * size))


def _too_small(label: Label, layout: LabelLayout) -> BadInput:
    return BadInput(
        f"the tag {label.tag} and its code do not fit a label of {layout.w:g} x {layout.h:g} mm",
        cure="use a larger label (--width, --height), or a shorter tag",
    )


def _side_sign(d: Drawing, side: Side, right: float, top: float) -> None:
    """Draw ski A in a black square, ski B in a ring, so that they differ without reading."""
    if side is Side.A:
        d.box(right - 6, top, 6, 6, fill=INK)
    else:
        d.disc(right - 3, top + 3, 2.8, fill=WHITE, stroke=INK, width=0.5)
    d.words(
        right - 3, top + 4.5, side.value, size=12, face=Face.BOLD, fill=WHITE if side is Side.A else INK,
        anchor=Anchor.MIDDLE,
    )  # fmt: skip


_WIDTH: Final = 105.0
_HEIGHT: Final = 148.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldTag:
    """The facts on a hold tag. ``locked``: a quarantine: nothing is touched; ``rule``: what ends it;
    ``head``: with its whole hash.
    """

    tag: str
    model: str
    locked: bool
    rule: RoadRule
    cause: str
    since: str
    by: str
    head: str


def hold_tag_pdf(tags: tuple[HoldTag, ...], *, zone: str, printed_at: datetime) -> bytes:
    """Return two tags a pair, one for each ski. A6, upright."""
    printed = moment_text(printed_at, zone)
    return pdf_of((_page(tag, ski, printed) for tag in tags for ski in "AB"), title="Hold tags")


def _page(tag: HoldTag, ski: str, printed: str) -> Page:
    d = Drawing()
    d.box(0, 0, _WIDTH, 34, fill=GARNET)
    d.disc(_WIDTH / 2, 8, 3.2, fill=WHITE)
    word = "LOCKED AWAY" if tag.locked else "HOLD"
    fitted(
        d, _WIDTH / 2, 28, word, size=44, room=_WIDTH - 12, least=20, face=Face.BOLD, fill=WHITE,
        anchor=Anchor.MIDDLE,
    )  # fmt: skip
    d.add(qr_code(tag.tag, 8, 40, 15))
    tag_words(d, 28, 51, tag.tag, size=34, room=58, face=Face.BOLD)
    d.words(_WIDTH - 8, 51, ski, size=30, face=Face.BOLD, anchor=Anchor.END)
    d.words(28, 57, shortened(tag.model, Face.SANS, 9, _WIDTH - 36), size=9, fill=SOFT)
    paragraph(d, 8, 68, tag.cause, size=13, room=_WIDTH - 16, step=6, face=Face.BOLD, most=4)
    d.words(8, 92, f"since {tag.since}, by {tag.by}", size=8.5, fill=SOFT)
    paragraph(d, 8, 100, tag.rule.on_tag, size=11, room=_WIDTH - 16, step=5)
    for column, label in enumerate(tag.rule.boxes):
        x = 8 + column * 46
        box_label(d, x, 115, label)
        answer_box(d, x, 117, 43, 13)
    code = _WIDTH - 8 - HEAD_CODE_MM
    paragraph(d, 8, 133.4, cautions.FIRST, size=SMALL, room=code - 8 - 2, step=2.8, fill=SOFT)
    d.add(qr_code(head_code(tag.head), code, 131.5, HEAD_CODE_MM))
    said = f"ledger {shown_head(tag.head)} · printed {printed} · {program()}"
    paragraph(d, 8, 140, said, size=SMALL, room=code - 8 - 2, step=3, face=Face.MONO, fill=SOFT)
    return replace(d.page(_WIDTH, _HEIGHT), head=tag.head)


def held_tags(connection: sqlite3.Connection, tags: Sequence[str]) -> tuple[HoldTag, ...]:
    """Return the tags of these pairs, or of all held ones. Raises Refused for a pair that is not held."""
    if tags:
        found = tuple(read_standing(connection, tag) for tag in tags)
        free = [standing.tag for standing in found if not (standing.hold_why or standing.quarantine_why)]
        if free:
            raise Refused(
                f"{', '.join(free)} is not held", cure='hold it first: mountbook hold TAG --why "..."'
            )
    else:
        held = (Place.HOLD.value, Place.QUARANTINE.value)
        found = read_standings(connection, where="place IN (?, ?)", args=held)
        if not found:
            raise Refused("nothing is held", cure="there is no tag to hang")
    head = Head(*connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone())
    return tuple(_tag(connection, standing, head) for standing in found)


def _tag(connection: sqlite3.Connection, standing: Standing, head: Head) -> HoldTag:
    locked = bool(standing.quarantine_why)
    entry = standing.quarantine_entry if locked else standing.hold_entry
    (stopped,) = read_entries(connection, after=entry - 1, until=entry)
    model = connection.execute("SELECT model FROM pair WHERE tag = ?", (standing.tag,)).fetchone()[0]
    return HoldTag(
        tag=standing.tag,
        model=model,
        locked=locked,
        rule=ROADS[road_of(standing)],
        cause=standing.quarantine_why if locked else standing.hold_why,
        since=time_text(stopped.stated_at_utc, stopped.zone),
        by=stopped.by,
        head=head.full,
    )
