"""Shapes: a sheet is a list of them in millimetres, x to the right, y DOWN from the top left corner.

Nothing here knows PDF, SVG or skis. Two writers draw the same shapes, so a sheet can be looked at and
measured in either.

The palette and the type sizes of every sheet are here, too: black on white first, forms before colours.
Three inks carry meaning and never alone: garnet for what cannot be undone (drill), pine for what is there
already (reuse), amber stripes for a proposal. In grey all three stay apart by form.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

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


@dataclass(frozen=True, slots=True)
class Line:
    """A straight stroke. ``dash`` in millimetres, empty for solid."""

    x1: float
    y1: float
    x2: float
    y2: float
    stroke: str
    width: float
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle with corners rounded by ``radius``."""

    x: float
    y: float
    w: float
    h: float
    fill: str | None = None
    stroke: str | None = None
    width: float = 0.2
    radius: float = 0.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle, filled or not."""

    x: float
    y: float
    r: float
    fill: str | None = None
    stroke: str | None = None
    width: float = 0.2
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Poly:
    """A polygon, or a polyline where it is not ``closed``."""

    points: tuple[Point, ...]
    fill: str | None = None
    stroke: str | None = None
    width: float = 0.2
    closed: bool = True
    dash: tuple[float, ...] = ()


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


class Drawing:
    """A collector of shapes, with the short verbs that draw a sheet."""

    def __init__(self) -> None:
        self.shapes: list[Shape] = []

    def line(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        *,
        stroke: str,
        width: float = 0.2,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw a stroke."""
        self.shapes.append(Line(x1, y1, x2, y2, stroke, width, dash))

    def box(
        self,
        x: float,
        y: float,
        w: float,
        h: float,
        *,
        fill: str | None = None,
        stroke: str | None = None,
        width: float = 0.2,
        radius: float = 0.0,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw a rectangle."""
        self.shapes.append(Box(x, y, w, h, fill, stroke, width, radius, dash))

    def disc(
        self,
        x: float,
        y: float,
        r: float,
        *,
        fill: str | None = None,
        stroke: str | None = None,
        width: float = 0.2,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw a circle."""
        self.shapes.append(Disc(x, y, r, fill, stroke, width, dash))

    def poly(
        self,
        points: Sequence[Point],
        *,
        fill: str | None = None,
        stroke: str | None = None,
        width: float = 0.2,
        closed: bool = True,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw a polygon or a polyline."""
        self.shapes.append(Poly(tuple(points), fill, stroke, width, closed, dash))

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
