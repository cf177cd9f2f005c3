"""The embedded type: its glyphs, and the width of a line of text.

The first face is Noto Sans and Noto Sans Mono, subset to Latin, Greek and Cyrillic; the second, for signs
that the first lacks, is Noto Sans CJK JP, subset to what machines in Japan write (fonts/subset.sh). `runs` is
the one place where a text is parted between them. A character that neither has is printed as its code:
``[U+1F3BF]``. No renter's remark keeps the evening's list from the printer.

The second face has one weight, and the Japanese form of signs that Chinese writes differently. Scripts that
join, or run from the right, need shaping, which the PDF writer does not do: a code is better than a word
drawn wrongly.
"""

import unicodedata
from bisect import bisect_right
from functools import cache, lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any, Final, NamedTuple

from planner.paper.shapes import INK, Anchor, Drawing, Face

FONT_FOLDER: Final = Path(__file__).with_name("fonts")
FILES: Final = {
    Face.SANS: "NotoSans-Regular.ttf",
    Face.BOLD: "NotoSans-Bold.ttf",
    Face.MONO: "NotoSansMono-Regular.ttf",
    Face.MONO_BOLD: "NotoSansMono-Bold.ttf",
}
SECOND_FILE: Final = "NotoSansCJKjp-Regular.ttf"
MM_PER_PT: Final = 25.4 / 72


@cache
def _registered(file: str) -> tuple[str, Any]:
    """The font's name and metrics inside the PDF library (its registry is global; filled once)."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    name = file.removesuffix(".ttf")
    font = TTFont(name, str(FONT_FOLDER / file))
    pdfmetrics.registerFont(font)
    return name, font.face


_UNSEEN: Final = frozenset(("Cc", "Cf", "Cs", "Co", "Cn"))
"""Categories without a sign of their own (controls, directions, halves); some have a glyph all the same."""


class Run(NamedTuple):
    """Characters that are drawn one after another from one font file."""

    file: str
    text: str

    @property
    def font(self) -> str:
        """The font's name inside the PDF library."""
        return _registered(self.file)[0]

    def width_mm(self, size: float) -> float:
        """Return the width at this size (points), in millimetres."""
        metrics = _registered(self.file)[1]
        widths, default = metrics.charWidths, metrics.defaultWidth
        return float(sum(widths.get(ord(char), default) for char in self.text)) * size / 1000 * MM_PER_PT


@lru_cache(maxsize=16384)
def runs(text: str, face: Face) -> tuple[Run, ...]:
    """Return the text as printed, parted by font: accents joined, breaks and tabs as blanks, a missing glyph
    as its code.
    """
    if text.isascii() and text.isprintable():
        return (Run(FILES[face], text),)
    shown = (_shown(char, face) for char in unicodedata.normalize("NFC", text))
    parts = groupby(shown, key=lambda run: run.file)
    return tuple(Run(file, "".join(run.text for run in same)) for file, same in parts)


def _shown(char: str, face: Face) -> Run:
    if char.isspace() and not char.isprintable():
        return Run(FILES[face], " ")
    if unicodedata.category(char) not in _UNSEEN:
        for file in (FILES[face], SECOND_FILE):
            if ord(char) in _registered(file)[1].charToGlyph:
                return Run(file, char)
    return Run(FILES[face], f"[U+{ord(char):04X}]")


def printable(text: str, face: Face) -> str:
    """Return the text as printed, in one."""
    return "".join(run.text for run in runs(text, face))


@lru_cache(maxsize=16384)
def width_mm(text: str, face: Face, size: float) -> float:
    """Return the width of the text at this size (points), in millimetres."""
    return sum(run.width_mm(size) for run in runs(text, face))


def size_that_fits(text: str, face: Face, size: float, room_mm: float, *, least: float) -> float:
    """Return the largest size up to ``size`` (half points) at which the text fits, never below ``least``."""
    while size > least and width_mm(text, face, size) > room_mm:
        size = max(size - 0.5, least)
    return size


def shortened(text: str, face: Face, size: float, room_mm: float) -> str:
    """Return the text, cut with an ellipsis where it must be. For names only; a number is never cut."""
    if width_mm(text, face, size) <= room_mm:
        return text
    lengths = range(len(text))
    fits = bisect_right(lengths, room_mm, 1, key=lambda n: width_mm(text[:n].rstrip() + "…", face, size)) - 1
    return text[:fits].rstrip() + "…"


def wrapped(text: str, face: Face, size: float, room_mm: float, *, most: int | None = None) -> list[str]:
    """Return the text in lines no wider than the room, broken between words, or inside an over-long word.

    ``most``: so many lines at most; where more would be needed the last one is cut, and shows it.
    """
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
    lines += [current] if current else []
    if most is None or len(lines) <= most:
        return lines
    return [*lines[: most - 1], shortened(" ".join(lines[most - 1 :]), face, size, room_mm)]


def paragraph(
    d: Drawing,
    x: float,
    y: float,
    text: str,
    *,
    size: float,
    room: float,
    step: float,
    face: Face = Face.SANS,
    fill: str = INK,
    most: int | None = None,
) -> float:
    """Write a text in lines that fit the room, the first on ``y`` and each ``step`` below the one before.

    Returns where the next line would stand. ``most``: as `wrapped` takes it.
    """
    for line in wrapped(text, face, size, room, most=most):
        d.words(x, y, line, size=size, face=face, fill=fill)
        y += step
    return y


def fitted(
    d: Drawing,
    x: float,
    y: float,
    text: str,
    *,
    size: float,
    room: float,
    least: float,
    face: Face = Face.SANS,
    fill: str = INK,
    anchor: Anchor = Anchor.START,
    cut: bool = False,
) -> None:
    """Write a text on one line, as large as fits the room. ``cut``: where even ``least`` is too large."""
    size = size_that_fits(text, face, size, room, least=least)
    said = shortened(text, face, size, room) if cut else text
    d.words(x, y, said, size=size, face=face, fill=fill, anchor=anchor)


def _longest(word: str, face: Face, size: float, room_mm: float) -> int:
    """Return the number of characters of the word that fit, one at least."""
    more = range(2, len(word) + 1)
    return 1 + bisect_right(more, room_mm, key=lambda fits: width_mm(word[:fits], face, size))
