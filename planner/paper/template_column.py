"""The text column beside a true-scale template: ski, stop rule, how to lay it, ledger head."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.base.program import program
from fleet.facts.holes import Side
from planner.paper import cautions
from planner.paper.shapes import AMBER, GARNET, INK, PINE, SMALL, SOFT, WHITE, Anchor, Drawing, Face
from planner.paper.sheet_frame import (
    HEAD_CODE_MM,
    LEAST_TAG,
    Anchors,
    head_code,
    qr_code,
    sheet_code,
    shown_head,
)
from planner.paper.typeface import paragraph, shortened, size_that_fits, wrapped


@dataclass(frozen=True, slots=True, kw_only=True)
class PairColumn:
    """The text of the column that every sheet of one pair carries."""

    tag: str
    number: str | None
    revision: str | None
    model: str
    boot: str
    drill: str
    bar_limit_mm: str
    scale: str
    proposal: bool
    anchors: Anchors


def draw_column(
    d: Drawing,
    column: PairColumn,
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
    pen = _ColumnPen(d, left, right, 10.0)
    if column.proposal:
        pen.proposal()
    pen.words("TRUE-SCALE TEMPLATE", 9.5, Face.BOLD)
    pen.big(column.tag, 26, Face.MONO_BOLD)
    pen.big(f"SKI {side}", 26, Face.BOLD)
    d.add(qr_code(sheet_code(column.number, column.revision, column.tag, side), left, pen.y + 2.0, 15.0))
    d.add(qr_code(head_code(column.anchors.head), right - HEAD_CODE_MM, pen.y + 2.0, HEAD_CODE_MM))
    pen.y += 20.5
    pen.words(
        f"{column.number} rev {column.revision}" if column.number else "not issued", 10.5, Face.MONO_BOLD
    )
    pen.words(column.model, 8.5, Face.SANS)
    pen.words(column.boot, 8.5, Face.SANS)
    pen.y += 1.5
    pen.words(column.drill, 10.5, Face.BOLD, GARNET)
    pen.y += 2.0
    pen.stop(
        [
            f"Both bars by steel ruler: 250 mm and 100 mm, each within {column.bar_limit_mm} mm.",
            *(
                f"Far line: {words}, by steel ruler on the ski, within {column.bar_limit_mm} mm."
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
    _foot(d, column, pen.y + 3, left, right, height, number, count)


class _ColumnPen:
    """Writes downward in the column."""

    def __init__(self, d: Drawing, left: float, right: float, y: float) -> None:
        self.d, self.left, self.right, self.y = d, left, right, y

    @property
    def room(self) -> float:
        return self.right - self.left

    def words(self, text: str, size: float, face: Face, fill: str = INK) -> None:
        for line in wrapped(text, face, size, self.room):
            self.y += size * 0.43
            self.d.words(
                self.left, self.y, shortened(line, face, size, self.room + 1), size=size, face=face, fill=fill
            )

    def big(self, text: str, size: float, face: Face) -> None:
        size = size_that_fits(text, face, size, self.room, least=LEAST_TAG)
        for line in wrapped(text, face, size, self.room):
            self.y += size * 0.36
            self.d.words(self.left, self.y, line, size=size, face=face)
            self.y += size * 0.06

    def proposal(self) -> None:
        lines = wrapped(cautions.PROPOSAL_WHY, Face.BOLD, 8, self.room - 3)
        h = 7.5 + 3.4 * len(lines)
        self.d.box(self.left, self.y - 2, self.room, h, fill=AMBER, stroke=INK, width=0.5)
        self.d.words(self.left + 1.5, self.y + 3.4, cautions.PROPOSAL, size=13, face=Face.BOLD)
        for index, line in enumerate(lines):
            self.d.words(self.left + 1.5, self.y + 7.2 + 3.4 * index, line, size=8, face=Face.BOLD)
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
    column: PairColumn,
    top: float,
    left: float,
    right: float,
    height: float,
    number: int,
    count: int,
) -> None:
    room, anchors = right - left, column.anchors
    y = height - 8.0
    d.words(right, y, f"page {number} of {count}", size=9, face=Face.BOLD, anchor=Anchor.END)
    lines = [
        *wrapped(f"{cautions.DEFER} {cautions.NO_SETTING} {cautions.CLAIM}", Face.SANS, SMALL, room),
        *wrapped(column.scale, Face.SANS, SMALL, room),
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
        raise ValueError(f"the column of template {column.tag} does not fit the sheet")
