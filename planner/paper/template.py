"""The true-scale template. Laid on the ski it shows the old holes' places and the new holes'.

Only as PDF, with print scaling off. Every sheet carries the two bars by which it is proved, the stop rule,
and the ledger's old holes as dashed rings: if they do not fall on the real holes, the work stops. A column of
text beside it says which ski, the stop rule, and how to lay the sheet.

It is cut into sheets, and each is usable alone: it holds a cross line that can be found on the ski (the
printed mark wherever possible), and every hole of the order lies on some sheet with clear paper around it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.program import program
from fleet.base.units import mm_text, toward
from fleet.facts.holes import Hole, Side
from fleet.tables.snapshot import Fleet
from planner.bench.orders.bench_record import Screw
from planner.paper import cautions
from planner.paper.printer_sheet import PrinterScale, bars, printer_scale
from planner.paper.shapes import (
    AMBER,
    GARNET,
    INK,
    PINE,
    RULE,
    SMALL,
    SOFT,
    WHITE,
    Anchor,
    Drawing,
    Face,
    Page,
    paragraph,
    size_that_fits,
    wrapped,
)
from planner.paper.sheet_frame import (
    HEAD_CODE_MM,
    LEAST_TAG,
    Paper,
    head_code,
    paper_named,
    pdf_of,
    qr_code,
    sheet_code,
    shown_head,
)
from planner.paper.ski_facts import ScrewFact, SkiFact, each_ski
from planner.paper.work_order_facts import WorkOrderSheet, work_order_sheet
from planner.plan.values import PlannedSet


@dataclass(frozen=True, slots=True, kw_only=True)
class TemplateJob:
    """One pair's template: its order, each ski, the printer's scale, and how far a bar may be off."""

    order: WorkOrderSheet
    skis: tuple[SkiFact, ...]
    scale: PrinterScale
    bar_limit_mm: str


def draw_column(
    d: Drawing,
    job: TemplateJob,
    *,
    side: Side,
    anchor: str,
    far: Sequence[str],
    joins: str,
    number: int,
    count: int,
    left: float,
    right: float,
    height: float,
) -> None:
    """Write the column between ``left`` and ``right``, top to bottom, and the foot below it.

    ``far``: where the far lines of a sheet lie that no old hole proves; empty for one with old holes.
    """
    pen, order = _ColumnPen(d, left, right, 10.0), job.order
    if order.proposal:
        pen.proposal()
    pen.words("TRUE-SCALE TEMPLATE", 9.5, Face.BOLD)
    pen.big(order.pair.tag, 26, Face.MONO_BOLD)
    pen.big(f"SKI {side}", 26, Face.BOLD)
    d.add(qr_code(sheet_code(order.number, order.revision, order.pair.tag, side), left, pen.y + 2.0, 15.0))
    d.add(qr_code(head_code(order.anchors.head), right - HEAD_CODE_MM, pen.y + 2.0, HEAD_CODE_MM))
    pen.y += 20.5
    pen.words(f"{order.number} rev {order.revision}" if order.number else "not issued", 10.5, Face.MONO_BOLD)
    pen.words(order.pair.model, 8.5, Face.SANS)
    pen.words(f"boot {order.boot.tag}, sole {order.boot.sole_words}", 8.5, Face.SANS)
    pen.y += 1.5
    pen.words(_drill_words(order), 10.5, Face.BOLD, GARNET)
    pen.y += 2.0
    pen.stop(
        [
            f"Both bars by steel ruler: 250 mm and 100 mm, each within {job.bar_limit_mm} mm.",
            *(
                f"Far line: {words}, by steel ruler on the ski, within {job.bar_limit_mm} mm."
                for words in far
            ),
            *(() if far else ("Rings on the real old holes, each one pricked through.",)),
            f"One bar or one {'far line' if far else 'ring'} off: STOP. Do not use this sheet.",
        ]
    )
    pen.y += 2.5
    for index, text in enumerate(
        (
            "Print at 100 %, scaling off. Measure both bars.",
            "Cut out the window. Tip arrow to the tip.",
            f"Cross line on {anchor}; centre line by equal readings left and right at the ski's edges.",
            "At the far line, too: equal readings left and right. No old hole is on record under this sheet."
            if far
            else "Prick the rings: they are the old holes.",
            "Centre-punch the crosses, take the sheet off, measure again from the mark.",
            "Second person signs the work order before the first hole.",
        ),
        start=1,
    ):
        pen.numbered(index, text)
    pen.y += 1.5
    pen.legend(rings=not far)
    pen.y += 1.5
    pen.words(joins, 7.5, Face.BOLD)
    _foot(d, job, pen.y + 3, left, right, height, number, count)


class _ColumnPen:
    """Writes downward in the job."""

    def __init__(self, d: Drawing, left: float, right: float, y: float) -> None:
        self.d, self.left, self.right, self.y = d, left, right, y

    @property
    def room(self) -> float:
        return self.right - self.left

    def words(self, text: str, size: float, face: Face, fill: str = INK) -> None:
        step = size * 0.43
        self.y = -step + paragraph(
            self.d, self.left, self.y + step, text, size=size, room=self.room, step=step, face=face, fill=fill
        )

    def big(self, text: str, size: float, face: Face) -> None:
        size = size_that_fits(text, face, size, self.room, least=LEAST_TAG)
        low, step = size * 0.36, size * 0.42
        self.y = -low + paragraph(
            self.d, self.left, self.y + low, text, size=size, room=self.room, step=step, face=face
        )

    def proposal(self) -> None:
        lines = wrapped(cautions.PROPOSAL_WHY, Face.BOLD, 8, self.room - 3)
        h = 7.5 + 3.4 * len(lines)
        self.d.box(self.left, self.y - 2, self.room, h, fill=AMBER, stroke=INK, width=0.5)
        self.d.words(self.left + 1.5, self.y + 3.4, cautions.PROPOSAL, size=13, face=Face.BOLD)
        top, room = self.y + 7.2, self.room - 3
        paragraph(
            self.d, self.left + 1.5, top, cautions.PROPOSAL_WHY, size=8, room=room, step=3.4, face=Face.BOLD
        )
        self.y += h + 1.5

    def stop(self, lines: list[str]) -> None:
        broken = [part for line in lines for part in wrapped(line, Face.BOLD, 8.5, self.room - 4)]
        h = 8.2 + 3.7 * len(broken)
        self.d.box(self.left, self.y, self.room, h, fill=WHITE, stroke=GARNET, width=1.0, radius=1.5)
        self.d.words(self.left + 2, self.y + 5.4, "STOP RULE", size=12, face=Face.BOLD, fill=GARNET)
        for index, line in enumerate(broken):
            self.d.words(self.left + 2, self.y + 9.6 + 3.7 * index, line, size=8.5, face=Face.BOLD)
        self.y += h

    def numbered(self, number: int, text: str) -> None:
        self.d.words(self.left, self.y + 3.3, str(number), size=9, face=Face.BOLD)
        left, room = self.left + 4.5, self.room - 4.5
        self.y = paragraph(self.d, left, self.y + 3.3, text, size=8, room=room, step=3.3) - 2.6

    def legend(self, *, rings: bool) -> None:
        d, x = self.d, self.left + 2.5
        self.y += 3.5
        d.line(x - 2.4, self.y - 1, x + 2.4, self.y - 1, stroke=GARNET, width=0.15)
        d.line(x, self.y - 3.4, x, self.y + 1.4, stroke=GARNET, width=0.15)
        d.words(x + 4, self.y, "new hole", size=7.5)
        self.y += 5.4
        d.disc(x, self.y - 1, 1.9, stroke=PINE, width=0.8)
        d.words(x + 4, self.y, "old hole that takes a screw", size=7.5)
        if not rings:
            return
        self.y += 5.0
        d.disc(x, self.y - 1, 1.9, stroke=INK, width=0.2, dash=(0.7, 0.5))
        d.words(x + 4, self.y, "old hole, for laying the sheet", size=7.5)


def _foot(
    d: Drawing,
    job: TemplateJob,
    top: float,
    left: float,
    right: float,
    height: float,
    number: int,
    count: int,
) -> None:
    room, anchors = right - left, job.order.anchors
    y = height - 8.0
    d.words(right, y, f"page {number} of {count}", size=9, face=Face.BOLD, anchor=Anchor.END)
    lines = [
        *wrapped(f"{cautions.DEFER} {cautions.NO_SETTING} {cautions.CLAIM}", Face.SANS, SMALL, room),
        *wrapped(job.scale.words, Face.SANS, SMALL, room),
        *wrapped(
            f"{anchors.shop} · ledger {shown_head(anchors.head)} · plan {anchors.plan_hash}",
            Face.SANS,
            SMALL,
            room,
        ),
        *wrapped(f"printed {anchors.printed_at} · {program()}", Face.SANS, SMALL, room),
    ]
    stale = wrapped(f"STALE AFTER {anchors.stale_after}: then print it again.", Face.BOLD, SMALL + 0.4, room)
    y -= 4.5 + 2.65 * len(lines) + 3.0 * (len(stale) - 1)
    start = y
    for line in lines:
        d.words(left, y, line, size=SMALL, fill=SOFT)
        y += 2.65
    for line in stale:
        d.words(left, y, line, size=SMALL + 0.4, face=Face.BOLD)
        y += 3.0
    if start < top:
        raise ValueError(f"the column of template {job.order.pair.tag} does not fit the sheet")


CLEAR_UM: Final = 15_000
"""Paper left between a hole of the order and the end of its sheet, micrometres."""
_STEP_UM: Final = 50_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """A stretch of the ski, micrometres from its own mark, ``start_um`` toward the tail.

    ``anchor_um`` is the cross line by which the sheet is laid: 0 is the mark itself.
    """

    start_um: int
    end_um: int
    anchor_um: int

    def holds(self, x_um: int, clear_um: int = CLEAR_UM) -> bool:
        """Return True if the place lies on this sheet with that much paper on either side."""
        return self.start_um + clear_um <= x_um <= self.end_um - clear_um


def tiles(holes_um: Sequence[int], span_um: int) -> tuple[Tile, ...]:
    """Return the sheets for these places (x from the mark), tip first: one if possible, else the fewest.

    ``span_um`` is the length one sheet shows. Raises ValueError where a sheet is too short to be of use.
    """
    if span_um < 4 * CLEAR_UM + _STEP_UM:
        raise ValueError(f"a sheet of {mm_text(span_um)} mm is too short for a template")
    places = sorted({0, *holes_um})
    low, high = places[0], places[-1]
    if high - low + 2 * CLEAR_UM <= span_um:
        return (_centred(low, high, span_um, 0),)
    front = _outward([x for x in places if x >= 0], span_um, 1) if high > 0 else []
    back = _outward([-x for x in reversed(places) if x <= 0], span_um, -1) if low < 0 else []
    return (*reversed(front), *back)


def _outward(distances: Sequence[int], span_um: int, way: int) -> list[Tile]:
    """Return sheets from the mark outward on one side; ``distances`` ascend from 0. The first holds the
    mark.
    """
    found: list[Tile] = []
    left, anchor = list(distances), 0
    while True:
        reach = anchor + span_um - 2 * CLEAR_UM
        outermost = max([x for x in left if x <= reach], default=anchor)
        left = [x for x in left if x > reach]
        # The next sheet's cross line stands at a round distance that this one still shows: there they join.
        following = min(left[0], reach) // _STEP_UM * _STEP_UM if left else anchor
        low, high = sorted((way * anchor, way * max(outermost, following)))
        found.append(_centred(low, high, span_um, way * anchor))
        if not left:
            return found
        anchor = following


def _centred(low: int, high: int, span_um: int, anchor_um: int) -> Tile:
    start = (low + high - span_um) // 2
    return Tile(start_um=start, end_um=start + span_um, anchor_um=anchor_um)


_TOP: Final = 8.0
_BOTTOM: Final = 19.0
_AXIS: Final = 82.0
"""The ski's centre line stands this far from the left edge of the paper, millimetres."""
_DEFAULT_RING_UM: Final = 5_000
_FAR_UM: Final = 60_000
"""A line nearer than this to the cross line shows no stretch that a rule could read."""
_FAR_CLEAR_UM: Final = 6_000
"""From the sheet's end; together with the step it is less than the paper left beyond the last hole."""
_FAR_STEP_UM: Final = 5_000


def template_job(
    fleet: Fleet,
    planned: PlannedSet,
    *,
    number: str | None,
    revision: str | None,
    proposal: bool,
    plan_hash: str,
    printed_at: datetime,
    holes: Mapping[Screw, str] | None = None,
) -> TemplateJob:
    """Return the template of one planned set. Raises Refused where the ledger does not know what it names.

    ``holes``: the ids that the issued order gave its holes; None: those that they would get now.
    """
    order = work_order_sheet(
        fleet, planned, number=number, revision=revision, proposal=proposal, plan_hash=plan_hash,
        printed_at=printed_at, holes=holes,
    )  # fmt: skip
    return TemplateJob(
        order=order,
        skis=each_ski(order.pair, planned.way, holes=holes),
        scale=printer_scale(fleet.policy),
        bar_limit_mm=mm_text(fleet.policy.um("template_bar_mm")),
    )


def _drill_words(order: WorkOrderSheet) -> str:
    if not order.drills:
        return "NO DRILL: old holes only"
    if order.drill.diameter_um is None or order.drill.depth_um is None:
        return "READ THE SKI for drill and depth"
    return f"drill Ø {mm_text(order.drill.diameter_um)} × {mm_text(order.drill.depth_um)} mm"


def template_pdf(jobs: Sequence[TemplateJob], paper: str = "A4") -> bytes:
    """Return the templates as one PDF. Raises BadInput where there is nothing to lay on a ski."""
    if not jobs:
        raise BadInput("there is no template to print", cure="name an open work order")
    pages = (page for job in jobs for page in template_pages(job, paper_named(paper)))
    return pdf_of(pages, title=f"True-scale template {jobs[0].order.pair.tag}")


def sheet_span_um(paper: Paper, scale: PrinterScale) -> int:
    """Return the length of ski that one sheet shows, µm."""
    return int((paper.size_mm[1] - _TOP - _BOTTOM) / scale.along * 1000)


def template_pages(job: TemplateJob, paper: Paper) -> Iterator[Page]:
    """Yield ski A's sheets, then ski B's, tip first."""
    span = sheet_span_um(paper, job.scale)
    sheets = [
        (ski, tile, index, cut)
        for ski in job.skis
        for cut in [tiles([screw.x_um for screw in ski.screws], span)]
        for index, tile in enumerate(cut)
    ]
    for number, (ski, tile, index, cut) in enumerate(sheets, start=1):
        yield _TemplateSheet(job, ski, tile, paper).drawn(number, len(sheets), index, cut)


class _TemplateSheet:
    """One sheet: the stretch of one ski that a tile holds, at true scale."""

    def __init__(self, job: TemplateJob, ski: SkiFact, tile: Tile, paper: Paper) -> None:
        self.job, self.ski, self.tile = job, ski, tile
        self.width, self.height = paper.size_mm
        self.d = Drawing()

    def at(self, x_um: int, y_um: int) -> tuple[float, float]:
        """Return the place on the paper of a place on the ski, corrected for the printer."""
        scale = self.job.scale
        return (
            _AXIS + y_um / 1000 * scale.across,
            _TOP + (self.tile.end_um - x_um) / 1000 * scale.along,
        )

    def drawn(self, number: int, count: int, index: int, cut: tuple[Tile, ...]) -> Page:
        half = (self.job.order.pair.waist_um or 100_000) / 2000
        old = [hole.x_um for hole in self.ski.old_holes]
        old += [screw.x_um for screw in self.ski.screws if screw.do != "drill"]
        proved = any(self.tile.holds(x_um, 0) for x_um in old)
        far = () if proved else far_lines_um(self.tile)
        self._guides(half, without=far)
        self._anchor(half)
        for x_um in far:
            self._far_line(x_um, half)
        for hole in self.ski.old_holes:
            if self.tile.holds(hole.x_um, 0):
                self._old_hole(hole)
        for screw in self.ski.screws:
            if self.tile.holds(screw.x_um, 0):
                self._screw(screw)
        bars(self.d, self.job.scale, left=11.0, middle=_AXIS, bottom=self.height - 11.5, height=self.height)
        draw_column(
            self.d, self.job, side=self.ski.sides[0], anchor=anchor_words(self.tile.anchor_um),
            far=tuple(map(anchor_words, far)),
            joins=_joins(number, index, cut), number=number, count=count,
            left=_AXIS + max(half, 55.0) + 4.0, right=self.width - 7.0, height=self.height,
        )  # fmt: skip
        return replace(self.d.page(self.width, self.height), head=self.job.order.anchors.head)

    def _guides(self, half: float, *, without: tuple[int, ...]) -> None:
        """Centre line with a tick each 10 mm, the waist with each 50 mm named, and which way the tip lies."""
        d, t = self.d, self.tile
        d.line(*self.at(t.end_um, 0), *self.at(t.start_um, 0), stroke=INK, width=0.12)
        for side in (-1, 1):
            edge = round(side * half * 1000)
            d.line(*self.at(t.end_um, edge), *self.at(t.start_um, edge), stroke=RULE, width=0.15, dash=(3, 2))
        for x_um in range(-(-t.start_um // 10_000) * 10_000, t.end_um + 1, 10_000):
            reach = 2_000 if x_um % 50_000 else 4_000
            d.line(*self.at(x_um, -reach), *self.at(x_um, reach), stroke=SOFT, width=0.1)
            if x_um % 50_000 == 0 and x_um and x_um not in without and t.holds(x_um, 4_000):
                x, y = self.at(x_um, round(-half * 1000))  # beside the ski, where no hole is
                d.line(x - 1.5, y, x + 1.5, y, stroke=SOFT, width=0.1)
                text = f"{abs(x_um) // 1000} {'TIP' if x_um > 0 else 'TAIL'}"
                d.words(x - 2.2, y + 0.9, text, size=SMALL, fill=SOFT, anchor=Anchor.END)
        x, y = self.at(t.end_um, 0)
        d.poly([(x, y - 5.5), (x + 3, y - 0.5), (x - 3, y - 0.5)], fill=INK)
        d.words(x + 4.5, y - 1.2, "TIP", size=11, face=Face.BOLD)

    def _anchor(self, half: float) -> None:
        """The cross line by which the sheet is laid, with equal scales to both sides for centring."""
        d, x_um = self.d, self.tile.anchor_um
        left = self._cross_line(x_um, max(half, 55.0) + 1, down=True)
        x, y = self.at(x_um, 0)
        d.box(x - 12, y - 5, 24, 10, stroke=SOFT, width=0.2, dash=(1, 0.8))
        d.words(x - 1.3, y - 2.2, "cut out", size=SMALL, fill=SOFT, anchor=Anchor.END)
        d.words(x + 1.3, y - 2.2, "window", size=SMALL, fill=SOFT)
        d.words(left[0], left[1] - 1.2, anchor_words(x_um), size=9, face=Face.BOLD)

    def _cross_line(self, x_um: int, reach: float, *, down: bool) -> tuple[float, float]:
        """Draw a line across the ski with equal scales to both sides; return its left end."""
        d, way = self.d, 1 if down else -1
        left, right = self.at(x_um, round(-reach * 1000)), self.at(x_um, round(reach * 1000))
        d.line(*left, *right, stroke=INK, width=0.25)
        for mm in range(25, int(reach) + 1):
            for side in (-1, 1):
                x, y = self.at(x_um, side * mm * 1000)
                long = mm % 5 == 0
                d.line(x, y, x, y + way * (2.2 if long else 1.2), stroke=INK, width=0.12)
                if mm % 10 == 0:
                    d.words(
                        x,
                        y + (4.6 if down else -3.0),
                        str(mm),
                        size=SMALL,
                        fill=SOFT,
                        anchor=Anchor.MIDDLE,
                    )
        return left

    def _far_line(self, x_um: int, half: float) -> None:
        """A line at the end of a sheet that no old hole proves: measured on the ski, it betrays a stretch."""
        down = x_um < self.tile.anchor_um
        x, y = self._cross_line(x_um, max(half, 55.0) + 1, down=down)
        text = f"FAR LINE: {anchor_words(x_um)}"
        self.d.words(x, y - 1.2 if down else y + 3.6, text, size=9, face=Face.BOLD)

    def _old_hole(self, hole: Hole) -> None:
        x, y = self.at(hole.x_um, hole.y_um)
        r = (hole.diameter_um or _DEFAULT_RING_UM) / 2000
        self.d.disc(x, y, r + 0.1, stroke=INK, width=0.2, dash=(0.7, 0.5))
        self.d.disc(x, y, 0.2, fill=INK)
        plug = hole in self.ski.plugs
        text = f"{hole.label} {'PLUG' if plug else hole.state.value}"
        self._beside(x, r + 1.2, y + 2.4, text, size=SMALL, fill=INK if plug else SOFT)

    def _screw(self, screw: ScrewFact) -> None:
        d = self.d
        x, y = self.at(screw.x_um, screw.y_um)
        if screw.do == "drill":
            d.line(x - 6, y, x + 6, y, stroke=GARNET, width=0.12)
            d.line(x, y - 6, x, y + 6, stroke=GARNET, width=0.12)
            d.disc(x, y, (screw.diameter_um or 4_000) / 2000, stroke=GARNET, width=0.15)
        else:
            r = ((screw.old and screw.old.diameter_um) or _DEFAULT_RING_UM) / 2000
            d.disc(x, y, r + 0.5, stroke=PINE, width=0.8)
            d.disc(x, y, 0.2, fill=PINE)
            self._beside(x, 2.6 * len(screw.label) + 4.2, y - 2.8, "reuse", size=SMALL, fill=PINE)
        ink = GARNET if screw.do == "drill" else PINE
        self._beside(x, 3.4, y - 2.8, screw.label, size=11, face=Face.BOLD, fill=ink)

    def _beside(
        self, x: float, shift: float, y: float, text: str, *, size: float, fill: str, face: Face = Face.SANS
    ) -> None:
        """Words beside a hole, away from the centre line: it would strike them through."""
        left = x < _AXIS
        anchor = Anchor.END if left else Anchor.START
        self.d.words(
            x - shift if left else x + shift, y, text, size=size, face=face, fill=fill, anchor=anchor
        )


def far_lines_um(tile: Tile) -> tuple[int, ...]:
    """Return where a sheet is measured besides its own cross line: near each end that lies far from that."""
    tail = -(-(tile.start_um + _FAR_CLEAR_UM) // _FAR_STEP_UM) * _FAR_STEP_UM
    tip = (tile.end_um - _FAR_CLEAR_UM) // _FAR_STEP_UM * _FAR_STEP_UM
    return tuple(x_um for x_um in (tip, tail) if abs(x_um - tile.anchor_um) >= _FAR_UM)


def anchor_words(anchor_um: int) -> str:
    """Return the meaning of the cross line in words: the printed mark, or a distance from it."""
    if anchor_um == 0:
        return "the ski's own MARK"
    return f"{toward(anchor_um)} of the mark"


def _joins(number: int, index: int, cut: tuple[Tile, ...]) -> str:
    """Return in words how this sheet meets its neighbours."""
    if len(cut) == 1:
        return "the whole order of this ski is on this sheet"
    others = [number + step for step in (-1, 1) if 0 <= index + step < len(cut)]
    return f"joins sheet {' and '.join(map(str, others))}: cross line on cross line, centre on centre"
