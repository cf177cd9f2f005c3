"""Charts of stacked bars in the style of the sheets: black on white first, every bar with its number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from planner.paper.ink import GARNET, ICE, INK, LABEL, READ, RULE, SMALL, SOFT, STEEL, WHITE
from planner.paper.shapes import Anchor, Drawing, Face
from planner.paper.typeface import MM_PER_PT, width_mm

_INKS: Final = {GARNET: WHITE, STEEL: INK, RULE: INK, ICE: INK, WHITE: INK}
"""Fill of a part -> the ink of its number, readable on it."""
_GAP: Final = 0.3


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar: its name below it, and the numbers of its parts from the bottom up. ``drawn``: of no record,
    but played out, which its dashed frame shows."""

    name: str
    parts: tuple[int, ...]
    drawn: bool = False


def bar_chart(
    d: Drawing,
    bars: Sequence[Bar],
    *,
    title: str,
    parts: Sequence[tuple[str, str]],
    left: float,
    top: float,
    width: float,
    height: float,
) -> None:
    """Draw the bars in that room, millimetres, under their title. ``parts``: name and fill of each part.

    The parts are named beside the title where there are more than one.
    """
    d.words(left, top + 4, title, size=READ, face=Face.BOLD)
    x = left + width
    for name, fill in reversed(parts if len(parts) > 1 else ()):
        x -= width_mm(name, Face.SANS, LABEL + 1)
        d.words(x, top + 4, name, size=LABEL + 1)
        x -= 5
        d.box(x, top + 1.2, 3.4, 3.4, fill=fill, stroke=INK)
        x -= 4
    base, most = top + height - 5, max((sum(bar.parts) for bar in bars), default=0)
    scale = (height - 16) / most if most else 0.0
    step = width / max(1, len(bars))
    wide = min(14.0, step * (1 - _GAP))
    size = LABEL + 1 if step > 9 else SMALL
    for number, bar in enumerate(bars):
        x, y, beside = left + step * number + (step - wide) / 2, base, base + 1
        for value, (_, fill) in zip(bar.parts, parts, strict=True):
            high = value * scale
            if not value:
                continue
            y -= high
            d.box(x, y, wide, high, fill=fill, stroke=INK, width=0.25, dash=(1.0, 0.8) if bar.drawn else ())
            middle = y + high / 2 + size * MM_PER_PT * 0.36
            if len(parts) > 1 and high > size * MM_PER_PT * 1.2:
                d.words(x + wide / 2, middle, str(value), size=size, fill=_INKS[fill], anchor=Anchor.MIDDLE)
            elif len(parts) > 1:  # too thin for its number, which stands beside it and above the one below
                beside = min(middle, beside - size * MM_PER_PT)
                d.words(x + wide + 1, beside, str(value), size=size)
        whole, middle = str(sum(bar.parts)), x + wide / 2
        d.words(middle, y - 1.2, whole, size=size, face=Face.BOLD, anchor=Anchor.MIDDLE)
        d.words(middle, base + 4, bar.name, size=size, fill=SOFT, anchor=Anchor.MIDDLE)
    d.line(left, base, left + width, base, stroke=INK, width=0.4)
    d.line(left, top + 6.5, left + width, top + 6.5, stroke=RULE, width=0.2)
