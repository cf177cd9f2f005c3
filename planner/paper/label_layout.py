"""The places of labels on a sheet, as measured with a ruler: numbers only, no list of products.

A roll is a sheet of one label.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fleet.base.errors import BadInput
from planner.paper.sheet_frame import paper_named

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
        if self.columns < 1 or self.rows < 1:
            raise BadInput("a sheet has at least one label", cure="give --columns and --rows from 1")
        if not (self.w >= LEAST_W_MM and self.h >= LEAST_H_MM):
            raise BadInput(
                f"a label of {self.w:g} x {self.h:g} mm is too small for tag and code",
                cure=f"use labels of at least {LEAST_W_MM:g} x {LEAST_H_MM:g} mm",
            )
        if (self.columns > 1 and self.pitch_x < self.w) or (self.rows > 1 and self.pitch_y < self.h):
            raise BadInput(
                "the labels overlap: a pitch is smaller than the label",
                cure="measure from one label's left (top) edge to the next one's",
            )
        over_x = self.left + (self.columns - 1) * self.pitch_x + self.w - self.page_w
        over_y = self.top + (self.rows - 1) * self.pitch_y + self.h - self.page_h
        if not (max(over_x, over_y) <= 0.05 and min(self.left, self.top) >= 0):
            raise BadInput(
                f"the labels reach {max(over_x, over_y):.1f} mm over the edge of the sheet",
                cure="measure left, top, pitch and label once more",
            )

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
