"""The embedded type: which glyphs it has, and how wide a line of it runs.

Noto Sans and Noto Sans Mono, subset to Latin, Greek and Cyrillic (fonts/subset.sh, fonts/OFL.txt). PDF has
no glyph fallback, so a text the font lacks would print as a box: here it is an error instead.
"""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path
from typing import Any, Final

from fleet.errors import BadInput
from planner.paper.shapes import Face

FONT_FOLDER: Final = Path(__file__).with_name("fonts")
FILES: Final = {
    Face.SANS: "NotoSans-Regular.ttf",
    Face.BOLD: "NotoSans-Bold.ttf",
    Face.MONO: "NotoSansMono-Regular.ttf",
    Face.MONO_BOLD: "NotoSansMono-Bold.ttf",
}
MM_PER_PT: Final = 25.4 / 72


@cache
def registered(face: Face) -> tuple[str, Any]:
    """The face's name and metrics inside the PDF library (its registry is global; filled once)."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    name = FILES[face].removesuffix(".ttf")
    font = TTFont(name, str(FONT_FOLDER / FILES[face]))
    pdfmetrics.registerFont(font)
    return name, font.face


@lru_cache(maxsize=16384)
def checked(text: str, face: Face) -> str:
    """The text, if every character has a glyph. Raises BadInput naming the ones that have none."""
    glyphs = registered(face)[1].charToGlyph
    lacking = sorted({char for char in text if ord(char) not in glyphs})
    if lacking:
        codes = ", ".join(f"U+{ord(char):04X}" for char in lacking)
        raise BadInput(
            f"{text!r} cannot be printed: the sheets' typeface has no glyph for {codes}",
            cure="write that name in Latin, Greek or Cyrillic letters (correct the row and import it again)",
        )
    return text


@lru_cache(maxsize=16384)
def width_mm(text: str, face: Face, size: float) -> float:
    """How wide the text runs at this size (points), in millimetres."""
    metrics = registered(face)[1]
    widths, default = metrics.charWidths, metrics.defaultWidth
    units = sum(widths.get(ord(char), default) for char in checked(text, face))
    return float(units) * size / 1000 * MM_PER_PT


def size_that_fits(text: str, face: Face, size: float, room_mm: float, *, least: float) -> float:
    """The largest size up to ``size`` (half points) at which the text fits, but never below ``least``."""
    while size > least and width_mm(text, face, size) > room_mm:
        size -= 0.5
    return size


def shortened(text: str, face: Face, size: float, room_mm: float) -> str:
    """The text, cut with an ellipsis where it must be. For names only; a number is never cut."""
    if width_mm(text, face, size) <= room_mm:
        return text
    while text and width_mm(text + "…", face, size) > room_mm:
        text = text[:-1].rstrip()
    return text + "…"


def wrapped(text: str, face: Face, size: float, room_mm: float) -> list[str]:
    """The text broken into lines no wider than the room (a single long word may stick out)."""
    lines: list[str] = []
    current = ""
    for word in text.split():
        trial = f"{current} {word}" if current else word
        if current and width_mm(trial, face, size) > room_mm:
            lines.append(current)
            current = word
        else:
            current = trial
    return [*lines, current] if current else lines
