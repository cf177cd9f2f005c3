"""The picture of a ski seen from above, tip at the top, so that right on paper is right on the ski.

It is one scale in both directions. Where a stretch without holes is too long for the page it is cut out with
a break, as engineering drawings do.

The signs for holes are told apart by form first, by colour second, and are still apart in grey: diamond:
drill new · heavy ring: reuse · half-filled ring: plug today · thin ring: open · grey disc: plugged · ring
with a dot: insert · ring with a bar: stripped · ring with a slot: screw stays in. A dashed outline means that
the place is not known from a measurement.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from math import cos, hypot, pi, sin
from typing import Final

from fleet.base.units import half_mm_down
from fleet.facts.holes import Hole, HoleState, Knowledge
from planner.paper.shapes import (
    GARNET,
    ICE,
    INK,
    PINE,
    SMALL,
    SOFT,
    STEEL,
    WHITE,
    Anchor,
    Drawing,
    Face,
    width_mm,
)
from planner.paper.ski_facts import SkiFact

UNSURE_WORDS: Final = "dashed: place not measured"
NOT_INSPECTED_WORDS: Final = "edge hatched: not inspected"
_UNSURE = (Knowledge.BATCH_ASSUMED, Knowledge.TEMPLATE, Knowledge.SUSPECTED)


def screw_sign(d: Drawing, x: float, y: float, do: str, label: str, *, scale: float = 1.0) -> None:
    """The sign of one screw of the order, with its number: a filled diamond where a new hole is drilled, a
    heavy ring for an old hole that takes a screw again.
    """
    r, ink = (2.9 * scale, WHITE) if do == "drill" else (2.5 * scale, INK)
    if do == "drill":
        d.poly([(x, y - r), (x + r, y), (x, y + r), (x - r, y)], fill=GARNET, stroke=WHITE, width=0.3)
    else:
        d.disc(x, y, r, fill=WHITE, stroke=PINE, width=0.85)
    size = 8.2 if len(label) == 1 else 7.6
    d.words(x, y + size * 0.127, label, size=size * r / 2.7, face=Face.BOLD, fill=ink, anchor=Anchor.MIDDLE)


def old_hole_sign(
    d: Drawing,
    x: float,
    y: float,
    state: HoleState,
    *,
    plug: bool = False,
    knowledge: Knowledge = Knowledge.MEASURED_HERE,
    r: float = 1.55,
) -> None:
    """A hole that takes no screw of this order, by its state; ``plug``: it is closed today."""
    dash = (0.5, 0.4) if knowledge in _UNSURE else ()
    filled, edge = (STEEL, 0.2) if state is HoleState.PLUGGED else (WHITE, 0.3)
    if plug:
        d.disc(x, y, r * 1.25, fill=WHITE, stroke=INK, width=0.4)
        d.poly(_lower_half(x, y, r * 1.25), fill=INK)
    else:
        d.disc(x, y, r, fill=filled, stroke=INK, width=edge, dash=dash)
    if state is HoleState.STRIPPED:
        k = r * (1.7 if plug else 1.25)
        d.line(x - k, y + k, x + k, y - k, stroke=INK, width=0.4)
    elif state is HoleState.INSERT and not plug:
        d.disc(x, y, r * 0.45, fill=INK)
    elif state is HoleState.SCREWED and not plug:
        d.line(x - r * 0.6, y, x + r * 0.6, y, stroke=INK, width=0.35)


def unsure_sign(d: Drawing, x: float, y: float, r: float = 1.55) -> None:
    """The outline of a hole whose place is not known from a measurement."""
    old_hole_sign(d, x, y, HoleState.OPEN, knowledge=_UNSURE[0], r=r)


def hatch_sign(d: Drawing, x: float, y: float) -> None:
    """A piece of the hatched edge round this place, 3.8 mm wide."""
    for left in (x - 1.6, x - 0.5, x + 0.6):
        d.line(left, y + 1.2, left + 1.6, y - 1.2, stroke=SOFT, width=0.22)


def state_legend(d: Drawing, x: float, y: float, *, r: float) -> float:
    """Write every state of a hole beside its sign, in one line from ``x`` on; return where that ends."""
    for state in HoleState:
        old_hole_sign(d, x, y, state, r=r)
        d.words(x + 2 * r, y + 1, state.value, size=8)
        x += 24
    return x


def is_unsure(hole: Hole) -> bool:
    """Return whether the hole's place is not known from a measurement, so that its outline is dashed."""
    return hole.knowledge in _UNSURE


def _lower_half(x: float, y: float, r: float) -> list[tuple[float, float]]:
    return [(x + r * cos(pi * k / 8), y + r * sin(pi * k / 8)) for k in range(9)]


_PAD_MM: Final = 13.0
_MOST_SCALE: Final = 0.8
_WITHIN_PIECE_MM: Final = 60.0
"""A longer stretch without a hole lies between pieces and may be cut out."""
_LEAST_GAP_MM: Final = 22.0
_STEPS: Final = (1.0, 1.3, 1.6, 2.0, 2.6)
"""The largest distance of a dimension from its line, in its own half sizes."""
_MAY_COVER: Final = 0.05
"""The share of a distance's words that may touch a sign."""
_HALF_UNKNOWN_MM: Final = 45.0
"""Half a ski's width in a picture (not to scale) where neither waist nor any hole is known."""
_GUTTER: Final = 14.5
"""Room left of the ski for the names of pieces and the mark."""


@dataclass(frozen=True, slots=True)
class LengthScale:
    """A piecewise scale from ski x (mm from the mark) to page y; stretches are cut out. ``cuts``: page y."""

    scale: float
    anchors: tuple[tuple[float, float], ...]
    cuts: tuple[float, ...]

    def y(self, x_mm: float) -> float:
        """Return the place on the page (mm) of a place along the ski."""
        nearest = min(self.anchors, key=lambda anchor: abs(anchor[0] - x_mm))
        return nearest[1] - (x_mm - nearest[0]) * self.scale


def length_scale(places_mm: Iterable[float], top: float, height: float, scale: float) -> LengthScale:
    """Return a scale that lays the places (mm from the mark) over the page height, at this scale or smaller.

    Only gaps too long to lie within one piece are shortened; if that is not enough, the scale shrinks.
    """
    xs = sorted(set(places_mm), reverse=True)
    gaps = [a - b for a, b in pairwise(xs)]
    whole = sum(gap for gap in gaps if gap <= _WITHIN_PIECE_MM)
    long = sum(gap > _WITHIN_PIECE_MM for gap in gaps)
    cap = float("inf")
    if sum(gaps) + 2 * _PAD_MM > height / scale and long:
        cap = max(_LEAST_GAP_MM, (height / scale - 2 * _PAD_MM - whole) / long)
    shown = [min(gap, cap) if gap > _WITHIN_PIECE_MM else gap for gap in gaps]
    scale = min(scale, height / (sum(shown) + 2 * _PAD_MM))
    slack = height - scale * (sum(shown) + 2 * _PAD_MM)
    y = top + scale * _PAD_MM + slack / 2
    anchors, cuts = [(xs[0], y)], []
    for x, gap, kept in zip(xs[1:], gaps, shown, strict=True):
        if gap > kept:
            cuts.append(y + scale * kept / 2)
        y += scale * kept
        anchors.append((x, y))
    return LengthScale(scale, tuple(anchors), tuple(cuts))


@dataclass(slots=True)
class _Labels:
    """The places taken by signs and words, so that the next word finds free room."""

    taken: list[tuple[float, float, float, float]]

    def free(self, box: tuple[float, float, float, float]) -> float:
        """Return the area (mm²) of the box that is taken already (0 is best)."""
        x1, y1, x2, y2 = box
        return sum(
            (min(x2, right) - max(x1, left)) * (min(y2, bottom) - max(y1, top))
            for left, top, right, bottom in self.taken
            if left < x2 and right > x1 and top < y2 and bottom > y1
        )

    def place(
        self, candidates: list[tuple[float, float]], w: float, h: float
    ) -> tuple[float, float, float, float]:
        """Return the candidate centre with the least overlap, as a box. It is taken from now on."""
        boxes = [(x - w / 2, y - h / 2, x + w / 2, y + h / 2) for x, y in candidates]
        best = min(boxes, key=self.free)
        self.taken.append(best)
        return best

    def place_first(
        self, sides: Iterable[list[tuple[float, float]]], w: float, h: float
    ) -> tuple[float, float, float, float] | None:
        """Like ``place``, on the first side with a clear enough candidate; None where there is none."""
        for side in sides:
            clear = [
                (x, y)
                for x, y in side
                if self.free((x - w / 2, y - h / 2, x + w / 2, y + h / 2)) <= _MAY_COVER * w * h
            ]
            if clear:
                return self.place(clear, w, h)
        return None


class SkiPicture:
    """A picture of one ski in a column. It gives the page place of each x."""

    def __init__(
        self,
        d: Drawing,
        ski: SkiFact,
        *,
        waist_um: int | None,
        left: float,
        top: float,
        width: float,
        height: float,
        beside: SkiFact | None = None,
    ) -> None:
        """``beside``: the ski whose picture of that size stands beside this one: both have one scale, so that
        their marks stand at one height.
        """
        self.d, self.ski = d, ski
        self.top, self.height, self.left = top, height, left
        shown = (ski,) if beside is None else (ski, beside)
        screws = [screw for one in shown for screw in one.screws]
        holes = [hole for one in shown for hole in one.old_holes]
        across = [screw.y_um for screw in screws] + [hole.y_um for hole in holes]
        along = [screw.x_um for screw in screws] + [hole.x_um for hole in holes]
        half_widths = [abs(y_um) / 1000 + 9 for y_um in across]
        self.half_mm = max([waist_um / 2000 if waist_um else 0.0, *half_widths]) or _HALF_UNKNOWN_MM
        body = width - _GUTTER
        scale = min(_MOST_SCALE, body / (2 * self.half_mm))
        places = [x_um / 1000 for x_um in along] + [0.0, *(one.centre_from_mark_um / 1000 for one in shown)]
        self.length = length_scale(places, top + 4.5, height - 8.0, scale)
        self.scale = self.length.scale
        self.axis = left + _GUTTER + body / 2
        self.edge = self.half_mm * self.scale

    def at(self, x_um: int, y_um: int) -> tuple[float, float]:
        """Return the place on the page of a place on the ski."""
        return self.axis + y_um / 1000 * self.scale, self.length.y(x_um / 1000)

    def draw(self) -> None:
        """Draw everything, from the body up to the labels."""
        self._body()
        self._stations()
        self._pieces()
        self._mark()
        mark, ends = self.length.y(0), (self.top + 2.6, self.top + self.height - 3.4)
        labels = _Labels(
            [
                *((self.axis - 5, end - 2.4, self.axis + 9, end + 2.4) for end in ends),
                (self.axis - 0.1, self.top, self.axis + 0.1, self.top + self.height),
                (self.axis - self.edge, mark - 0.6, self.axis + self.edge, mark + 0.6),
                *(self._round(screw.x_um, screw.y_um, 2.9) for screw in self.ski.screws),
                *(self._round(hole.x_um, hole.y_um, 1.9) for hole in self.ski.old_holes),
            ]
        )
        self._boot_centre(labels)
        self._nearest(labels)
        self._holes(labels)

    def _round(self, x_um: int, y_um: int, r: float) -> tuple[float, float, float, float]:
        x, y = self.at(x_um, y_um)
        return x - r, y - r, x + r, y + r

    def _stations(self) -> None:
        """A cross line for each place that has work, out to the edge where its rows begin."""
        places = [(s.x_um, s.y_um) for s in self.ski.screws] + [(h.x_um, h.y_um) for h in self.ski.plugs]
        right = self.axis + self.edge
        for x_um in {x for x, _ in places}:
            y = self.length.y(x_um / 1000)
            start = min(self.at(x_um, across)[0] for x, across in places if x == x_um)
            self.d.line(start, y, right, y, stroke=STEEL, width=0.2)

    def _body(self) -> None:
        d, x, w = self.d, self.axis - self.edge, 2 * self.edge
        d.box(x, self.top, w, self.height, fill=ICE)
        self._hatch_where_nobody_looked(x, w)
        for side in (x, x + w):
            d.line(side, self.top, side, self.top + self.height, stroke=INK, width=0.5)
        d.line(
            self.axis, self.top + 5, self.axis, self.top + self.height - 5, stroke=SOFT, width=0.15,
            dash=(4.0, 0.8, 0.6, 0.8),
        )  # fmt: skip
        d.words(
            self.left + 2.2, self.top + self.height / 2, "NOT TO SCALE: NEVER MEASURE HERE", size=SMALL,
            face=Face.BOLD, fill=SOFT, anchor=Anchor.MIDDLE, turn=90,
        )  # fmt: skip
        for cut in (self.top, *self.length.cuts, self.top + self.height):
            self._break(x, w, cut)
        d.words(self.axis, self.top + 4.4, "TIP", size=9, face=Face.BOLD, fill=INK, anchor=Anchor.MIDDLE)
        arrow = self.axis + 6.5
        d.poly(
            [(arrow, self.top + 1.2), (arrow + 1.6, self.top + 4.4), (arrow - 1.6, self.top + 4.4)], fill=INK
        )
        d.words(
            self.axis, self.top + self.height - 2.0, "TAIL", size=9, face=Face.BOLD, fill=INK,
            anchor=Anchor.MIDDLE,
        )  # fmt: skip

    def _break(self, x: float, w: float, y: float) -> None:
        """A wavy white gap across the ski; at the ends only its inner wave shows."""
        steps = 14
        wave = [(x - 1 + (w + 2) * k / steps, 0.55 * sin(2 * pi * k / 8)) for k in range(steps + 1)]
        upper = [(px, y - 0.8 + dy) for px, dy in wave]
        lower = [(px, y + 0.8 + dy) for px, dy in wave]
        self.d.poly([*upper, *reversed(lower)], fill=WHITE)
        if y > self.top:
            self.d.poly(upper, stroke=SOFT, width=0.2, closed=False)
        if y < self.top + self.height:
            self.d.poly(lower, stroke=SOFT, width=0.2, closed=False)

    def _hatch_where_nobody_looked(self, x: float, w: float) -> None:
        for start, end in self.ski.not_inspected:
            y1 = max(self.length.y(end / 1000), self.top)
            y2 = min(self.length.y(start / 1000), self.top + self.height)
            y = y1
            while y + 1.6 < y2:
                self.d.line(x, y + 1.6, x + 2.6, y, stroke=SOFT, width=0.22)
                self.d.line(x + w - 2.6, y + 1.6, x + w, y, stroke=SOFT, width=0.22)
                y += 1.5

    def _pieces(self) -> None:
        """Names beside the ski, with a bar as long as the piece's holes."""
        x = self.axis - self.edge - 2.2
        for piece in dict.fromkeys(screw.piece for screw in self.ski.screws):
            ys = [self.at(s.x_um, s.y_um)[1] for s in self.ski.screws if s.piece == piece]
            top, bottom = min(ys) - 3.2, max(ys) + 3.2
            self.d.line(x, top, x, bottom, stroke=INK, width=0.5)
            for end in (top, bottom):
                self.d.line(x, end, x + 1.2, end, stroke=INK, width=0.5)
            name, middle, mark = piece.upper(), (top + bottom) / 2, self.length.y(0)
            if abs(middle - mark) < width_mm(name, Face.BOLD, 11) / 2 + 4:  # the word MARK stands there
                middle = (mark - 4 + top) / 2 if mark - top > bottom - mark else (mark + 4 + bottom) / 2
            self.d.words(
                x - 1.5, middle, name, size=11, face=Face.BOLD, fill=INK, anchor=Anchor.MIDDLE, turn=90,
            )  # fmt: skip

    def _mark(self) -> None:
        d, y = self.d, self.length.y(0)
        left, right = self.axis - self.edge, self.axis + self.edge
        d.line(left - 1, y, right, y, stroke=INK, width=0.7)
        d.poly([(left, y), (left - 2.4, y - 1.5), (left - 2.4, y + 1.5)], fill=INK)
        d.poly([(right, y), (right + 2.4, y - 1.5), (right + 2.4, y + 1.5)], fill=INK)
        below = self.ski.centre_from_mark_um > 0
        d.words(left - 3.0, y + (3.4 if below else 0.9), "MARK", size=7.5, face=Face.BOLD, anchor=Anchor.END)

    def _boot_centre(self, labels: _Labels) -> None:
        """Draw the line of the boot centre, and its words where no hole is: away from the mark first."""
        centre = self.ski.centre_from_mark_um
        if abs(centre) < 250:
            return
        yc, text = self.length.y(centre / 1000), "boot centre"
        self.d.line(
            self.axis - self.edge, yc, self.axis + self.edge, yc, stroke=INK, width=0.35, dash=(1.4, 0.8)
        )
        wide = width_mm(text, Face.BOLD, SMALL)
        above, under = yc - 1.55, yc + 1.85
        rows = (above, under) if centre > 0 else (under, above)
        beside = 1.2 + wide / 2
        x, *_, bottom = labels.place(
            [(self.axis + side * beside, row) for row in rows for side in (1, -1)], wide, 2.5
        )
        self.d.words(x, bottom - 0.5, text, size=SMALL, face=Face.BOLD, fill=INK)

    def _holes(self, labels: _Labels) -> None:
        for hole in self.ski.old_holes:
            (x, y), plug = self.at(hole.x_um, hole.y_um), hole in self.ski.plugs
            old_hole_sign(self.d, x, y, hole.state, plug=plug, knowledge=hole.knowledge)
            w, h = width_mm(hole.label, Face.BOLD, 7.2), 2.2
            reach = 2.4 + w / 2
            sides = [(x + reach, y), (x - reach, y), (x, y - 3.2), (x, y + 3.2)]
            box = labels.place([*sides, (x + reach, y - 2), (x - reach, y - 2)], w, h)
            self.d.words(
                (box[0] + box[2]) / 2, box[3] - 0.35, hole.label, size=7.2,
                face=Face.BOLD if plug else Face.SANS, fill=INK if plug else SOFT,
                anchor=Anchor.MIDDLE,
            )  # fmt: skip
        for screw in self.ski.screws:
            x, y = self.at(screw.x_um, screw.y_um)
            if screw.do == "drill":
                for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                    self.d.line(
                        x + dx * 2.7, y + dy * 2.7, x + dx * 4.2, y + dy * 4.2, stroke=GARNET, width=0.3
                    )
            screw_sign(self.d, x, y, screw.do, screw.label)

    def _nearest(self, labels: _Labels) -> None:
        """A line from each new hole to its nearest neighbour, with the distance beside it."""
        pieces = {s.label: s.piece for s in self.ski.screws}
        places = {s.label: self.at(s.x_um, s.y_um) for s in self.ski.screws}
        places |= {h.label: self.at(h.x_um, h.y_um) for h in self.ski.old_holes}
        drawn: set[frozenset[str]] = set()
        for screw in self.ski.drilled:
            other = places.get(screw.nearest_label)
            key = frozenset((screw.label, screw.nearest_label))
            own = pieces.get(screw.nearest_label) == screw.piece  # then the distance is the pattern's own
            if other is None or screw.nearest_um is None or own or key in drawn:
                continue
            drawn.add(key)
            x, y = places[screw.label]
            self.d.line(x, y, *other, stroke=GARNET, width=0.35)
            text = half_mm_down(screw.nearest_um)
            w, h = width_mm(text, Face.MONO_BOLD, 7.2) + 0.6, 2.6
            run = hypot(other[0] - x, other[1] - y) or 1.0
            nx, ny = -(other[1] - y) / run, (other[0] - x) / run
            off = (w * abs(nx) + h * abs(ny) + 0.6) / 2
            mx, my = (x + other[0]) / 2, (y + other[1]) / 2
            # Mirrored holes have equal distances, and two side by side read as one number: outside first.
            out = 1 if nx * (mx - self.axis) >= 0 else -1
            spots = [[(mx + s * k * nx * off, my + s * k * ny * off) for k in _STEPS] for s in (out, -out)]
            outer, inner = ([p for p in side if abs(p[0] - self.axis) + w / 2 < self.edge] for side in spots)
            box = labels.place_first((outer, inner) if outer or inner else spots, w, h)
            if box is None:  # words would lie on a sign; the table says the distance, too
                continue
            self.d.box(box[0], box[1], w, h, fill=ICE)
            self.d.words(
                (box[0] + box[2]) / 2, box[3] - 0.5, text, size=7.2, face=Face.MONO_BOLD, fill=GARNET,
                anchor=Anchor.MIDDLE,
            )  # fmt: skip
