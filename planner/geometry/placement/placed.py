"""A settled placement as the values of a plan: coordinates, slides, plugs, nearest distances."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isqrt

from msgspec.structs import replace

from fleet.base.values import Value
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.facts.skis import Ski
from planner.geometry.placement.frames import PairFrame
from planner.geometry.placement.rule import Rule
from planner.geometry.placement.stance import Stance
from planner.geometry.placement.sweep import Claims
from planner.plan.values import How, PlannedHole, PlannedPiece, PlannedSki


class PlacedPiece(Value, frozen=True, kw_only=True):
    """One placed piece: r and slide on each ski, and the old hole, or None, of every screw.

    ``stands_um``: how it is slid now, where no screw is touched and the ledger says it.
    """

    r_um: Mapping[Side, int]
    slide_um: Mapping[Side, int]
    claims: Mapping[Side, Claims]
    stands_um: int | None = None


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
    holes: list[PlannedHole] = []
    for piece, placed in zip(pattern.pieces, pieces, strict=True):
        for number, (wanted, claim) in enumerate(zip(piece.holes, placed.claims[side], strict=True), start=1):
            if claim is None:
                if untouched:
                    continue
                hole = PlannedHole(
                    piece=piece.name.value,
                    number=number,
                    x_um=placed.r_um[side] + shift + wanted.x_um,
                    y_um=wanted.y_um,
                    diameter_um=rule.drill_um,
                    depth_um=rule.depth_um,
                    do="drill",
                    hole_id=None,
                    nearest_um=None,
                    nearest_id=None,
                )
            else:
                old = ski.holes[claim]
                hole = PlannedHole(
                    piece=piece.name.value,
                    number=number,
                    x_um=old.x_um,
                    y_um=old.y_um,
                    diameter_um=old.diameter_um,
                    depth_um=old.depth_um,
                    do="reuse",
                    hole_id=old.hole_id,
                    nearest_um=None,
                    nearest_id=None,
                )
            holes.append(hole)
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
        holes=tuple(_with_nearest(holes, ski)),
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


def _with_nearest(holes: list[PlannedHole], ski: Ski) -> list[PlannedHole]:
    """Return each hole with its nearest neighbour that will be in the ski, old or planned."""
    others = [(old.x_um, old.y_um, old.hole_id) for old in ski.holes]
    others += [(h.x_um, h.y_um, f"{h.piece} {h.number}") for h in holes if h.do == "drill"]
    found = []
    for hole in holes:
        me = hole.hole_id if hole.hole_id is not None else f"{hole.piece} {hole.number}"
        at_x, at_y = hole.x_um, hole.y_um
        away = [((x - at_x) ** 2 + (y - at_y) ** 2, name) for x, y, name in others if name != me]
        if away:
            square, near = min(away)
            hole = replace(hole, nearest_um=isqrt(square), nearest_id=near)
        found.append(hole)
    return found
