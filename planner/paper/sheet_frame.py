"""The frame of every sheet: paper size, foot with the ledger's head, cautions, PROPOSAL band, notes.

And its QR codes: level M (readable with 15 % of it damaged), as coarse as the text allows.

And pages as PDF bytes: fonts embedded, print scaling off, the same pages giving the same bytes; with the
heads that stand on sheets kept as PDF, read in bulk: the outside anchor.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from functools import cache, lru_cache
from io import BytesIO
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from fleet.audit.heads import KeptHead
from fleet.base.days import day_text
from fleet.base.entries import Head
from fleet.base.errors import BadInput
from fleet.base.program import program
from fleet.tables.snapshot import Fleet
from planner.paper import cautions
from planner.paper.shapes import (
    AMBER,
    GARNET,
    INK,
    LABEL,
    READ,
    RULE,
    SMALL,
    SOFT,
    TAG,
    WHITE,
    Anchor,
    Box,
    Disc,
    Drawing,
    Face,
    Line,
    LowLine,
    Modules,
    Page,
    Poly,
    Shape,
    Words,
    fitted,
    paragraph,
    runs,
    shortened,
    size_that_fits,
    stacked,
    width_mm,
    wrapped,
)

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


MARGIN: Final = 11.0
FOOT_LEADING: Final = 2.75
HEAD_CODE_MM: Final = 12.0
"""Side of the code that holds the head: its 33 modules are wider than the finest that a phone reads."""
_BESIDE_CODE: Final = HEAD_CODE_MM + 2.0
LEAST_TAG: Final = 7.0
"""Points. A tag is read at the bench with the ski in the other hand; smaller is guessed, not read."""
_TAG_LINES: Final = 3


class Paper(StrEnum):
    """The two papers of the world's printers."""

    A4 = "A4"
    LETTER = "Letter"

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height, upright (ISO 216; ANSI Letter 8.5 x 11 inches)."""
        return (210.0, 297.0) if self is Paper.A4 else (215.9, 279.4)


def paper_named(text: str) -> Paper:
    """Return the paper with this name, in capitals or not. Raises BadInput for any other."""
    paper = {each.value.lower(): each for each in Paper}.get(text.strip().lower())
    if paper is None:
        raise BadInput(f"{text!r} is no paper the sheets are made for", cure="use A4 or Letter")
    return paper


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchors:
    """The facts that tie a sheet to its moment. The foot prints all of them.

    ``head`` is the ledger's newest entry, in full for a program; people see eight digits of its hash;
    ``stale_after`` a day or time after which the sheet is void, and ``holds`` what ends an issued sheet
    instead: it holds for as long as that does not happen. ``as_of``: the entry up to which a record was read;
    such a sheet never goes stale.
    """

    shop: str
    name: str
    head: str
    plan_hash: str = ""
    printed_at: str
    stale_after: str = ""
    holds: str = ""
    as_of: str = ""


def anchors_of(fleet: Fleet, name: str, *, printed_at: datetime, plan_hash: str = "") -> Anchors:
    """Return the anchors of a sheet of this fleet, which is stale after the shop's own days."""
    return Anchors(
        shop=fleet.shop,
        name=name,
        head=fleet.head.full,
        plan_hash=plan_hash,
        printed_at=moment_text(printed_at, fleet.zone),
        stale_after=stale_text(printed_at, fleet.zone, fleet.policy.count("sheet_stale_days")),
    )


class FramedSheet(Drawing):
    """A drawing on one paper, with the free room between ``top`` and ``bottom``, ``left`` and ``right``."""

    def __init__(self, paper: Paper, *, proposal: bool) -> None:
        super().__init__()
        self.width, self.height = paper.size_mm
        self.left, self.right = MARGIN, self.width - MARGIN
        self.top = 9.0
        self.bottom = self.height - 9.0
        self._framed = False
        self._head = ""
        if proposal:
            _proposal_band(self)
            self.top = 17.5

    @property
    def room(self) -> float:
        """Width between the margins, millimetres."""
        return self.right - self.left

    @property
    def _foot_room(self) -> float:
        """Width of the foot's lines, beside the code of the head."""
        return self.room - _BESIDE_CODE

    def keep_foot(self, notes: list[str]) -> list[str]:
        """Raise ``bottom`` above the foot, and return its lines. `finish` does so, too."""
        lines = [line for note in notes for line in wrapped(note, Face.SANS, SMALL, self._foot_room)]
        self.bottom = self.height - 16.0 - FOOT_LEADING * len(lines)
        return lines

    def finish(self, anchors: Anchors, notes: list[str], page: int, pages: int) -> None:
        """Draw the foot and raise ``bottom`` above it. Call before the body, or after `keep_foot`."""
        self._framed = standing_cautions() in " ".join(notes)
        self._head = anchors.head
        lines = self.keep_foot(notes)
        y = self.bottom + 1.5
        self.line(self.left, y, self.right, y, stroke=RULE, width=0.25)
        y += 0.4
        for line in lines:
            y += FOOT_LEADING
            self.words(self.left, y, line, size=SMALL, fill=SOFT)
        y = self.height - 11.1
        stale = (
            f"AS THE LEDGER STOOD AT {anchors.as_of}: a record, nothing of later."
            if anchors.as_of
            else f"VALID UNTIL {anchors.holds}."
            if anchors.holds
            else f"STALE AFTER {anchors.stale_after}: then print it again."
        )
        self.words(self.left, y, stale, size=SMALL + 0.7, face=Face.BOLD, fill=INK)
        shift = width_mm(stale + "   ", Face.BOLD, SMALL + 0.7)
        shop = shortened(anchors.shop, Face.SANS, SMALL + 0.7, self._foot_room - shift)
        self.words(self.left + shift, y, shop, size=SMALL + 0.7, fill=SOFT)
        y = self.height - 7.5
        anchor = (
            f"{anchors.name} · ledger {shown_head(anchors.head)}"
            + (f" · plan {anchors.plan_hash[:8]}" if anchors.plan_hash else "")
            + f" · printed {anchors.printed_at} · {program()}"
        )
        paragraph(self, self.left, y, anchor, size=SMALL, room=self._foot_room - 22, step=2.4, fill=SOFT)
        beside = self.left + self._foot_room
        self.words(beside, y, f"page {page} of {pages}", size=9, face=Face.BOLD, fill=INK, anchor=Anchor.END)
        code = qr_code(head_code(anchors.head), self.right - HEAD_CODE_MM, self.height - 18.2, HEAD_CODE_MM)
        self.add(code)

    def page(self, width: float, height: float) -> Page:
        """Raises ValueError where `finish` was left out, or the cautions: such a sheet is never printed."""
        if not self._framed:
            raise ValueError("a sheet needs its foot, and the standing cautions in it")
        return replace(super().page(width, height), head=self._head)


def framed(
    paper: Paper, anchors: Anchors, notes: list[str], page: int = 1, pages: int = 1, *, proposal: bool = False
) -> FramedSheet:
    """Return a sheet on that paper with its foot drawn, for its body."""
    sheet = FramedSheet(paper, proposal=proposal)
    sheet.finish(anchors, notes, page, pages)
    return sheet


def shown_head(head: str) -> str:
    """Return a head as people see it: the entry's number and eight digits of its hash."""
    seq, _, digest = head.partition(":")
    return f"{seq}:{digest[:8]}"


def standing_cautions() -> str:
    """Return the line of cautions that stands on every sheet."""
    return f"{cautions.DEFER} {cautions.NO_SETTING} {cautions.CLAIM}"


def _proposal_band(sheet: FramedSheet) -> None:
    x, y, w, h = sheet.left, 6.5, sheet.room, 8.0
    sheet.box(x, y, w, h, fill=AMBER)
    text = f"{cautions.PROPOSAL}  ·  {cautions.PROPOSAL_WHY}"
    middle, step = x + w / 2, 5.0
    half = width_mm(text, Face.BOLD, 11) / 2 + 3
    count = int((w / 2 - half) / step)
    for start in (x, x + w - count * step):
        for index in range(count):
            left = start + index * step
            sheet.poly(
                [(left, y + h), (left + step / 2, y + h), (left + step, y), (left + step / 2, y)], fill=INK
            )
    sheet.words(middle, y + 5.4, text, size=11, face=Face.BOLD, fill=INK, anchor=Anchor.MIDDLE)


def box_label(
    sheet: Drawing, x: float, y: float, text: str, *, fill: str = SOFT, room: float = 1000.0
) -> None:
    """Draw a small heading over a value, in capitals; smaller where it would not fit."""
    fitted(sheet, x, y, text.upper(), size=SMALL, room=room, least=SMALL, face=Face.BOLD, fill=fill, cut=True)


def tag_words(
    sheet: Drawing, x: float, y: float, tag: str, *, size: float, room: float, face: Face = Face.MONO_BOLD
) -> None:
    """Draw a tag as large as there is room, its last line on ``y``. It is never cut: a long one gets a second
    line, or a third.

    Raises BadInput where even small type does not hold it whole: half a tag is another pair's.
    """
    size = size_that_fits(tag, face, size, room, least=LEAST_TAG)
    lines = wrapped(tag, face, size, room)
    if len(lines) > _TAG_LINES:
        raise BadInput(f"the tag {tag} is too long to stand whole on this sheet", cure="use a shorter tag")
    for below, line in enumerate(lines, start=1 - len(lines)):
        sheet.words(x, y + below * size * 0.42, line, size=size, face=face)


def tag_head(sheet: FramedSheet, code: str, tag: str, *, room: float, right: Iterable[LowLine]) -> float:
    """Draw the head of a pair's page, and return where it ends. ``right``: the lines at the right edge."""
    y = sheet.top
    sheet.add(qr_code(code, sheet.left, y + 0.5, 16.5))
    tag_words(sheet, sheet.left + 20.5, y + 10.5, tag, size=TAG, room=room)
    stacked(sheet, sheet.right, y, right, anchor=Anchor.END)
    sheet.line(sheet.left, y + 19.4, sheet.right, y + 19.4, stroke=INK, width=0.9)
    return y + 19.4


def tag_drop(tag: str, room: float) -> float:
    """Return how much lower the last line of a tag of three lines stands in a list's row, so that its first
    stays in it.
    """
    return max(0, len(wrapped(tag, Face.MONO_BOLD, LEAST_TAG, room)) - 2) * LEAST_TAG * 0.42


def answer_box(sheet: Drawing, x: float, y: float, w: float, h: float, *, loud: bool = False) -> None:
    """An empty box to write a value into."""
    sheet.box(x, y, w, h, fill=WHITE, stroke=GARNET if loud else INK, width=0.6 if loud else 0.3)


def signature_row(sheet: FramedSheet, height: float, cells: Iterable[tuple[str, float]]) -> None:
    """Boxes to sign in along the foot of the page: the title of each, and its share of the width."""
    x, y = sheet.left, sheet.bottom - height
    for title, share in cells:
        w = sheet.room * share
        sheet.box(x, y, w, height, fill=WHITE, stroke=INK, width=0.35)
        sheet.words(x + 1.6, y + 3.4, title, size=LABEL, face=Face.BOLD)
        x += w


_NOTE: Final = 4.6
_SMALL_NOTE: Final = 3.6
"""From line to line of what was noted, and of what is good to know, millimetres."""


def note_lines(sheet: FramedSheet, notes: Sequence[str], y: float, *, small: Sequence[str] = ()) -> float:
    """Print each text from ``y`` on, broken into lines, and return where the next thing begins.

    ``small``: what is good to know and changes no hand's work.
    """
    for texts, size, step, face, fill in (
        (notes, READ, _NOTE, Face.BOLD, INK),
        (small, 8.5, _SMALL_NOTE, Face.SANS, SOFT),
    ):
        for text in texts:
            y = -step + paragraph(
                sheet, sheet.left, y + step, text, size=size, room=sheet.room, step=step, face=face, fill=fill
            )
    return y


def moment_text(moment: datetime, zone: str) -> str:
    """Return ``Wed 25 Nov 2026, 17:50`` by the shop's clock. Raises ValueError for a time without a zone."""
    if moment.tzinfo is None:
        raise ValueError("a printed time needs a zone")
    local = moment.astimezone(ZoneInfo(zone))
    return f"{day_text(local.date())}, {local:%H:%M}"


def stale_text(moment: datetime, zone: str, days: int) -> str:
    """Return the last day on which a sheet printed now may be used."""
    return day_text(moment.astimezone(ZoneInfo(zone)).date() + timedelta(days=days))


def spoken_day(text: str) -> str:
    """Return an ISO day in the words of a sheet; other words are left as they are."""
    try:
        return day_text(date.fromisoformat(text))
    except ValueError:
        return text


LEAST_MODULE_MM: Final = 0.3
"""Finer than this a shop printer and a phone do not agree any more (common practice, no source)."""

_Runs = tuple[tuple[int, int, int], ...]


@lru_cache(maxsize=4096)
def code_of(text: str) -> tuple[int, _Runs]:
    """Return the modules across, and the dark runs (column, row, length); 0 across if no code holds the
    text.
    """
    import segno
    from segno.encoder import DataOverflowError

    # A Micro QR would be smaller, but many phones cannot read one. The smallest version that holds the
    # text: a usual tag (14 characters, 20 in capitals) has version 1, and all of them modules of one size.
    try:
        code = segno.make(text, error="m", micro=False, boost_error=False)
    except DataOverflowError:
        return 0, ()
    runs = []
    for row, bits in enumerate(code.matrix):
        column = 0
        for bit, group in groupby(bits):
            length = len(list(group))
            if bit:
                runs.append((column, row, length))
            column += length
    return len(code.matrix), tuple(runs)


def sheet_code(number: str | None, revision: str | None, tag: str, sides: str) -> str:
    """Return the text of the code on a sheet: number, revision, pair and ski; a proposal's has the pair
    alone.

    ``sides``: ``A``, ``B`` or ``AB``.
    """
    return tag if number is None else f"{number} {revision}/{tag}/{sides}"


def head_code(head: str) -> str:
    """Return the text of the code in a sheet's foot: the number and the whole hash of the newest entry.

    In capitals, which a code holds in fewer modules than small letters.
    """
    return f"HEAD {head.upper()}"


def qr_code(text: str, x: float, y: float, side: float) -> Modules | Words:
    """The code's dark modules, ``side`` millimetres wide without its quiet zone (leave 4 modules clear).

    Where they would be too fine to be read there is no code, and the paper says so.
    """
    count, runs = code_of(text)
    if not count or side / count < LEAST_MODULE_MM:
        return Words(x, y + side / 2, "NO CODE", size=6, face=Face.BOLD, fill="#000000")
    return Modules(x, y, side / count, runs)


PT: Final = 72 / 25.4
"""Points in a millimetre."""


def pdf_of(pages: Iterable[Page], *, title: str) -> bytes:
    """The pages as one PDF. Raises ValueError where there is no page."""
    from reportlab import rl_config
    from reportlab.pdfgen.canvas import Canvas

    # Plain binary streams: the ASCII armour is a habit from 8-bit mail and costs a third of the time.
    rl_config.useA85 = 0
    out = BytesIO()
    canvas = Canvas(out, pageCompression=1, invariant=1)
    canvas.setTitle(title)
    canvas.setCreator("mountbook")
    canvas.setAuthor("mountbook")
    canvas.setViewerPreference("PrintScaling", "None")
    heads: dict[str, None] = {}
    for page in pages:
        canvas.setPageSize((page.width * PT, page.height * PT))
        pen = _CanvasPen(canvas, page.height)
        for shape in page.shapes:
            pen.draw(shape)
        canvas.showPage()
        heads |= {page.head: None} if page.head else {}
    if canvas.getPageNumber() == 1:
        raise ValueError(f"nothing to print: {title}")
    canvas.setKeywords(", ".join(f"HEAD {head}" for head in heads))
    canvas.save()
    return out.getvalue()


@cache
def _colour(text: str) -> Any:
    from reportlab.lib.colors import HexColor

    return HexColor(text)


class _CanvasPen:
    """Draws the shapes of one page; remembers its pen and ink, and only says when it takes another."""

    def __init__(self, canvas: Canvas, height: float) -> None:
        self.canvas, self.height = canvas, height
        self._pen: tuple[str | None, float, tuple[float, ...]] = (None, 0.0, ())
        self._fill: str | None = None

    def draw(self, shape: Shape) -> None:
        if isinstance(shape, Words):
            self._write(shape)
        elif isinstance(shape, Modules):
            self._modules(shape)
        else:
            self._figure(shape)

    def _up(self, y: float) -> float:
        """PDF counts from the bottom."""
        return (self.height - y) * PT

    def _figure(self, shape: Line | Box | Disc | Poly) -> None:
        pen = (shape.stroke, shape.width, shape.dash)
        if shape.stroke is not None and pen != self._pen:
            self._pen = pen
            self.canvas.setStrokeColor(_colour(shape.stroke))
            self.canvas.setLineWidth(shape.width * PT)
            self.canvas.setDash([part * PT for part in shape.dash])
        self._ink(shape.fill)
        stroke, fill = int(shape.stroke is not None), int(shape.fill is not None)
        if isinstance(shape, Line):
            self.canvas.line(shape.x1 * PT, self._up(shape.y1), shape.x2 * PT, self._up(shape.y2))
        elif isinstance(shape, Disc):
            self.canvas.circle(shape.x * PT, self._up(shape.y), shape.r * PT, stroke, fill)
        elif isinstance(shape, Poly):
            self._polygon(shape, stroke, fill)
        else:
            left, bottom, w, h = shape.x * PT, self._up(shape.y + shape.h), shape.w * PT, shape.h * PT
            if shape.radius:
                self.canvas.roundRect(left, bottom, w, h, shape.radius * PT, stroke, fill)
            else:
                self.canvas.rect(left, bottom, w, h, stroke, fill)

    def _ink(self, fill: str | None) -> None:
        if fill is not None and fill != self._fill:
            self._fill = fill
            self.canvas.setFillColor(_colour(fill))

    def _polygon(self, shape: Poly, stroke: int, fill: int) -> None:
        path = self.canvas.beginPath()
        (x, y), *rest = shape.points
        path.moveTo(x * PT, self._up(y))
        for x, y in rest:
            path.lineTo(x * PT, self._up(y))
        if shape.closed:
            path.close()
        self.canvas.drawPath(path, stroke=stroke, fill=fill)

    def _modules(self, shape: Modules) -> None:
        self._ink(shape.fill)
        path = self.canvas.beginPath()
        side = shape.module
        for column, row, length in shape.runs:
            path.rect(
                (shape.x + column * side) * PT,
                self._up(shape.y + (row + 1) * side),
                length * side * PT,
                side * PT,
            )
        self.canvas.drawPath(path, stroke=0, fill=1)

    def _write(self, shape: Words) -> None:
        part = {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[shape.anchor]
        shift = width_mm(shape.text, shape.face, shape.size) * part if part else 0.0
        self._ink(shape.fill)
        if shape.turn:
            self.canvas.saveState()
            self.canvas.translate(shape.x * PT, self._up(shape.y))
            self.canvas.rotate(shape.turn)
            self._line(-shift * PT, 0, shape)
            self.canvas.restoreState()
        else:
            self._line((shape.x - shift) * PT, self._up(shape.y), shape)

    def _line(self, x: float, y: float, shape: Words) -> None:
        text = self.canvas.beginText(x, y)
        for run in runs(shape.text, shape.face):
            text.setFont(run.font, shape.size)
            text.textOut(run.text)
        self.canvas.drawText(text)


_FULL: Final = re.compile(r"HEAD (\d{1,15}):([0-9A-Fa-f]{64})")
_PRINTED: Final = re.compile(r"ledger (\d{1,15}):([0-9a-f]{8})\b")


def heads_of_sheets(folder: Path) -> Iterator[KeptHead]:
    """Yield each head on the sheets in a folder and below it, once a file; a file that is no PDF says so."""
    import pypdfium2

    for path in sorted(folder.rglob("*.pdf")):
        try:
            with pypdfium2.PdfDocument(path) as document:
                text = document.get_metadata_value("Keywords")
                found = _FULL.findall(text) or _PRINTED.findall(
                    "\n".join(page.get_textpage().get_text_bounded() for page in document)
                )
        except (pypdfium2.PdfiumError, OSError) as fault:
            yield KeptHead(head=Head(0, ""), place=f"{path}", fault=f"cannot be read as a PDF: {fault}")
            continue
        for seq, digits in dict.fromkeys(found):
            yield KeptHead(head=Head(int(seq), digits.lower()), place=str(path))
