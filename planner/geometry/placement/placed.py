"""A settled placement as the values of a plan: coordinates, slides, plugs, nearest distances.

And a way carried over to a twin: a pair whose skis are alike hole by hole. Names differ, places do not.
"""

from collections.abc import Mapping, Sequence
from math import isqrt
from operator import attrgetter

from msgspec.structs import replace

from fleet.base.values import Value
from fleet.facts.holes import Hole, Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from planner.geometry.placement.frames import PairFrame, Stance, frame_of
from planner.geometry.placement.rule import Rule
from planner.geometry.placement.sweep import Claims
from planner.plan.values import How, PlannedHole, PlannedPiece, PlannedSki, Way


class PlacedPiece(Value, frozen=True, kw_only=True):
    """One placed piece: r and slide on each ski, and the old hole, or None, of every screw.

    ``stands_um``: how it is slid now, where no screw is touched and the ledger says it.
    """

    r_um: Mapping[Side, int]
    slide_um: Mapping[Side, int]
    claims: Mapping[Side, Claims]
    stands_um: int | None = None


_ITSELF = 10**18
"""Stands for the square of a hole's distance from itself: more than any other."""
_Screw = tuple[str, int, int, int, Hole | None]
"""Piece, number, x and y of its hole, and the old hole that it goes into."""


def planned_ski(
    *,
    rule: Rule,
    pair: Pair,
    frame: PairFrame,
    pattern: Pattern,
    stance: Stance,
    offset_um: int,
    pieces: Sequence[PlacedPiece],
    side: Side,
    plug: tuple[str, ...],
    untouched: bool = False,
) -> PlannedSki:
    """Return one planned ski. ``untouched``: nothing is drilled; only screws with known holes are listed."""
    ski, shift = pair.skis[side], frame.shift_um[side]
    screws: list[_Screw] = []
    for piece, placed in zip(pattern.pieces, pieces, strict=True):
        name, at = piece.name.value, placed.r_um[side] + shift
        for number, (wanted, claim) in enumerate(zip(piece.holes, placed.claims[side], strict=True), start=1):
            if claim is not None:
                old = ski.holes[claim]
                screws.append((name, number, old.x_um, old.y_um, old))
            elif not untouched:
                screws.append((name, number, at + wanted.x_um, wanted.y_um, None))
    there = [(old.hole_id, old.x_um, old.y_um) for old in ski.holes]
    there += [(f"{name} {number}", x, y) for name, number, x, y, old in screws if old is None]
    there.sort()
    names, places = [name for name, _, _ in there], [(x, y) for _, x, y in there]
    return PlannedSki(
        from_tail_um=centre_from_tail(frame, stance, offset_um, side),
        pieces=tuple(
            PlannedPiece(
                piece=piece.name.value,
                reference_um=placed.r_um[side] + shift,
                slide_um=placed.slide_um[side],
                stands_um=placed.stands_um,
                how=_how(placed.claims[side], untouched=untouched),
            )
            for piece, placed in zip(pattern.pieces, pieces, strict=True)
        ),
        holes=tuple([_planned_hole(rule, screw, names, places) for screw in screws]),
        plug=plug,
    )


def _how(claims: Claims, *, untouched: bool) -> How:
    """Return the means that brings the piece there. A jig is looked for when both skis are placed."""
    if untouched:
        return How.SLIDE
    return How.TEMPLATE if None in claims else How.BY_HAND


def centre_from_tail(frame: PairFrame, stance: Stance, offset_um: int, side: Side) -> int | None:
    """Return the boot centre from the tail of this ski, µm; None where its mark was never measured."""
    tail = frame.from_tail_um[side]
    return None if tail is None else tail + offset_um + stance.centre_um


def _planned_hole(
    rule: Rule, screw: _Screw, names: Sequence[str], places: Sequence[tuple[int, int]]
) -> PlannedHole:
    """Return the hole of a screw with its nearest neighbour that will be in the ski, old or planned.

    ``names`` in order, so that of equals the first by name counts.
    """
    piece, number, at_x, at_y, old = screw
    squares = [(x - at_x) ** 2 + (y - at_y) ** 2 for x, y in places]
    squares[names.index(f"{piece} {number}" if old is None else old.hole_id)] = _ITSELF
    square = min(squares)
    return PlannedHole(
        piece=piece,
        number=number,
        x_um=at_x,
        y_um=at_y,
        diameter_um=rule.drill_um if old is None else old.diameter_um,
        depth_um=rule.depth_um if old is None else old.depth_um,
        do="drill" if old is None else "reuse",
        hole_id=None if old is None else old.hole_id,
        nearest_um=None if square == _ITSELF else isqrt(square),
        nearest_id=None if square == _ITSELF else names[squares.index(square)],
    )


_SIDES = tuple(Side)
_NAME = attrgetter("hole_id")


class Twins:
    """A way of one pair for pairs that are alike.

    Alike means what `planner.planning.assign.classes` merges. Distances from the tail and depths of old
    holes, which it does not look at, are the twin's own.
    """

    def __init__(self, way: Way, stance: Stance, pair: Pair) -> None:
        self._way, self._stance = way, stance
        self._skis: list[tuple[Side, list[str], list[int], list[_TwinScrew], list[int]]] = []
        for side in _SIDES:
            planned, old = way.skis[side], [hole.hole_id for hole in pair.skis[side].holes]
            drilled = [f"{h.piece} {h.number}" for h in planned.holes if h.do == "drill"]
            at: dict[str | None, int] = {name: number for number, name in enumerate(old)}
            screws = [(hole, at.get(hole.hole_id), at.get(hole.nearest_id)) for hole in planned.holes]
            names = old + drilled
            order = sorted(range(len(names)), key=names.__getitem__)
            self._skis.append((side, drilled, order, screws, [at[name] for name in planned.plug]))

    def way_of(self, twin: Pair) -> Way | None:
        """Return the way for a twin; None where its names sort otherwise: names break ties."""
        frame = frame_of(twin)
        skis: dict[Side, PlannedSki] = {}
        for side, drilled, order, screws, plug in self._skis:
            holes = twin.skis[side].holes
            names = [*map(_NAME, holes), *drilled]
            if len(names) != len(order) or [names[k] for k in order] != sorted(names):
                return None
            skis[side] = PlannedSki(
                from_tail_um=centre_from_tail(frame, self._stance, self._way.offset_um, side),
                pieces=self._way.skis[side].pieces,
                holes=tuple([_of_twin(*screw, holes) for screw in screws]),
                plug=tuple([names[k] for k in plug]),
            )
        return replace(self._way, skis=skis)


_TwinScrew = tuple[PlannedHole, int | None, int | None]
"""A planned hole, and the numbers of the old hole that it is and of the old hole nearest to it."""


def _of_twin(hole: PlannedHole, own: int | None, near: int | None, holes: Sequence[Hole]) -> PlannedHole:
    nearest = hole.nearest_id if near is None else holes[near].hole_id
    if own is not None:
        return replace(hole, depth_um=holes[own].depth_um, hole_id=holes[own].hole_id, nearest_id=nearest)
    return hole if near is None else replace(hole, nearest_id=nearest)
