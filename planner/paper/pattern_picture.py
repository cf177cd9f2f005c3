"""A pattern drawn: each piece with its holes, spacings and what it follows. Not to scale on a screen."""

from fleet.base.units import across_text, along_text
from fleet.facts.patterns import Pattern, Piece
from planner.geometry.pattern_care.words import FROM, slides_text
from planner.paper.shapes import INK, SOFT, Anchor, Drawing, Face, Page, stacked

_SCALE = 0.9
_HALF = 46.0


def pattern_picture(pattern: Pattern, *, origin: str) -> Page:
    """One page in millimetres: the pieces under each other, tip up, dimensions in words and numbers."""
    d = Drawing()
    stacked(
        d,
        10,
        0,
        (
            (14, pattern.name, 18, Face.BOLD, INK),
            (20, f"{pattern.binding_model} · {pattern.hole_count} holes a ski", 10, Face.SANS, SOFT),
            (25, origin or "origin not recorded", 9, Face.SANS, SOFT),
        ),
    )
    top = 34.0
    for piece in pattern.pieces:
        top = _piece(d, piece, top)
    d.words(
        10,
        top + 4,
        "mm along the ski from the line of each piece, and across it; the maker's paper comes first",
        size=8,
        fill=SOFT,
    )
    return d.page(140.0, top + 10.0)


def _piece(d: Drawing, piece: Piece, top: float) -> float:
    xs = [h.x_um / 1000 for h in piece.holes]
    high, low = max([*xs, 0.0]), min([*xs, 0.0])
    zero = top + 10 + high * _SCALE
    centre = 10 + _HALF
    d.words(10, top + 3, f"{piece.name.value.upper()}  {slides_text(piece)}", size=10, face=Face.BOLD)
    bottom = zero - low * _SCALE + 8
    d.line(centre, top + 5, centre, bottom, stroke=SOFT, width=0.2, dash=(3, 1, 0.6, 1))
    d.line(10, zero, 10 + 2 * _HALF, zero, stroke=INK, width=0.35)
    d.words(12 + 2 * _HALF, zero + 1, FROM[piece.follows], size=8)
    for hole in piece.holes:
        x, y = centre + hole.y_um / 1000 * _SCALE, zero - hole.x_um / 1000 * _SCALE
        d.disc(x, y, 1.8, stroke=INK, width=0.4)
        d.line(x - 2.8, y, x + 2.8, y, stroke=INK, width=0.15)
        d.line(x, y - 2.8, x, y + 2.8, stroke=INK, width=0.15)
        right = hole.y_um >= 0
        anchor = Anchor.START if right else Anchor.END
        along = along_text(hole.x_um) if hole.x_um else "0.0"
        for below, text in ((-0.4, along), (2.6, across_text(hole.y_um))):
            d.words(x + (4 if right else -4), y + below, text, size=8, face=Face.MONO, anchor=anchor)
    return bottom + 4
