"""Shapes: a sheet is a list of them in millimetres, x to the right, y DOWN from the top left corner.

Nothing here draws PDF or SVG, or knows skis. Two writers draw the same shapes, so a sheet can be looked at
and measured in either.

The palette and the type sizes of every sheet are here, too: black on white first, forms before colours. Three
inks carry meaning and never alone: garnet for what cannot be undone (drill), pine for what is there already
(reuse), amber stripes for a proposal. In grey all three stay apart by form.

And the embedded type: its glyphs, and the width of a line of text. The first face is Noto Sans and Noto Sans
Mono, subset to Latin, Greek and Cyrillic; the second, for signs that the first lacks, is Noto Sans CJK JP,
subset to what machines in Japan write (fonts/subset.sh). `runs` is the one place where a text is parted
between them. A character that neither has is printed as its code: ``[U+1F3BF]``. No renter's remark keeps the
evening's list from the printer.

The second face has one weight, and the Japanese form of signs that Chinese writes differently. Scripts that
join, or run from the right, need shaping, which the PDF writer does not do: a code is better than a word
drawn wrongly.
"""

import unicodedata
from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache, lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any, Concatenate, Final, NamedTuple, ParamSpec

INK: Final = "#12171B"
SOFT: Final = "#4F5A61"
"""For labels and small print; 7:1 on white."""
RULE: Final = "#B7C1C6"
ICE: Final = "#EEF3F5"
"""The ski's top sheet and quiet bands."""
STEEL: Final = "#8D989E"
"""A plugged hole: there, and of no use."""
WHITE: Final = "#FFFFFF"
GARNET: Final = "#A3123F"
GARNET_PALE: Final = "#FBEAEF"
PINE: Final = "#0B6456"
AMBER: Final = "#F2B134"

TAG: Final = 38.0
TITLE: Final = 20.0
LOUD: Final = 27.0
BIG: Final = 15.0
READ: Final = 11.0
"""The least size of anything that is read at arm's length."""
LABEL: Final = 7.5
SMALL: Final = 7.0
"""No sheet has smaller type, in points."""


Point = tuple[float, float]


class Face(StrEnum):
    """The four type faces that are embedded."""

    SANS = "sans"
    BOLD = "sans bold"
    MONO = "mono"
    MONO_BOLD = "mono bold"


class Anchor(StrEnum):
    """The point of a text that lies at its x."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """The inks of a figure: its fill and its stroke. ``dash`` in millimetres, empty for solid."""

    fill: str | None = None
    stroke: str | None = None
    width: float = 0.2
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Line(Figure):
    """A straight stroke."""

    x1: float
    y1: float
    x2: float
    y2: float
    stroke: str = field(kw_only=True)


@dataclass(frozen=True, slots=True)
class Box(Figure):
    """An upright rectangle with corners rounded by ``radius``."""

    x: float
    y: float
    w: float
    h: float
    radius: float = 0.0


@dataclass(frozen=True, slots=True)
class Disc(Figure):
    """A circle, filled or not."""

    x: float
    y: float
    r: float


@dataclass(frozen=True, slots=True)
class Poly(Figure):
    """A polygon, or a polyline where it is not ``closed``."""

    points: Sequence[Point]
    closed: bool = True


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text on its baseline; ``size`` in points, ``turn`` in degrees counter-clockwise."""

    x: float
    y: float
    text: str
    size: float
    face: Face
    fill: str
    anchor: Anchor = Anchor.START
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class Modules:
    """Dark squares on a grid (a QR code): ``runs`` are (column, row, length) counted from the top left."""

    x: float
    y: float
    module: float
    runs: tuple[tuple[int, int, int], ...]
    fill: str = "#000000"


Shape = Line | Box | Disc | Poly | Words | Modules


@dataclass(frozen=True, slots=True)
class Page:
    """A finished page, millimetres. ``head``: the ledger's newest entry when it was drawn, for a program."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    head: str = ""


_P = ParamSpec("_P")


def _verb(shape: Callable[_P, Shape]) -> Callable[Concatenate["Drawing", _P], None]:
    """Return the method that adds such a shape to a drawing."""

    def draw(drawing: "Drawing", /, *args: _P.args, **kwargs: _P.kwargs) -> None:
        drawing.add(shape(*args, **kwargs))

    return draw


class Drawing:
    """A collector of shapes, with the short verbs that draw a sheet."""

    line = _verb(Line)
    box = _verb(Box)
    disc = _verb(Disc)
    poly = _verb(Poly)

    def __init__(self) -> None:
        self.shapes: list[Shape] = []

    def words(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float,
        face: Face = Face.SANS,
        fill: str = "#12171B",
        anchor: Anchor = Anchor.START,
        turn: float = 0.0,
    ) -> None:
        """Write one line of text on its baseline; an empty text draws nothing."""
        if text:
            self.shapes.append(Words(x, y, text, size, face, fill, anchor, turn))

    def add(self, shape: Shape) -> None:
        """Add a ready shape."""
        self.shapes.append(shape)

    def page(self, width: float, height: float) -> Page:
        """The page as a value."""
        return Page(width, height, tuple(self.shapes))


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


LowLine = tuple[float, str, float, Face, str]
"""A line among others: how far below their edge it stands, its text, size, face and ink."""


def stacked(
    d: Drawing, x: float, y: float, lines: Iterable[LowLine], *, anchor: Anchor = Anchor.START
) -> None:
    """Write lines under each other, each as far below ``y`` as it says."""
    for low, text, size, face, fill in lines:
        d.words(x, y + low, text, size=size, face=face, fill=fill, anchor=anchor)


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
