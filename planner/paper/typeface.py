"""The embedded type: its glyphs, and the width of a line of text.

Noto Sans and Noto Sans Mono, subset to Latin, Greek and Cyrillic (fonts/subset.sh, fonts/OFL.txt). PDF has
no glyph fallback, so a character that the type lacks is printed as its code: ``[U+1F3BF]``. No
renter's remark keeps the evening's list from the printer.

No second face is carried. One for Japanese, Chinese and Korean would add 2.1 MB to the wheel's 0.2 MB of
type, and draws one form of signs that Japanese and Chinese write differently; scripts that join, or run from
the right, need shaping, which the PDF writer does not do: a code is better than a word drawn wrongly.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, Final

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


_UNSEEN: Final = frozenset(("Cc", "Cf", "Cs", "Co", "Cn"))
"""Categories without a sign of their own (controls, directions, halves); some have a glyph all the same."""


@lru_cache(maxsize=16384)
def printable(text: str, face: Face) -> str:
    """Return the text as printed: accents joined, breaks and tabs as blanks, a missing glyph as its code."""
    if text.isascii() and text.isprintable():
        return text
    glyphs = registered(face)[1].charToGlyph
    return "".join(_shown(char, glyphs) for char in unicodedata.normalize("NFC", text))


def _shown(char: str, glyphs: Mapping[int, object]) -> str:
    if char.isspace() and not char.isprintable():
        return " "
    has_sign = ord(char) in glyphs and unicodedata.category(char) not in _UNSEEN
    return char if has_sign else f"[U+{ord(char):04X}]"


@lru_cache(maxsize=16384)
def width_mm(text: str, face: Face, size: float) -> float:
    """Return the width of the text at this size (points), in millimetres."""
    metrics = registered(face)[1]
    widths, default = metrics.charWidths, metrics.defaultWidth
    units = sum(widths.get(ord(char), default) for char in printable(text, face))
    return float(units) * size / 1000 * MM_PER_PT


def size_that_fits(text: str, face: Face, size: float, room_mm: float, *, least: float) -> float:
    """Return the largest size up to ``size`` (half points) at which the text fits, never below ``least``."""
    while size > least and width_mm(text, face, size) > room_mm:
        size = max(size - 0.5, least)
    return size


def shortened(text: str, face: Face, size: float, room_mm: float) -> str:
    """Return the text, cut with an ellipsis where it must be. For names only; a number is never cut."""
    if width_mm(text, face, size) <= room_mm:
        return text
    fits, too_long = 0, len(text)
    while too_long - fits > 1:
        middle = (fits + too_long) // 2
        if width_mm(text[:middle].rstrip() + "…", face, size) <= room_mm:
            fits = middle
        else:
            too_long = middle
    return text[:fits].rstrip() + "…"


def wrapped(text: str, face: Face, size: float, room_mm: float) -> list[str]:
    """Return the text in lines no wider than the room, broken between words, or inside an over-long word."""
    lines: list[str] = []
    current = ""
    for word in text.split():
        trial = f"{current} {word}" if current else word
        if current and width_mm(trial, face, size) > room_mm:
            lines.append(current)
            trial = word
        if width_mm(trial, face, size) > room_mm:
            while (head := _longest(trial, face, size, room_mm)) < len(trial):
                lines.append(trial[:head])
                trial = trial[head:]
        current = trial
    return [*lines, current] if current else lines


def _longest(word: str, face: Face, size: float, room_mm: float) -> int:
    """Return the number of characters of the word that fit, one at least."""
    fits = 1
    while fits < len(word) and width_mm(word[: fits + 1], face, size) <= room_mm:
        fits += 1
    return fits
