"""The two bars that prove a true-scale print: 250 mm along the sheet, 100 mm across."""

from __future__ import annotations

from planner.paper.ink import INK
from planner.paper.printer import ACROSS_MM, ALONG_MM, PrinterScale
from planner.paper.shapes import Anchor, Drawing, Face


def bars(
    d: Drawing, scale: PrinterScale, *, left: float, middle: float, bottom: float, height: float
) -> None:
    """Draw both bars: the long one upright at ``left``, centred; the short one about ``middle``.

    They are measured between the outer edges of their end strokes' middles, like a rule's graduations.
    """
    long, short = ALONG_MM * scale.along, ACROSS_MM * scale.across
    top = (height - long) / 2
    d.line(left, top, left, top + long, stroke=INK, width=0.3)
    for end in (top, top + long):
        d.line(left - 2.5, end, left + 2.5, end, stroke=INK, width=0.12)
    for mm in range(10, int(ALONG_MM), 10):
        y = top + mm * scale.along
        d.line(left, y, left + (2.0 if mm % 50 == 0 else 1.0), y, stroke=INK, width=0.12)
    d.words(
        left - 1.2, height / 2, f"{ALONG_MM:g} mm exactly, end to end: measure it", size=8, face=Face.BOLD,
        anchor=Anchor.MIDDLE, turn=90,
    )  # fmt: skip
    start = middle - short / 2
    d.line(start, bottom, start + short, bottom, stroke=INK, width=0.3)
    for end in (start, start + short):
        d.line(end, bottom - 2.5, end, bottom + 2.5, stroke=INK, width=0.12)
    for mm in range(10, int(ACROSS_MM), 10):
        x = start + mm * scale.across
        d.line(x, bottom, x, bottom - (2.0 if mm % 50 == 0 else 1.0), stroke=INK, width=0.12)
    d.words(
        middle, bottom + 4.2, f"{ACROSS_MM:g} mm exactly, end to end: measure it", size=8, face=Face.BOLD,
        anchor=Anchor.MIDDLE,
    )  # fmt: skip
